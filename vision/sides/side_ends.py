"""Where a side ends: evidence for the arris of the side next to it, which that one's own line need not show.

Behind a head's arris the soffit is dark, behind a jamb's the reveal is of the wall's material and the sill is not;
behind a flush sill's its top is lit and the reveal beside it is not.
Along rows just inside of a side the light therefore changes where the next side begins: at its arris where that one's
face into the depth is hidden, further in where it is seen. The edge between both faces runs into the depth from the
corner itself, so the changes lie on a straight line that meets the known side at the arris.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.request import Array, Side, Wall
from vision.strips.profiles import cut_strip

REACH_MM, BLIND_MM, CORE_MM = 30.0, 12.0, 22.0  # what is compared, left out about the corner, searched
ROWS_PX = np.arange(-5.0, -1.2, 0.5)  # outward of the known side: rows that are read beside it
# Guesses: a row tells an end whose step is so large (square-root light), falls by so much of itself within the edge,
# and whose two sides are spread by no more of it; fewer rows tell none.
LEAST_STEP, LEAST_FALL, MOST_SPREAD, LEAST_ROWS = 0.04, 0.5, 0.35, 5
EDGE_PX, FINE_PX = 3.5, 0.25  # half of the edge at most, and the steps in which it is read
STEEPEST = 1.5  # mm a mm, guess: ends of rows that run off more are those of something else
# Scale of Student's t with 3 degrees of freedom, mm, of such an end against the straight line of the side next to it,
# beyond the scatter of its own rows; from own renderings (100 hard ones, 60 others): heads ending at jambs
# (masonry: 68 % within 1.3, 95 % within 3.1), jambs ending at sills (68 % within 1.1, 95 % within 4). On siding the
# trim's lower end, not the sill, is what the jamb ends at.
JAMB_END_MM: Mapping[Wall, float] = {"masonry": 1.1, "render": 0.5, "siding": 0.45, "panel": 0.45}
SILL_END_MM: Mapping[Wall, float] = {"masonry": 1.1, "render": 1.2}
# Flush sills ending at jambs, masonry: 73 read of 111, 68 % within 1.5, 90 % within 2.9; 6 of 52 on trim, not used.
JAMB_END_AT_SILL_MM: Mapping[Wall, float] = {"masonry": 1.2}
# Jambs ending at heads (68 % within 1.8, 95 % within 3.5) were tried too: they mostly show a lintel's top again, 3 more
# sides of 1040 wrong, 4 more said, 10 right ones more in doubt.
ASTRAY, ASTRAY_IN_FRONT = 0.05, 0.1  # ends of something else (4 of 120 photos); at sills that project (9 % beyond 6 mm)
# Of 517 heads on masonry 11 % were beyond 4 mm where the spread was over 0.08 of the step, else 2 %; of 350 jambs at
# flush sills 7 % where the step was under 0.17 (and their median error 1.7 times the others'), else 2 %.
CLEAR_SPREAD, CLEAR_STEP, UNCLEAR, FAINT_SCALE = 0.08, 0.17, 3.0, 1.5
U_END_PX = 0.3  # guess: rows of a dozen samples
# What weights leave to other lines by rule, not by belief: the contract's 0.01, and no line is surer than 0.999.
OWED = 0.011
OF_SCALE = 1.3  # standard deviation that stands for Student's t with 3 degrees of freedom about its middle
STEP_MM = 0.25


@dataclass(frozen=True, slots=True)
class SideEnd:
    """Place of the next side's arris, mm outward of the corner given, scale of its error, share that is of none."""

    offset_mm: float
    scale_mm: float
    astray: float = ASTRAY

    def density(self, at_mm: Array | float, u_mm: Array | float = 0.0) -> Array:
        """Return the density, per mm, of this reading if the arris lies at_mm outward of the corner, known to u_mm."""
        scale = np.hypot(self.scale_mm, np.asarray(u_mm) / OF_SCALE)
        x = (self.offset_mm - np.asarray(at_mm)) / scale
        right = 6 * np.sqrt(3) / (np.pi * scale * (3 + x**2) ** 2)
        return np.asarray((1 - self.astray) * right + self.astray / (2 * CORE_MM))


def side_end(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corner_mm: Array,
    along: Array,
    known: Side,
    depth_mm: float,
    scale_mm: float,
    *,
    far: bool,
    astray: float = ASTRAY,
) -> SideEnd | None:
    """Return where a known side ends, or None where that is not clear.

    Parameters
    ----------
    corner_mm : (2,) where the known side and the one next to it cross as traced, in the plane z = depth_mm
    along : (2,) unit direction of the known side: head and sill to the right, jambs down
    scale_mm : of the error of such ends, as in `JAMB_END_MM`
    far : whether it is the end that `along` points to
    astray : share of such ends that are of something else
    """
    reach = REACH_MM * 1.5
    ends = np.array([corner_mm - along * reach, corner_mm + along * reach])
    strip = cut_strip(rgb, camera, known, ends, depth_mm, 8, 8)
    if strip is None or not np.isfinite(strip.colour).all():
        return None
    mm, u = strip.mm_per_px, strip.u_mm - reach
    colour = strip.colour.astype(float)
    if not far:
        u, colour = -u[::-1], colour[::-1]
    at_px = strip.v_mm / mm
    places = [(v * mm, _change(colour[:, int(np.abs(at_px - v).argmin())], u, mm)) for v in ROWS_PX]
    rows = np.array([(v, *x) for v, x in places if x is not None])
    if len(rows) < LEAST_ROWS:
        return None
    base = np.column_stack([np.ones(len(rows)), rows[:, 0]])
    weight = np.ones(len(rows))
    for _ in range(6):
        line = np.linalg.lstsq(base * weight[:, None], rows[:, 1] * weight, rcond=None)[0]
        left = np.abs(rows[:, 1] - base @ line)
        scatter = 1.4826 * float(np.median(left)) + 0.1
        weight = 1 / np.maximum(1.0, left / (1.5 * scatter))
    if abs(line[1]) > STEEPEST:
        return None
    if known == "head":  # a soffit is far darker than the wall
        astray *= UNCLEAR if float(np.median(rows[:, 3])) > CLEAR_SPREAD else 1.0
    elif float(np.median(rows[:, 2])) < CLEAR_STEP:  # reveal and sill nearly of one tone
        astray, scale_mm = astray * UNCLEAR, scale_mm * FAINT_SCALE
    return SideEnd(float(line[0]), float(np.sqrt(scatter**2 + scale_mm**2 + (U_END_PX * mm) ** 2)), astray)


def _change(row: Array, u: Array, mm: float) -> tuple[float, float, float] | None:
    """Return where a row (N, 3) turns from what is inside to what is outside, mm outward; None where it does not.

    With it go the step and the spread of both sides, by the step.
    """
    inside, outside = (u < -BLIND_MM) & (u > -REACH_MM), (u > BLIND_MM) & (u < REACH_MM)
    far = np.median(row[outside], axis=0)
    step = np.median(row[inside], axis=0) - far
    if float(step @ step) < LEAST_STEP**2:
        return None
    share = (row - far) @ step / float(step @ step)
    spread = max(float(share[inside].std()), float(share[outside].std()))
    if spread > MOST_SPREAD:
        return None
    core = np.abs(u) < CORE_MM
    s, at = np.clip(share[core], -0.3, 1.3), u[core]
    cost = np.append(0, np.cumsum((s - 1) ** 2)) + np.append(np.cumsum(s[::-1] ** 2)[::-1], 0)
    i = int(cost.argmin())
    if i in (0, len(at)):
        return None
    fine = (at[i - 1] + at[i]) / 2 + np.arange(-EDGE_PX, EDGE_PX + 1e-9, FINE_PX) * mm
    value = np.interp(fine, at, s)
    near, beyond = float(np.median(value[:4])), float(np.median(value[-4:]))
    if near - beyond < LEAST_FALL:
        return None
    place = fine[0] + mm * FINE_PX * (((value - beyond) / (near - beyond)).sum() - 0.5)
    return float(place), float(np.sqrt(step @ step)), spread


@dataclass(frozen=True, slots=True, eq=False)
class Unseen:
    """An arris that no line shows: its probability, its place outward of the line taken and the uncertainty, mm."""

    probability: float
    outward_mm: float
    u_mm: float


def weighed_by_ends(
    ends_mm: Array,
    weights: Array,
    readings: Sequence[SideEnd | None],
    unseen: float,
    window_mm: tuple[float, float],
    elsewhere: tuple[float, float, float] = (0.0, 0.0, 1.0),
) -> tuple[Array, Unseen]:
    """Return the weights (N,) of a side's lines given where the sides next to it end, and what no line shows.

    Parameters
    ----------
    ends_mm : (N, 2) first and second end of each line, outward of the line taken
    weights : (N,) before; what is left to 1 - `OWED` belongs to lines that were not found, anywhere within the reach
    readings : at the first and second end; one of them at least
    unseen : how often a side of this kind is shown by no line, its arris then anywhere in `window_mm`
    elsewhere : how often both readings are of another line than the arris, and from where to where outward of it that
        lies, mm: the foot behind a sill's arris

    Notes
    -----
    Bayes. Readings at both ends are otherwise independent.
    """
    told = [r for r in readings if r is not None]

    def likelihood(first_mm: Array, second_mm: Array) -> Array:
        pairs = zip((first_mm, second_mm), readings, strict=True)
        return np.asarray(np.prod([r.density(at) for at, r in pairs if r is not None], axis=0))

    often, near, far = elsewhere
    beyond = float(np.mean([r.offset_mm for r in told])) - ends_mm.mean(axis=1)
    alike = SideEnd(0.0, float(np.sqrt(np.mean([2 * r.scale_mm**2 for r in told]))))
    there = float(np.prod([alike.density(told[0].offset_mm - r.offset_mm) for r in told[1:]])) / (far - near)
    other = np.where((beyond > near) & (beyond < far), there, 0.0)
    grid = np.arange(window_mm[0], window_mm[1] + STEP_MM / 2, STEP_MM)
    if not len(grid):  # a coarse photo: whatever lies near the line is that line
        grid, unseen = np.zeros(1), 0.0
    anywhere = np.arange(-CORE_MM, CORE_MM + STEP_MM / 2, STEP_MM)
    arris = (1 - often) * likelihood(ends_mm[:, 0], ends_mm[:, 1]) + often * other
    seen = weights * (1 - unseen) * arris
    places = likelihood(grid, grid)
    hidden = unseen * float(weights.sum()) * float(places.mean())
    rest = max(1 - OWED - float(weights.sum()), 0.0) * float(likelihood(anywhere, anywhere).mean())
    total = float(seen.sum()) + hidden + rest
    place = places / places.sum()
    mean = float(place @ grid)
    u = float(np.sqrt(place @ (grid - mean) ** 2))
    return np.asarray(seen / total), Unseen(hidden / total, mean, u)
