"""Where the ends of a projecting sill turn: evidence for its front arris that needs no difference in brightness.

A projecting sill mostly runs on beyond the jambs and ends before the wall. Its outline against the wall is there two
straight pieces: along the front's upright end, and along the top's edge into the depth, whose direction in the photo
the camera tells. They meet at the front arris, whatever the tones of top and front.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, back_project, project
from vision.request import Array, Wall
from vision.strips.profiles import cut_strip, outward, scale_mm_per_px

# Thresholds without a figure are guesses, held to own renderings and practice: see below what the readings are worth.
# Leaves and bricks: their outlines are ragged, or not there in every row.
MOST_RAGGED_PX, LEAST_SEEN = 0.25, 0.85
LONGEST_MM, WITHIN_MM = 280.0, 30.0  # how far beyond the jamb an end is looked for (guess: 20 to 150 mm are usual)
NEAREST_MM, MARGIN_MM = 10.0, 15.0
# All that is in px below is in cells: pixels, or as many as make LEAST_CELL_MM in finer photos.
LEAST_CELL_MM, ALONG_PX, ACROSS_PX = 1.0, 1.0, 0.5
FRONT_PX, FRONT_MM = (3.0, 14.0), 30.0  # rows of the front below its arris
LEAST_STEP, OVER_NOISE = 0.08, 2.0  # in the root of linear light; of the scatter between rows
BESIDE_MM, BESIDE_PX, GAP_PX = 8.0, 3.0, 1.2  # what is compared on either side of an end
SAME_STEP, SAME_HUE, MOST_MISFIT = 0.6, 0.6, 0.06  # of a row against the front's, and of its two levels
AROUND_PX = 2.5
ABOVE_PX, BELOW_PX, STEP_PX = 12.0, 8.0, 0.25
FALLS_RAD = np.deg2rad([0.0, 3.0, 6.0, 9.0])  # of a sill's top
ROUNDED_PX = 1.5  # the blur rounds the corner of the outline
LEAST_SHEAR_PX, LEAST_ROWS = 1.5, 6
NOISE_PX = 0.3
# Most that a row costs: off its line, without its edge, with an edge above the top, within the blur of the top's end.
OUTLIER, MISSED, FALSE, NEAR_TOP = 6.0, 2.0, 4.0, 0.5
CORRELATED = 0.5  # guess: rows half a pixel apart share their blur
LEAST_INTO, CLOSE, MOST_SPREAD_PX = 3, 4.0, 1.2
# 177 readings of 308 ends on own renderings lie 0.4 px outward in the median, those in practice 0.1, on drawn boxes 0.1
# inward: 0.15 is taken out. About their median they are a Student's t with 3 degrees of freedom of this scale (68 %
# within 1.13 of it, 90 % 2.1, 95 % 2.5), 2 beyond 4 scales, both on render.
BIAS_PX, FLOOR_PX, PER_SPREAD = 0.15, 0.25, 0.9
COARSE: Mapping[Wall, float] = {"render": 2.0}  # the scale again, where the wall itself is rough: 68 % within 2.1


@dataclass(frozen=True, slots=True, eq=False)
class SillEnd:
    """An end of a sill seen along its front: columns u mm beyond the jamb, rows v in cells below the front's arris.

    `colour` (U, V, 3) is the root of linear light, a cell `cell_mm` high; `into` is where the way into the wall leads:
    mm outward, cells down.
    """

    u_mm: Array
    v: Array
    colour: Array
    cell_mm: float
    into: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Ear:
    """The arris at one end of a sill: mm beyond the jamb, mm outward of the line given, scale of its error in mm."""

    beyond_mm: float
    offset_mm: float
    scale_mm: float


def read_ear(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corner_mm: Array,
    along: Array,
    depth_mm: float,
    projection_mm: float,
    *,
    right: bool,
) -> Ear | None:
    """Return where the outline of a sill's end turns, or None where that is not clear.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright
    corner_mm : (2,) where a line that may be the arris meets the jamb, in the plane z = depth_mm of the sill's front
    along : (2,) unit direction of that line, to the right
    projection_mm : how far the front stands before the plane of the jambs
    right : whether it is the right end
    """
    end = see_end(rgb, camera, corner_mm, along, (depth_mm, projection_mm), ABOVE_PX + 40.0, right=right)
    if end is None or not shows_depth(end.into, end.cell_mm):
        return None
    mm, (shear_mm, rise_px) = end.cell_mm, end.into
    rows = (end.v >= rise_px - FALLS_RAD[-1] * projection_mm / mm - ABOVE_PX) & (end.v <= FRONT_PX[1])
    edge = outline(end, rows, min(shear_mm, 0.0))
    falls = rise_px - np.tan(FALLS_RAD) * projection_mm / mm
    return None if edge is None else _turn(end.v[rows], edge, shear_mm, falls, mm)


def shows_depth(into: tuple[float, float], cell_mm: float) -> bool:
    """Return whether a way into the wall is seen to rise and to lead aside."""
    return into[1] <= -LEAST_SHEAR_PX and abs(into[0]) >= LEAST_SHEAR_PX * cell_mm


def see_end(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corner_mm: Array,
    along: Array,
    deep_mm: tuple[float, float],
    above_px: float,
    *,
    right: bool,
) -> SillEnd | None:
    """Return an end of a sill as it is seen, None where it is not in the photo.

    Parameters
    ----------
    rgb, camera, corner_mm, along, right : as of `read_ear`.
    deep_mm : depth of the front, and how far from there into the wall `SillEnd.into` goes.
    above_px : cells that are seen above the front's arris.
    """
    sign, (depth_mm, projection_mm) = 1.0 if right else -1.0, deep_mm
    reach = sorted((-sign * WITHIN_MM, sign * LONGEST_MM))
    ends = np.array([corner_mm + along * r for r in reach])
    place = corner_mm + sign * along * 80.0
    uv = project(camera, np.array([[*place, depth_mm], [*place, depth_mm + projection_mm]]))
    into = np.diff(back_project(camera, uv, depth_mm), axis=0)[0]
    k = max(1.0, LEAST_CELL_MM / scale_mm_per_px(camera, corner_mm, outward("sill", along), depth_mm))
    across = (k * above_px, k * (FRONT_PX[1] + BELOW_PX))
    strip = cut_strip(rgb, camera, "sill", ends, depth_mm, *across, k * ALONG_PX, k * ACROSS_PX)
    if strip is None:
        return None
    mm = strip.mm_per_px * k
    u, colour = sign * (strip.u_mm + reach[0]), np.sqrt(np.maximum(strip.colour, 0.0)).astype(float)
    if not right:
        u, colour = u[::-1], colour[::-1]
    return SillEnd(u, strip.v_mm / mm, colour, mm, (sign * float(into @ along), float(into @ strip.normal) / mm))


def _front_end(u: Array, v: Array, colour: Array, mm: float) -> tuple[float, Array, float] | None:
    """Return where the front ends, mm beyond the jamb, the step there (3,) from outside to inside and its size."""
    low, high = FRONT_PX
    face = colour[:, (v >= low) & (v <= min(high, FRONT_MM / mm + low))]
    pitch = float(u[1] - u[0])
    wide, gap = max(round(max(BESIDE_MM, BESIDE_PX * mm) / pitch), 2), max(round(GAP_PX * mm / pitch), 1)
    if len(u) < 4 * (wide + gap) or face.shape[1] < LEAST_ROWS:
        return None
    total = np.cumsum(np.concatenate([np.zeros((1, *face.shape[1:])), face]), axis=0)
    i = np.arange(wide + gap, len(u) - wide - gap)
    steps = (total[i - gap] - total[i - gap - wide] - total[i + gap + wide] + total[i + gap]) / wide
    mean, scatter = steps.mean(axis=1), steps.std(axis=1)
    size = np.sqrt((mean**2).sum(axis=1))
    clear = (size > LEAST_STEP) & (size > OVER_NOISE * np.sqrt((scatter**2).sum(axis=1)))
    clear &= (u[i] > NEAREST_MM) & (u[i] < LONGEST_MM - MARGIN_MM)
    if not clear.any():
        return None
    first = int(np.flatnonzero(clear)[0])
    k = first + int(np.nan_to_num(size[first : first + 2 * wide]).argmax())
    return float(u[i[k]]), mean[k], float(size[k])


def outline(end: SillEnd, rows: NDArray[np.bool_], back_mm: float) -> Array | None:
    """Return where each of the rows (R,) leaves the sill, mm beyond the jamb, NaN where it does not.

    `back_mm`: how far back toward the jamb it may lead, 0 or less. None where the front has no clear end.
    """
    at = _front_end(end.u_mm, end.v, end.colour, end.cell_mm)
    if at is None:
        return None
    place_mm, inner, step = at
    return _outline(end.u_mm, end.colour[:, rows], (place_mm, back_mm), (inner, step), end.cell_mm)


def _outline(u: Array, colour: Array, span: tuple[float, float], step: tuple[Array, float], mm: float) -> Array:
    """Return where each row (R,) of colours (U, R, 3) leaves the sill, mm beyond the jamb; NaN where it does not."""
    pitch = float(u[1] - u[0])
    edge = np.full(colour.shape[1], np.nan)
    room = 5 * mm + 2
    inside = np.flatnonzero((u > span[0] + span[1] - room) & (u < span[0] + room))
    a, b, beside = int(inside[0]), int(inside[-1]), max(round(BESIDE_MM / pitch), 2)
    if a < beside or b + beside >= len(u):
        return edge
    near, far = np.median(colour[a - beside : a], axis=0), np.median(colour[b : b + beside], axis=0)
    change = near - far
    size = np.sqrt((change**2).sum(axis=1))
    alike = (size > SAME_STEP * step[1]) & (change @ step[0] / step[1] > SAME_HUE * size)
    around = int(AROUND_PX * mm / pitch)
    for r in np.flatnonzero(alike):
        share = np.clip((colour[a:b, r] - far[r]) @ change[r] / size[r] ** 2, -0.2, 1.2)
        misfit = np.append(0, np.cumsum((share - 1) ** 2)) + np.append(np.cumsum(share[::-1] ** 2)[::-1], 0)
        k = int(misfit.argmin())
        if k in (0, len(share)) or misfit[k] > MOST_MISFIT * len(share):
            continue
        low, high = max(k - around, 0), min(k + around + 1, len(share))
        edge[r] = u[a + low] - pitch / 2 + pitch * float(np.clip(share[low:high], 0, 1).sum())
    return edge


def _turn(v: Array, edge: Array, shear_mm: float, falls_px: Array, mm: float) -> Ear | None:
    """Return the ear whose outline (R,) mm at rows v (R,) px turns from upright to the direction into the depth."""
    at = upright(v, edge, mm)
    if at is None:
        return None
    front, noise = at
    places = np.arange(-ABOVE_PX, BELOW_PX + STEP_PX / 2, STEP_PX)
    cost, off = misfits(v, edge, at, shear_mm, falls_px, places)
    below = v - places[:, None]
    least = cost.min(axis=0)
    i, j = int(least.argmin()), int(cost[:, least.argmin()].argmin())
    into = (below[i] < 0) & (below[i] > falls_px[j]) & (off[j, i] < CLOSE)
    into &= (edge - front) * np.sign(shear_mm) > 2 * noise
    if i in (0, len(places) - 1) or np.count_nonzero(into) < LEAST_INTO:
        return None
    weight = np.exp(-0.5 * CORRELATED * (least - least.min()))
    weight /= weight.sum()
    mean = float(weight @ places)
    spread = float(np.sqrt(weight @ (places - mean) ** 2))
    if spread > MOST_SPREAD_PX:
        return None
    return Ear(front, (mean - BIAS_PX) * mm, mm * float(np.hypot(FLOOR_PX, PER_SPREAD * spread)))


def upright(v: Array, edge: Array, mm: float) -> tuple[float, float] | None:
    """Return where the front's upright end stands, mm beyond the jamb, and how its rows scatter; None: not clear."""
    seen = np.isfinite(edge)
    front = seen & (v >= FRONT_PX[0])
    if np.count_nonzero(front) < max(LEAST_ROWS, LEAST_SEEN * np.count_nonzero(v >= FRONT_PX[0])):
        return None
    place = float(np.median(edge[front]))
    if place < NEAREST_MM or float(np.median(np.abs(np.diff(edge[front])))) > MOST_RAGGED_PX * mm:
        return None
    return place, max(1.4826 * float(np.median(np.abs(edge[front] - place))), NOISE_PX * mm)


def misfits(
    v: Array, edge: Array, at: tuple[float, float], shear_mm: float, falls_px: Array, places: Array
) -> tuple[Array, Array]:
    """Return how badly outlines fit (F, P), by how far they rise and where they turn, and each row's share (F, P, R).

    Parameters
    ----------
    v : (R,) rows in cells below the front's arris, with `edge` (R,) mm, NaN where none is seen.
    at : place of the upright end and its scatter, mm, as of `upright`.
    shear_mm : how far outward the outline goes from its turn to the wall.
    falls_px : (F,) how far down it goes from there, cells, below 0.
    places : (P,) rows of the turn.
    """
    seen = np.isfinite(edge)
    below = v - places[:, None]  # (P, R) rows against each place
    fall = falls_px[:, None, None]
    drawn = at[0] + np.where(below >= 0, 0.0, shear_mm * below / fall)  # (F, P, R)
    off = np.minimum(((edge - drawn) / at[1]) ** 2, OUTLIER)
    off = np.where(np.abs(below) < ROUNDED_PX, np.minimum(off, 1.0), off)
    on = below >= fall
    cost = np.where(on, np.where(seen, off, MISSED), np.where(seen, FALSE, 0.0))
    cost = np.where(np.abs(below - fall) < ROUNDED_PX, np.minimum(cost, NEAR_TOP), cost).sum(axis=2)
    return cost, off
