"""How seldom the colours of an outline are elsewhere in a photo: a brick has those of the wall, a card has not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array

BINS = 16 * 4096  # coarse colours
# Beside the opening lie trim, plates and sills (common practice, no source: boards of 3 1/2 to 5 1/2 in). A white card
# is as white as they are, and unlike the wall.
SURROUND_MM, STEPS = 160.0, 3  # and steps of the scale in a doubling


@dataclass(frozen=True, slots=True, eq=False)
class Colours:
    """The coarse colour (h, w) of each pixel of a reduced photo, and how many pixels have each (BINS,)."""

    bins: NDArray[np.uint16]
    everywhere: NDArray[np.intp]


def colours(small: NDArray[np.uint8]) -> Colours:
    """Return the coarse colours of a reduced photo (h, w, 3)."""
    lab = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2LAB), np.uint16)
    bins = (lab[..., 0] >> 4 << 12) + (lab[..., 1] >> 2 << 6) + (lab[..., 2] >> 2)
    return Colours(bins, np.bincount(bins.ravel(), minlength=BINS))


def beside(seen: Colours, opening_px: Array | None, surround_px: float = 0.0) -> Colours:
    """Return the colours with how many pixels have each outside an opening (4, 2) px of the reduced photo.

    So far about it (`surround_px`) there may be trim, plates and the sill, which are not the wall either. As given
    where a corner is not in view.
    """
    if opening_px is None or not np.isfinite(opening_px).all():
        return seen
    inside = _filled(opening_px, seen.bins.shape)
    reach = round(surround_px)
    if reach > 0:
        square = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
        inside = cv2.dilate(inside.astype(np.uint8), square) > 0
    return Colours(seen.bins, seen.everywhere - np.bincount(seen.bins[inside], minlength=BINS))


def rarity(seen: Colours, quad: Array) -> float:
    """Return 0 to 1: how seldom the colours of an outline (4, 2) px of the reduced photo are outside it."""
    low = np.maximum(np.floor(quad.min(0)).astype(int), 0)
    high = np.ceil(quad.max(0)).astype(int) + 1
    part = seen.bins[low[1] : high[1], low[0] : high[0]]
    if not part.size:
        return 0.0
    which, own = np.unique(part[_filled(quad - low, part.shape)], return_counts=True)
    others = np.maximum(seen.everywhere[which] - own, 0)
    return float((own / (1 + 0.5 * others / own)).sum() / own.sum())


def rarity_outside(
    seen: Colours, scale: float, opening_px: Array | None, size_mm: tuple[float, float] | None = None
) -> Callable[[Array], float]:
    """Return what gives 0 to 1 of an outline (4, 2) px of the full photo: how seldom its colours are on the wall.

    Parameters
    ----------
    scale : of the reduced photo.
    opening_px : corners (4, 2) px of the full photo; what lies in it is no wall.
    size_mm : of the reference. Then trim and sill about the opening are no wall either, for outlines that lie farther
        off; an outline says by its own size how far that is.
    """
    opening = None
    if opening_px is not None and np.isfinite(opening_px).all():
        opening = (opening_px + 0.5) * scale - 0.5

    @cache
    def outside(step: int | None) -> Colours:
        return beside(seen, opening, 0.0 if step is None else SURROUND_MM * 2 ** (step / STEPS))

    def rare(quad: Array) -> float:
        small = (quad + 0.5) * scale - 0.5
        step = None
        if size_mm is not None and opening is not None:
            area = max(abs(cv2.contourArea(small.astype(np.float32))), 1.0)
            step = round(STEPS * 0.5 * np.log2(area / (size_mm[0] * size_mm[1])))
            x, y = small.mean(0).tolist()
            off = -cv2.pointPolygonTest(opening.astype(np.float32), (x, y), True)
            step = step if off > SURROUND_MM * 2 ** (step / STEPS) else None
        return rarity(outside(step), small)

    return rare


def unlike(rare: Array | float) -> Array | float:
    """Return by how much a rating counts for what is so rare (0 to 1): what is common may be the reference too."""
    return 0.3 + 0.7 * rare


def rarities(seen: Colours, places: Array, areas: Array) -> Array:
    """Return the same of many outlines (N,) by their colours at places (N, P, 2) px; `areas` (N,) in px."""
    x, y = np.moveaxis(np.rint(places).astype(np.intp), 2, 0)
    bins = seen.bins[y, x]
    own = (bins[:, :, None] == bins[:, None]).sum(2) * (areas / bins.shape[1])[:, None]
    others = np.maximum(seen.everywhere[bins] - own, 0)
    return np.asarray((1 / (1 + 0.5 * others / own)).mean(1))


def _filled(quad: Array, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(quad).astype(np.int32)], 1)
    return mask > 0
