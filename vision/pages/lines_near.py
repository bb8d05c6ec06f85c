"""The lines near the sides of a card: its own, stripes along it, joints and edges of bricks beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.page_sides.coded import coded, luma_and_chroma, side_at, with_line
from vision.page_sides.fit import TracedSide
from vision.page_sides.steps import sampled, side_points
from vision.page_sides.traced import TracedQuad, parting
from vision.request import Array

FAR, LEAST_FAR_PX = 0.17, 6.0  # of the shortest side: so far off its lines are looked for
SLANT = 0.1  # of the side: as much farther off at one end than at the other
STATIONS, WINDOW_PX, PITCH_PX = 24, 1.5, 0.5
MOST, FAINTEST = 5, 0.3  # lines a side; of the strongest
APART_PX, SAME_PX = 2.0, 0.5
SEEN = 0.5  # share of a side that a line beside it must show
STRIP_PX = np.arange(1.25, 2.6, 0.25)
# A line with the card's colours on both sides is its edge one time in a hundred of one that parts them (a guess).
UNCLEAR = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class NearLine:
    """A line that may be a side: its points, a x + b y = c, and the cost of the colours beside it."""

    side: TracedSide
    line: Array
    unclear: float


def lines_near(
    rgb: NDArray[np.uint8], traced: TracedQuad, left_out: tuple[float, float], *, others: bool = True
) -> list[list[NearLine]]:
    """Return, for each of the four sides, its line as traced and, where `others` are asked for, the lines near it.

    `left_out` is the share of width and height left out at each end of a side.
    """
    quad = traced.corners_px
    lengths = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    reach = max(FAR * float(lengths.min()), LEAST_FAR_PX)
    code, low = coded(rgb, quad, reach + 12)
    by_side: list[list[NearLine]] = []
    for i, side in enumerate(traced.sides):
        a, b = quad[i], quad[(i + 1) % 4]
        by_side.append([NearLine(side, _through(a, b), unclear_cost(rgb, quad, i))])
        if code is None or not others:
            continue
        for first, last in _strongest(code, quad - low, i, left_out[i % 2], reach):
            line = _through(a + first * side.normal[0], b + last * side.normal[0])
            other = line_near(rgb, with_line(quad, i, line), i, left_out[i % 2], traced.blur_px, quad)
            if other is not None and all(apart_px(w.side, other.side) > SAME_PX for w in by_side[i]):
                by_side[i].append(other)
    return by_side


def _through(a: Array, b: Array) -> Array:
    normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
    return np.array([*normal, normal @ a])


def _strongest(
    code: NDArray[np.float32], quad: Array, i: int, left_out: float, reach: float
) -> list[tuple[float, float]]:
    """Return how far out (px) the strongest lines near side `i` stand at both ends."""
    length = float(np.linalg.norm(quad[(i + 1) % 4] - quad[i]))
    w = round(WINDOW_PX / PITCH_PX)
    across = np.arange(-reach - WINDOW_PX, reach + WINDOW_PX + PITCH_PX / 2, PITCH_PX)
    ends = max(left_out, 3.0 / length)
    stations = np.linspace(ends, 1 - ends, 3 * STATIONS)
    px, _ = side_points(quad, i, stations, across)
    seen = luma_and_chroma(sampled(code, px).reshape(STATIONS, 3, len(across), 3).mean(1))
    total = np.cumsum(np.concatenate([np.zeros_like(seen[:, :1]), seen], axis=1), axis=1)
    at = np.arange(w, seen.shape[1] - w)
    step = np.linalg.norm(2 * total[:, at] - total[:, at - w] - total[:, at + w], axis=2) / w
    step = np.minimum(np.nan_to_num(step), float(np.nanmedian(np.nan_to_num(step).max(1))))
    offs = across[at] - PITCH_PX / 2
    grid = np.arange(len(offs))
    t = stations.reshape(STATIONS, 3).mean(1)
    index = np.rint(grid[:, None, None] * (1 - t) + grid[None, :, None] * t).astype(np.intp)
    rated = step[np.arange(STATIONS), index].mean(-1)
    rated[np.abs(offs[:, None] - offs) > SLANT * length] = 0
    top = float(rated.max())
    found: list[tuple[float, float]] = []
    while len(found) < MOST and rated.max() > FAINTEST * top > 0:
        a, b = np.unravel_index(int(np.argmax(rated)), rated.shape)
        found.append((float(offs[a]), float(offs[b])))
        rated[np.abs(offs[:, None] + offs - offs[a] - offs[b]) < 2 * APART_PX] = 0
    return found


def unclear_cost(rgb: NDArray[np.uint8], quad: Array, i: int, body: Array | None = None) -> float:
    """Return the cost (-2 log likelihood) of side `i` of a quadrilateral (4, 2) px by the colours on its two sides.

    It is high where the reference's colours do not lie inside the side, or lie outside of it too. `body` (4, 2) px is
    what shows its colours, if not all of it.
    """
    return -2 * float(np.log(UNCLEAR + (1 - UNCLEAR) * (parting(rgb, quad, i, STRIP_PX, body) or 0.0)))


def line_near(
    rgb: NDArray[np.uint8], corners: Array, i: int, left_out: float, blur_px: tuple[float, float], quad: Array
) -> NearLine | None:
    """Return the line near side `i` of a quadrilateral; its colours are judged with the other sides of `quad`.

    The reference's own are those of what lies within both: beyond the side as it was taken may be wall. `blur_px` is
    that of both pairs of sides. A side taken for another makes its pair look soft, and a soft step is looked at so far
    to both sides that the stripe beside it drowns it: then it is taken to be as sharp as the other pair.
    """
    code, low = coded(rgb, corners, 12.0)
    if code is None:
        return None
    near = side_at(code, corners - low, i, left_out, blur_px[i % 2])
    if near is None or near[0].seen < SEEN:
        near = side_at(code, corners - low, i, left_out, min(blur_px))
    if near is None or near[0].seen < SEEN:
        return None
    at = np.array([near[1][0], near[1][1], near[1][2] + near[1][:2] @ low])
    anew = with_line(quad, i, at)
    return NearLine(replace(near[0], pixel=near[0].pixel + low), at, unclear_cost(rgb, anew, i, _less(anew, quad)))


def _less(a: Array, b: Array) -> Array:
    """Return which of two quadrilaterals (4, 2) px with three sides in common is the smaller."""
    return a if cv2.contourArea(a.astype(np.float32)) < cv2.contourArea(b.astype(np.float32)) else b


def apart_px(a: TracedSide, b: TracedSide) -> float:
    """Return how far (px) one line lies off another, the farther end."""
    if a is b:
        return 0.0
    ends = b.pixel[[0, -1]] - a.pixel.mean(0)
    return float(np.abs(ends @ a.normal[0]).max())
