"""Four-sided outlines of a reduced photo that could be a page or card, rated by shape and looks, not yet traced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pages.grain import Grain, grain, smoothness
from vision.pages.paper import THIRDS, evennesses, in_boxes, tints
from vision.pages.quads import Outline, fitted, groups_in, outline_groups
from vision.pages.rare_masks import rare_masks
from vision.pages.rarity import Colours, colours, rarities, unlike
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
    if seen is None:
        looks = evennesses(small, INSIDE_MANY @ _middles(groups)) if groups else np.empty(0)
    else:
        looks = _looks(seen, groups)
    rated = _rated(groups, looks, scale, size_mm, prior, rough)
    return RatedOutlines(scale, seen, rough, rated)


def rare_outlines(
    seen: RatedOutlines, size_mm: tuple[float, float], prior: CameraPrior, opening_px: Array
) -> tuple[tuple[float, Array], ...]:
    """Return outlines of what is of colours rare outside an opening (4, 2) px and its surround, and their ratings.

    A light card whose stripe looks like the joints that it covers is one region nowhere else.
    """
    known, scale = seen.colours, seen.scale
    if known is None:
        return ()
    photo = (round(2 * prior.cx + 1), round(2 * prior.cy + 1))

    def likely(quads: Array) -> NDArray[np.bool_]:
        return placed((quads + 0.5) / scale - 0.5, size_mm, photo)

    def worth(boxes: Array) -> NDArray[np.bool_]:
        return np.ones(len(boxes), bool)

    groups = groups_in(
        rare_masks(known, (opening_px + 0.5) * scale - 0.5, size_mm), MIN_SHORT_PX * scale, likely, worth
    )
    return _rated(groups, np.ones(len(groups)), scale, size_mm, prior, None)


def _looks(seen: Colours, groups: Sequence[Sequence[Outline]]) -> Array:
    """Return 0 to 1 of each group: how unlike the rest of the photo it is, nought where not worth a look."""
    if not groups:
        return np.empty(0)
    looks = rarities(seen, INSIDE_MANY @ _middles(groups), np.array([g[0].area for g in groups]))
    return np.asarray(unlike(looks) * (looks > COMMON))


def _rated(
    groups: Sequence[Sequence[Outline]],
    looks: Array,
    scale: float,
    size_mm: tuple[float, float],
    prior: CameraPrior,
    rough: Grain | None,
) -> tuple[tuple[float, Array], ...]:
    """Return ratings and outlines (4, 2) px of the full photo, best first, of the groups that look best."""
    rated: list[tuple[float, Array]] = []
    seen_in = np.array([len(g) for g in groups])
    for k in np.argsort(-looks * np.sqrt(seen_in), kind="stable")[: GROUPS[rough is not None]]:
        group = groups[k]
        quads = fitted(group)
        for q, votes in voted([(q + 0.5) / scale - 0.5 for q in quads]):
            rating = pose_rating(q, size_mm, prior) * float(np.sqrt(votes / len(quads) * len(group)))
            if rough is not None and rating > 0:
                rating *= smoothness(rough, (q + 0.5) * scale - 0.5)
            if rating > 0:
                rated.append((rating, q))
    return tuple(sorted(rated, key=lambda r: -r[0]))


def _middles(groups: Sequence[Sequence[Outline]]) -> Array:
    """Return the median of the rough corners (4, 2) of each group."""
    return np.array([_middle([o.rough for o in g]) for g in groups])


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
