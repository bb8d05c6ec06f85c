"""Four-sided outlines of a reduced photo that could be a page or card, rated by shape and looks, not yet traced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pages.grain import Grain, grain, smoothness
from vision.pages.paper import THIRDS, evennesses, in_boxes, tints
from vision.pages.quads import fitted, outline_groups
from vision.pages.rarity import Colours, colours, rarities
from vision.pages.shape import FORESHORTENED, MIN_SHORT_PX, placed, pose_rating, voted
from vision.priors import CameraPrior
from vision.request import Array

# Long side in px and levels of each colour channel. For pages, coarsely and, where none is found, finely: one in a view
# eight metres wide is 16 px wide in the coarse one. For cards, which are smaller.
SEARCH = {True: ((600, 5), (1200, 10)), False: ((800, 6), (1600, 10))}
COARSE = 600  # paper shows by lightness and want of colour there
COARSE_SHORT_PX = 6.0  # in a picture that a finer one follows
GROUPS = {True: 24, False: 40}  # likeliest ones that are looked at closely, of pages and of cards
BOX = 1.1  # of the sides' ratio: that of an upright box about them
UNEVEN = 0.02  # evenness of nine places of a box that no page fills
TINTED = 0.6  # what is rated near nothing by its tint is not looked at
COMMON = 0.42  # rarity of what is not traced: `of_photo` asks for 0.5
FIFTHS = np.linspace(0.15, 0.85, 5)
INSIDE, INSIDE_MANY = (
    np.array([[(1 - a) * (1 - b), a * (1 - b), a * b, (1 - a) * b] for a in s for b in s]) for s in (THIRDS, FIFTHS)
)


@dataclass(frozen=True, slots=True, eq=False)
class RatedOutlines:
    """A reduced photo's scale, and ratings and outlines (4, 2) found in it, best first, in px of the full photo.

    With cards come the photo's colours, with pages its grain. Not yet in a rating: how even a page's inside is, and how
    rare a card's colours are outside of the opening.
    """

    scale: float
    colours: Colours | None
    grain: Grain | None
    outlines: tuple[tuple[float, Array], ...]


def rated_outlines(
    rgb: NDArray[np.uint8],
    long_side: int,
    levels: int,
    size_mm: tuple[float, float],
    prior: CameraPrior,
    *,
    plain: bool,
) -> RatedOutlines:
    """Return the outlines of a reduced photo that could be the reference, wherever the opening is.

    Parameters
    ----------
    long_side : of the reduced photo, px.
    levels : at how many levels of each colour channel regions are outlined.
    size_mm : width and height of the reference.
    plain : a page, white and even; else a card or rectangle of any colours.
    """
    small, scale = reduced(rgb, long_side)
    shortest = max(MIN_SHORT_PX * scale, COARSE_SHORT_PX if long_side < SEARCH[plain][-1][0] else 0.0)

    def likely(quads: Array) -> NDArray[np.bool_]:
        may = placed((quads + 0.5) / scale - 0.5, size_mm, (rgb.shape[1], rgb.shape[0]))
        if plain:
            may[may] = tints(small, INSIDE @ quads[may]) <= TINTED
        return may

    def worth(boxes: Array) -> NDArray[np.bool_]:
        short, long = boxes[:, 2:].min(1), boxes[:, 2:].max(1)
        may = long < short * BOX * max(size_mm) / min(size_mm) / FORESHORTENED
        if plain:
            may[may] = evennesses(small, in_boxes(boxes[may]), TINTED) > UNEVEN
        return np.asarray(may)

    groups = outline_groups(small, shortest, likely, worth, levels, coloured=long_side > COARSE, hidden=plain)
    seen = None if plain else colours(small)
    rough = grain(small) if plain else None
    rated: list[tuple[float, Array]] = []
    if not groups:
        return RatedOutlines(scale, seen, rough, ())
    places = INSIDE_MANY @ np.array([_middle([o.rough for o in g]) for g in groups])
    seen_in = np.array([len(g) for g in groups])
    if seen is None:
        looks = evennesses(small, places)
    else:
        looks = rarities(seen, places, np.array([g[0].area for g in groups]))
        looks = (0.3 + 0.7 * looks) * (looks > COMMON)
    for k in np.argsort(-looks * np.sqrt(seen_in), kind="stable")[: GROUPS[plain]]:
        group = groups[k]
        quads = fitted(group)
        for q, votes in voted([(q + 0.5) / scale - 0.5 for q in quads]):
            rating = pose_rating(q, size_mm, prior) * float(np.sqrt(votes / len(quads) * len(group)))
            if rough is not None and rating > 0:
                rating *= smoothness(rough, (q + 0.5) * scale - 0.5)
            if rating > 0:
                rated.append((rating, q))
    return RatedOutlines(scale, seen, rough, tuple(sorted(rated, key=lambda r: -r[0])))


def _middle(quads: Sequence[Array]) -> Array:
    """Return the median of quadrilaterals (4, 2); NumPy's takes five times as long for so few."""
    ordered = np.sort(np.array(quads), axis=0)
    n = len(ordered)
    return np.asarray((ordered[(n - 1) // 2] + ordered[n // 2]) / 2)


def reduced(rgb: NDArray[np.uint8], long_side: int) -> tuple[NDArray[np.uint8], float]:
    """Return the picture reduced to a long side and smoothed a little, and its scale."""
    times = max(rgb.shape) / long_side
    scale = 1 / max(times if times < 3 else int(times), 1.0)  # whole numbers are five times as fast
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else rgb
    return np.asarray(cv2.medianBlur(np.ascontiguousarray(small), 3), np.uint8), scale
