"""How seldom the colours of an outline are elsewhere in a photo: a brick has those of the wall, a card has not."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array

BINS = 16 * 4096  # coarse colours


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


def beside(seen: Colours, opening_px: Array | None) -> Colours:
    """Return the colours with how many pixels have each outside an opening (4, 2) px of the reduced photo."""
    if opening_px is None:
        return seen
    inside = _filled(opening_px, seen.bins.shape)
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
