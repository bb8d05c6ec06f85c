"""How much the inside of an outline looks like paper."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array
from vision.srgb import LINEAR

THIRDS = np.array([0.25, 0.5, 0.75])
COVERED = 0.25  # of the inside that leaves, a hand or tape darker than paper may hide
EVEN = 0.05  # guess: standard deviation of square-root light inside a plain page, shadows left out
TINT = 0.2  # guess: how far from grey a page may look (the light's own colour)
BOTH, STEP, BARE = 0.5, 0.03, 0.1  # guesses: of a rating; of square-root light
NEAR_PX = 2.0  # inside a side: its blur has ended
ROOT = np.sqrt(LINEAR)


def evenness(rgb: NDArray[np.uint8], quad: Array) -> float:
    """Return 0 to 1: how even and untinted an outline (4, 2) px is inside; half may be in shadow, a quarter covered."""
    size = 24
    to_square = cv2.getPerspectiveTransform(
        np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32), quad.astype(np.float32)
    )
    s = np.linspace(0.1, 0.9, size)
    grid = np.stack(np.meshgrid(s, s), -1).reshape(-1, 1, 2)
    at = np.asarray(cv2.perspectiveTransform(grid, np.asarray(to_square, float)), float).reshape(-1, 2)
    x, y = np.clip(np.rint(at).astype(int), 0, np.array(rgb.shape[1::-1]) - 1).T
    seen = rgb[y, x]
    grey = np.sort(ROOT[seen].mean(1, dtype=float))
    dark = int(np.searchsorted(grey, (_share(grey, 0.1) + _share(grey, 0.9)) / 2))
    halves = [g for g in (grey[dark:], grey[:dark]) if len(g) > 20]
    covered = _spread(grey[int(COVERED * len(grey)) :])
    spread = min(_spread(grey), covered, max((_spread(g) for g in halves), default=1.0))
    off = tint(seen)
    return float(np.exp(-0.5 * (spread / EVEN) ** 2) * np.exp(-0.5 * (off / TINT) ** 2))


def tint(pixels: NDArray[np.uint8]) -> float:
    """Return how far from grey pixels (N, 3) are in square-root light, by their medians."""
    n = len(pixels)
    by_colour = ROOT[np.sort(pixels, axis=0)[n // 2]]
    middle = float(ROOT[np.sort(pixels, axis=None)[3 * n // 2]])
    return float(np.abs(by_colour / max(middle, 1e-6) - 1).max())


def in_boxes(boxes: Array) -> Array:
    """Return nine places (N, 9, 2) px in the middle parts of boxes (N, 4) px: left, top, width, height."""
    made = np.empty((len(boxes), 3, 3, 2))
    made[..., 0] = (boxes[:, :1] + THIRDS * (boxes[:, 2:3] - 1))[:, None, :]
    made[..., 1] = (boxes[:, 1:2] + THIRDS * (boxes[:, 3:] - 1))[:, :, None]
    return made.reshape(-1, 9, 2)


def tints(small: NDArray[np.uint8], places: Array) -> Array:
    """Return how far from grey the places (N, P, 2) px of each outline are, as `tint`."""
    return _tints(_at(small, places))


def _tints(pixels: NDArray[np.uint8]) -> Array:
    n = pixels.shape[1]
    by_colour = ROOT[np.sort(pixels, axis=1)[:, n // 2]]
    middle = ROOT[np.sort(pixels.reshape(len(pixels), 3 * n), axis=1)[:, 3 * n // 2]]
    return np.asarray(np.abs(by_colour / np.maximum(middle, 1e-6)[:, None] - 1).max(1), float)


def evennesses(small: NDArray[np.uint8], places: Array, most_tint: float = np.inf) -> Array:
    """Return how even and untinted outlines (N,) are, roughly, by colours at places (N, P, 2) px: see `evenness`.

    0 for those that are tinted more than `most_tint`.
    """
    pixels = _at(small, places)
    off = _tints(pixels)
    may = off <= most_tint
    found = np.zeros(len(pixels))
    if may.any():
        found[may] = np.exp(-0.5 * (_spreads(pixels[may]) / EVEN) ** 2) * np.exp(-0.5 * (off[may] / TINT) ** 2)
    return found


def _spreads(pixels: NDArray[np.uint8]) -> Array:
    """Return the standard deviation (N,) of square-root light of pixels (N, P, 3), a part covered or in shadow."""
    grey = np.sort(cv2.LUT(pixels, ROOT).mean(2), axis=1)
    n = grey.shape[1]
    spread = (grey[:, n - 1 - n // 10] - grey[:, n // 10]) / 2.563
    spread = np.minimum(spread, grey[:, int(COVERED * n) :].std(1))
    for k in range(n // 4, n - n // 4):  # a shadow on it
        spread = np.minimum(spread, np.maximum(grey[:, :k].std(1), grey[:, k:].std(1)))
    return np.asarray(spread)


def _at(small: NDArray[np.uint8], places: Array) -> NDArray[np.uint8]:
    """Return the pixels (N, P, 3) nearest to places (N, P, 2) px."""
    x, y = np.rint(places[..., 0]).astype(np.intp), np.rint(places[..., 1]).astype(np.intp)
    return np.asarray(small.reshape(-1, 3).take(small.shape[1] * y + x, axis=0))


def _spread(ordered: Array) -> float:
    """Return the standard deviation of values in order by the middle 80 %: a scribble does not count."""
    return (_share(ordered, 0.9) - _share(ordered, 0.1)) / 2.563


def _share(ordered: Array, share: float) -> float:
    """Return the quantile of values in order (NumPy's takes ten times as long for so few)."""
    place = share * (len(ordered) - 1)
    k = int(place)
    return float(ordered[k] + (place - k) * (ordered[min(k + 1, len(ordered) - 1)] - ordered[k]))


def alike_all_round(rgb: NDArray[np.uint8], quad: Array) -> float:
    """Return 1 where an outline (4, 2) px is brighter, or darker, than what lies beside all its sides; less where both.

    A board between a page and a trim is darker than both and brighter than the shadow under it. Where something lies on
    the paper a side says nothing. A joint beside the paper is not its side: what lies just inside is no paper.
    """
    steps = []
    t = np.linspace(0.15, 0.85, 15)[:, None]
    middle = quad.mean(0)
    own = np.median([_root_light(rgb, middle + share * (quad - middle)) for share in (0.3, 0.5, 0.7)])
    for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True):
        on = a + t * (b - a)
        inside, outside = (_root_light(rgb, on + share * (middle - on)) for share in (0.08, -0.08))
        bare = np.abs(inside - own) < BARE
        bare = bare if bare.sum() >= 4 else np.ones_like(bare)
        steps.append(float(np.median(inside[bare]) - np.median(outside[bare])))
        near = np.maximum(0.03, NEAR_PX / np.hypot(*(middle - on).T))[:, None]
        strip, further = (_root_light(rgb, on + share * (middle - on)) for share in (near, near + 0.15))
        if np.median(np.abs(strip - further)) > BARE:
            return BOTH
    return BOTH if max(steps) > STEP and min(steps) < -STEP else 1.0


def _root_light(rgb: NDArray[np.uint8], at: Array) -> Array:
    """Return the square root of light, all colours together, at places (N, 2) px."""
    x, y = np.clip(np.rint(at).astype(int), 0, np.array(rgb.shape[1::-1]) - 1).T
    return np.asarray(ROOT[rgb[y, x]].mean(1, dtype=float))
