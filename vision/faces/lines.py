"""Lines that run beside a traced side, far inward and outward of it: reveal's foot, frame, sash, trim's outer edge.

They are straight and nearly parallel to the side, so a search over offsets and few slopes in a coarse strip finds them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vision.camera import Camera
from vision.request import Array, Side
from vision.stations import Line
from vision.strips.profiles import Strip, block_means, cut_strip, scale_mm_per_px
from vision.strips.strip_line import steps_across

BLOCKS = 40  # pieces of a side
ALONG_PX, MOST_ROWS = 5.0, 240  # pitch along, coarser where the rows would be more
STEP_PX, STEP_MM = 0.5, 0.6  # pitch across: where a photo is finer than wanted, the coarser
MIDDLE = 0.8  # share of the side that is looked at: at its ends the neighbours' reveals and frames begin
MOST_SLOPE = 0.012  # guess, rad: how far a frame is out of line with the wall
GAP_PX, WINDOW_PX = 0.75, 1.5  # left out about a line, and averaged beyond, for its step
APART_PX = 1.5  # lines nearer than this are one
BESIDE_PX = 3.5  # where a soft gradient would have a step too, a line none
LEAST_CONTRAST, LEAST_REAL = 0.006, 0.05  # of lines that are kept (guesses)
MIN_COLUMNS = 20  # of the strip, in the photo


@dataclass(frozen=True, slots=True)
class FaceLine:
    """A line beside a side, in the plane of that side: inward of it by `inward_mm` at its middle, `slope` inward.

    `real`: 0..1, how well its pieces agree; `contrast`: its step in the square root of linear light.
    """

    inward_mm: float
    slope: float
    contrast: float
    real: float


def lines_beside(
    rgb: NDArray[np.uint8], camera: Camera, side: Side, line: Line, depth_mm: float, reach_mm: tuple[float, float]
) -> tuple[list[FaceLine], float]:
    """Return the lines beside a side from outside to inside, and mm per px across it.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright
    line : the side in its plane z = depth_mm
    reach_mm : how far to look inward and outward
    """
    middle = line.origin + line.direction * line.length / 2
    mm = scale_mm_per_px(camera, middle, line.normal, depth_mm)
    ends = np.stack([line.origin, line.origin + line.direction * line.length])
    inner, outer = (r / mm + 4 for r in reach_mm)
    pitch = max(STEP_PX, STEP_MM / mm)
    along = max(ALONG_PX, line.length / mm / MOST_ROWS)
    strip = cut_strip(rgb, camera, side, ends, depth_mm, inner, outer, along, pitch)
    return ([], mm) if strip is None else (_lines(strip, reach_mm), mm)


def _lines(strip: Strip, reach_mm: tuple[float, float]) -> list[FaceLine]:
    at, profiles = block_means(strip, BLOCKS)
    t = 2 * at / strip.u_mm[-1] - 1
    near = np.abs(t) < MIDDLE
    low, high = _within(np.isfinite(profiles[near]).all(axis=(0, 2)), int(np.argmin(np.abs(strip.v_mm))))
    if high - low < MIN_COLUMNS:
        return []
    t, v_mm, half = t[near], strip.v_mm[low:high], strip.u_mm[-1] / 2
    pitch = float(v_mm[1] - v_mm[0])
    per_px = strip.mm_per_px / pitch
    step = steps_across(profiles[near, low:high], 1 / per_px, GAP_PX, WINDOW_PX)[0].astype(np.float32)
    slopes = np.arange(-1, 1.01, 1 / max(np.ceil(MOST_SLOPE * half / strip.mm_per_px), 1)) * MOST_SLOPE
    shift = np.rint(slopes[:, None] * t * half / pitch).astype(int)
    size = np.linalg.norm(_sums(step, shift), axis=-1) / len(t)
    best, top = size.argmax(axis=0), size.max(axis=0)
    peak = (top >= ndimage.maximum_filter1d(top, 2 * round(APART_PX * per_px) + 1)) & (top > LEAST_CONTRAST)
    tops = np.flatnonzero(peak)[::-1]
    if not len(tops):
        return []
    places = np.array([-(v_mm[j] + pitch * _vertex(top, int(j))) for j in tops])
    real, contrast = _real(step, tops[:, None] + shift[best[tops]], per_px)
    kept = (places >= -reach_mm[1]) & (places <= reach_mm[0]) & (real > LEAST_REAL)
    found = zip(places, -slopes[best[tops]], contrast, real, strict=True)
    return [FaceLine(*map(float, line)) for line, k in zip(found, kept, strict=True) if k]


def _within(whole: NDArray[np.bool_], middle: int) -> tuple[int, int]:
    """Return the columns (first, one past the last) about the middle that lie in the photo."""
    gone = np.flatnonzero(~whole)
    below, above = gone[gone <= middle], gone[gone > middle]
    return int(below[-1]) + 1 if len(below) else 0, int(above[0]) if len(above) else len(whole)


def _sums(step: NDArray[np.float32], shift: NDArray[np.int_]) -> NDArray[np.float32]:
    """Return the sums (S, V, 3) of the rows of step (K, V, 3), row k of sum i moved by shift[i, k]; borders repeat."""
    most, last = int(np.abs(shift).max()), step.shape[1]
    wide = np.pad(step, ((0, 0), (most, most), (0, 0)), mode="edge")
    total = np.zeros((len(shift), *step.shape[1:]), np.float32)
    for i, by in enumerate(shift + most):
        for row, b in zip(wide, by, strict=True):
            total[i] += row[b : b + last]
    return total


def _vertex(values: Array, j: int) -> float:
    """Return the vertex of the parabola through three values, as a place against the middle one."""
    if not 0 < j < len(values) - 1:
        return 0.0
    a, b, c = values[j - 1 : j + 2]
    bend = a - 2 * b + c
    return float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5)) if bend < 0 else 0.0


def _real(step: NDArray[np.float32], at: NDArray[np.int_], per_px: float) -> tuple[Array, Array]:
    """Return how likely lines at places (P, K) are to be real, from what their pieces show (guesses), and contrasts."""
    k, last = np.arange(at.shape[1]), step.shape[1] - 1
    d = step[k, np.clip(at, 0, last)].astype(float)
    mean = d.mean(axis=1)
    axis = (mean / np.maximum(np.linalg.norm(mean, axis=-1), 1e-9)[:, None])[..., None]
    along = (d @ axis)[..., 0]
    middle = np.maximum(np.median(along, axis=1), 1e-6)
    scatter = np.median(np.abs(along - middle[:, None]), axis=1)
    t_value = middle / (1.4826 * scatter + 1e-4) * np.sqrt(at.shape[1])
    coverage = np.mean((along > 0.35 * middle[:, None]) & (along < 3 * middle[:, None] + 0.01), axis=1)
    near = [(step[k, np.clip(at + round(b * per_px), 0, last)] @ axis)[..., 0] for b in (-BESIDE_PX, BESIDE_PX)]
    peak = 1 - np.mean(np.maximum(np.median(near, axis=2), 0.0), axis=0) / middle
    score = 2.5 * np.log(np.clip(t_value, 1, 30) / 9) + 10 * (np.minimum(coverage, 0.95) - 0.75)
    score += 2.0 * np.log(np.clip(middle, 1e-3, 0.2) / 0.03) + 6 * (np.clip(peak, 0.0, 0.6) - 0.5)
    return 1 / (1 + np.exp(-score)), middle
