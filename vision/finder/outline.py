"""Upright pairs of lines in a mask of the wall: two straight jambs with something unlike wall between them.

A lintel, a sill, a bush or the ground may hang on the region: only the rows where both jambs are seen count.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.finder.wall_mask import PITCH_MM, Mask
from vision.request import Array

SMALLEST_MM = 250.0  # width and height of an opening at least
STRAIGHT_MM = 12.0  # a border pixel so near to a jamb is of it
LEAN = 0.06  # jambs stand upright in the wall, and the wall in the view
GAP_MM = 60.0  # a shorter gap in a run of rows is bridged
CLEAR_MM = 25.0  # a border nearer to the picture's own border is not seen
FULL = 0.8  # share of a row, or of the region, between both jambs that is unlike wall
SQUARE_DEG = 2.5  # off a right angle at most, at every corner
TRIALS = 400  # random pairs of border pixels, as in RANSAC (Fischler and Bolles 1981)
LINES = 3  # upright lines that are looked for on each border


@dataclass(frozen=True, slots=True, eq=False)
class Jambs:
    """Two jambs as column = polynomial(row) (2,) px of the view, and the first and last row where both are seen.

    `filled` are the first and last row about these where the region fills what is between both, if these are others.
    """

    left: Array
    right: Array
    rows: tuple[float, float]
    filled: tuple[float, float] | None = None

    def corners(self) -> Array:
        """Return the corners (4, 2) px, top left first, clockwise."""
        top, bottom = self.rows
        left, right = np.polyval(self.left, [top, bottom]), np.polyval(self.right, [top, bottom])
        return np.array([[left[0], top], [right[0], top], [right[1], bottom], [left[1], bottom]])


def find_jambs(other: Mask, valid: Mask) -> list[Jambs]:
    """Return one pair for each region of the mask (H, W) that has two straight jambs; largest first."""
    clear = np.pad(valid, 1)  # OpenCV takes what lies outside for valid
    clear = np.asarray(cv2.erode(clear, np.ones((2 * int(CLEAR_MM / PITCH_MM) + 1,) * 2, np.uint8)), np.uint8)[
        1:-1, 1:-1
    ]
    regions, _ = cv2.findContours(other, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found = []
    for contour in regions:
        x, y, w, h = cv2.boundingRect(contour)
        if min(w, h) * PITCH_MM < SMALLEST_MM:
            continue
        region: Mask = np.zeros((h, w), np.uint8)
        cv2.drawContours(region, [contour], -1, 1, cv2.FILLED, offset=(-x, -y))
        best = _pair(region, clear[y : y + h, x : x + w])
        if best is None:
            continue
        left, right, core = best
        whole = _filled_rows(region, left, right, core)
        found.append(
            Jambs(
                np.array([left[0], left[1] + x - left[0] * y - 0.5]),
                np.array([right[0], right[1] + x - right[0] * y + 0.5]),
                (core[0] + y - 0.5, core[1] + y + 0.5),
                None if whole == core else (whole[0] + y - 0.5, whole[1] + y + 0.5),
            )
        )
    return sorted(found, key=lambda j: -area(j.corners()))


def square(quad: Array) -> bool:
    """Return whether all corners of a quadrilateral (4, 2) are right angles within SQUARE_DEG."""
    sides = np.roll(quad, -1, axis=0) - quad
    unit = sides / np.linalg.norm(sides, axis=1)[:, None]
    return bool((np.abs((unit * np.roll(unit, 1, axis=0)).sum(axis=1)) < np.sin(np.radians(SQUARE_DEG))).all())


def area(quad: Array) -> float:
    """Return the area of a quadrilateral (4, 2)."""
    return float(cv2.contourArea(quad.astype(np.float32)))


def _pair(region: Mask, clear: Mask) -> tuple[Array, Array, tuple[int, int]] | None:
    steps = np.diff(np.pad(region.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    starts, stops = (steps[:, :-1] == 1) & (clear > 0), (steps[:, 1:] == -1) & (clear > 0)
    rows = np.arange(len(region))
    best, most = None, 0
    for left in _upright_lines(starts):
        at_left = _along(starts, np.polyval(left, rows))
        for right in _upright_lines(stops):
            if np.mean(np.polyval(right, rows) - np.polyval(left, rows)) * PITCH_MM < SMALLEST_MM:
                continue
            at_right = _along(stops, np.polyval(right, rows))
            both = at_left & at_right
            core = _longest(both)
            if core is None or (core[1] - core[0]) * PITCH_MM < SMALLEST_MM:
                continue
            count = int(np.count_nonzero(both[core[0] : core[1]]))
            if count > most and _filled(region, left, right, core) > FULL:
                best, most = (left, right, core), count
    return best


def _upright_lines(border: NDArray[np.bool_]) -> list[Array]:
    """Return column = polynomial(row) of the straight upright lines that most border pixels share, by random pairs."""
    rows, columns = (a.astype(float) for a in np.nonzero(border))
    rng = np.random.default_rng(7)
    least = SMALLEST_MM / PITCH_MM
    lines: list[Array] = []
    while len(lines) < LINES and len(rows) >= least:
        i, j = rng.integers(0, len(rows), (2, TRIALS))
        rise = rows[j] - rows[i]
        slope = (columns[j] - columns[i]) / np.where(rise == 0, np.inf, rise)
        fair = (np.abs(rise) > 0.5 * least) & (np.abs(slope) < LEAN)
        i, slope = i[fair], slope[fair]
        if not len(i):
            break
        off = np.abs(columns - columns[i, None] - slope[:, None] * (rows - rows[i, None]))
        near = off < STRAIGHT_MM / PITCH_MM
        count = near.sum(axis=1)
        k = int(np.argmax(count))
        if count[k] < least:
            break
        lines.append(np.polyfit(rows[near[k]], columns[near[k]], 1))
        far = np.abs(columns - np.polyval(lines[-1], rows)) > 2.5 * STRAIGHT_MM / PITCH_MM
        rows, columns = rows[far], columns[far]
    return lines


def _along(border: NDArray[np.bool_], columns: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Return for each row whether the border passes within reach of the column given."""
    reach = round(1.6 * STRAIGHT_MM / PITCH_MM)
    wide = cv2.dilate(border.astype(np.uint8), np.ones((1, 2 * reach + 1), np.uint8))
    at = np.rint(columns).astype(int)
    inside = (at >= 0) & (at < border.shape[1])
    return np.asarray(inside & (wide[np.arange(len(border)), at.clip(0, border.shape[1] - 1)] > 0), bool)


def _filled(region: Mask, left: Array, right: Array, core: tuple[int, int]) -> float:
    part = np.s_[core[0] : core[1] + 1]
    return float(region[part][_between(region, left, right)[part]].mean())


def _between(region: Mask, left: Array, right: Array) -> NDArray[np.bool_]:
    rows, columns = np.arange(len(region))[:, None], np.arange(region.shape[1])
    return np.asarray((columns >= np.polyval(left, rows)) & (columns <= np.polyval(right, rows)))


def _filled_rows(region: Mask, left: Array, right: Array, core: tuple[int, int]) -> tuple[int, int]:
    """Return the first and last row of the run about `core` whose rows between both jambs are mostly of the region."""
    between = _between(region, left, right)
    share = (region * between).sum(axis=1) / np.maximum(between.sum(axis=1), 1)
    full = share > FULL
    full[core[0] : core[1] + 1] = True
    return next(r for r in _runs(full) if r[0] <= core[0] and r[1] >= core[1])


def _runs(good: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return first and last of each run of good rows; short gaps are bridged."""
    at = np.nonzero(good)[0]
    if not len(at):
        return []
    return [(int(r[0]), int(r[-1])) for r in np.split(at, np.nonzero(np.diff(at) > GAP_MM / PITCH_MM)[0] + 1)]


def _longest(good: NDArray[np.bool_]) -> tuple[int, int] | None:
    return max(_runs(good), key=lambda r: r[1] - r[0], default=None)
