"""The four sides of an opening traced in one photo of known camera, each with its noise, roughness and rivals.

An opening shows nested lines: arris, shadow, frame, sash. From outside, the arris is the first line that runs along the
whole side; the strongest is often the frame. So every line found gets a probability of being real, and the side is the outermost real
one: weight = real * product of (1 - real) over the lines further out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.profiles import Strip, cut_strip, outward, rough_ends, scale_mm_per_px
from vision.request import SIDES, Array, Side, Wall
from vision.side_fit import Line, find_lines
from vision.side_place import Placed, place_line

ENDS: Mapping[Side, tuple[int, int]] = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}
CLICK_PX_12MP = 16.0  # guess: reach of a careless click on a 4000 px photo; smaller ones in proportion
BOW_MM: Mapping[Wall, float] = {"masonry": 8.0, "render": 6.0, "siding": 2.5, "panel": 2.5}  # guess
SILL_FALL = 0.17  # guess: a sill's top falls by up to 10 degrees
HIDDEN_COVERAGE = 0.4
ANOTHER_LINE = 0.01  # contract: no side gives less to 'another line'
MARGIN_PX = 9.0


@dataclass(frozen=True, slots=True)
class SideCandidate:
    """A line that may be the side: weight 0..1, shift outward in mm at the middle, slope against the best, name."""

    weight: float
    shift_mm: float
    slope: float
    name: str


@dataclass(frozen=True, slots=True, eq=False)
class SideTrace:
    """One traced side in the plane z = depth_mm of the wall's frame.

    `origin_mm` (2,) lies on the straight line at its middle, `direction` (2,) is its unit direction (head and sill to
    the right, jambs down). `cov_offset_slope` (2, 2): offset along the outward normal in mm and slope in rad, noise of the trace
    only. `bow_mm` is the sagitta (outward +). `local_mm` (N,) at `s_mm` (N,): the edge against the straight line, outward +, bow included.
    """

    side: Side
    depth_mm: float
    origin_mm: Array
    direction: Array
    cov_offset_slope: Array
    bow_mm: float
    s_mm: Array
    local_mm: Array
    u_local_mm: float
    scatter_mm: float
    coverage: float
    hidden: bool
    candidates: tuple[SideCandidate, ...]


@dataclass(frozen=True, slots=True)
class FailedSide:
    """A side that could not be traced, and why."""

    side: Side
    reason: str


def trace_sides(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    wall: Wall,
    sill_at: str = "front",
) -> dict[Side, SideTrace | FailedSide]:
    """Return the four sides traced from rough corners.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright
    corners_px : (4, 2) px, top left first, clockwise, rough
    click_px : standard deviation of a corner per axis, px
    depth_mm : z of the plane of each side, + into the wall (edge offset with its sign turned)
    wall : kind of wall; sets how much bow is believed
    sill_at : "front", or another line of the sill, then nearest to the corners instead of outermost

    Notes
    -----
    Fails for a side outside the photo or without any step along it.
    """
    return {
        side: _trace(rgb, camera, np.asarray(corners_px, float), click_px, depth_mm, wall, sill_at, side)
        for side in SIDES
    }


def _trace(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    wall: Wall,
    sill_at: str,
    side: Side,
) -> SideTrace | FailedSide:
    ends, reach, extra = _search(camera, corners_px, click_px, depth_mm, sill_at, side, rgb.shape)
    if not np.isfinite(ends).all():
        return FailedSide(side, "its corners do not lie on the wall as seen by the camera")
    depth = float(depth_mm[side])
    strip = cut_strip(rgb, camera, side, ends, depth, reach + MARGIN_PX, reach + extra + MARGIN_PX)
    if strip is None:
        return FailedSide(side, "it lies outside the photo")
    lines = find_lines(strip, (-reach, reach + extra), BOW_MM[wall])
    if not lines:
        return FailedSide(side, "no edge runs along it within reach of the corners")
    real = np.array([_reality(line, strip, reach, extra, BOW_MM[wall]) for line in lines])
    weights = _outermost(real)
    for best in np.argsort(-weights):
        placed = place_line(strip, lines[best].shape, *_room(lines, int(best), strip.mm_per_px))
        if placed is not None:
            return _result(side, strip, lines, weights, int(best), placed)
    return FailedSide(side, "the edge is too faint to be placed")


def _search(
    camera: Camera,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    sill_at: str,
    side: Side,
    shape: tuple[int, ...],
) -> tuple[Array, float, float]:
    """Return the ends (2, 2) mm of the rough side, the reach of the search and the further reach outward, px.

    A click at a projecting sill may lie on its front arris or on the foot of the jamb behind it: for the sill both are within
    reach, for the jambs the two readings are averaged.
    """
    reach = max(CLICK_PX_12MP * float(np.sqrt(shape[0] * shape[1] / 12.2e6)), 3 * click_px, 5.0) + 1
    pair = corners_px[list(ENDS[side])]
    depth, sill = float(depth_mm[side]), float(depth_mm["sill"])
    if side == "head":
        return rough_ends(camera, pair, np.full(2, depth)), reach, 0.0
    if side != "sill":
        on_sill = rough_ends(camera, pair, np.array([depth, sill]))
        on_jamb = rough_ends(camera, pair, np.full(2, depth))
        return (on_sill + on_jamb) / 2, reach, 0.0
    ends = rough_ends(camera, pair, np.full(2, sill))
    jamb = float(depth_mm["left"] + depth_mm["right"]) / 2
    out = jamb - sill
    if sill_at != "front" or out <= 3:
        return ends, reach, 0.0
    foot = rough_ends(camera, pair, np.full(2, jamb))
    direction = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9)
    normal = outward(side, direction)
    lower = max(float(np.mean((foot - ends) @ normal)), 0.0) + SILL_FALL * out
    return ends, reach, lower / scale_mm_per_px(camera, ends.mean(axis=0), normal, sill)


def _reality(line: Line, strip: Strip, reach: float, extra: float, bow_mm: float) -> float:
    """Return the probability that a line is a real edge within reach: logistic in what its pieces show (guesses)."""
    offset = line.shape[0] / strip.mm_per_px
    tilt = abs(line.shape[1]) / strip.mm_per_px
    score = 3.0 * np.log(max(line.t_value, 0.1) / 7.0)
    score += 14.0 * (min(line.coverage, 0.95) - 0.70)
    score += 1.5 * np.log(max(line.contrast, 1e-4) / 0.02)
    beyond = max(offset + tilt - reach - extra, -offset + tilt - reach, 0.0)
    score -= 1.0 * beyond
    score -= 2.0 * (1.5 * abs(line.shape[2]) / max(bow_mm, 0.1)) ** 2
    return float(np.clip(1 / (1 + np.exp(-score)), 0.0, 0.995))


def _outermost(real: Array) -> Array:
    """Return the weights (N,) of lines ordered from the outside: real, and none of those further out."""
    none_before = np.concatenate([[1.0], np.cumprod(1 - real)[:-1]])
    weights = real * none_before
    total = float(weights.sum())
    return np.asarray(weights / max(total, 1e-12) * (1 - ANOTHER_LINE))


def _room(lines: list[Line], index: int, mm: float) -> tuple[float, float]:
    """Return the free space (inner, outer) px to the next lines."""
    gaps = np.array([(line.shape[0] - lines[index].shape[0]) / mm for line in lines])
    inner = -gaps[gaps < 0].max(initial=-20.0)
    outer = gaps[gaps > 0].min(initial=20.0)
    return float(inner), float(outer)


def _result(
    side: Side, strip: Strip, lines: list[Line], weights: Array, best: int, placed: Placed
) -> SideTrace:
    half = strip.u_mm[-1] / 2
    slope = float(placed.shape[1] / half)
    direction = strip.direction + slope * strip.normal
    direction /= np.hypot(*direction)
    origin = strip.origin_mm + half * strip.direction + placed.shape[0] * strip.normal
    scale = np.diag([1.0, 1 / half])
    sagitta = 1.5 * float(placed.shape[2])
    evident = 1.5 * np.sqrt(placed.cov[2, 2]) * 4 < abs(sagitta)
    order = [best, *[int(i) for i in np.argsort(-weights) if i != best]]
    candidates = tuple(
        SideCandidate(
            float(weights[i]),
            float(lines[i].shape[0] - lines[best].shape[0]),
            float((lines[i].shape[1] - lines[best].shape[1]) / half),
            "edge" if i == best else ("outside" if i < best else "inside"),
        )
        for i in order
        if weights[i] >= 0.005
    )
    return SideTrace(
        side,
        strip.depth_mm,
        origin,
        direction,
        scale @ placed.cov[:2, :2] @ scale,
        sagitta if evident else 0.0,
        placed.u_mm - half,
        placed.local_mm,
        placed.u_local_mm,
        placed.scatter_mm,
        placed.coverage,
        placed.coverage < HIDDEN_COVERAGE,
        candidates,
    )
