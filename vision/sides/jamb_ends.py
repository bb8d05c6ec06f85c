"""Where a head ends: evidence for a jamb's arris that its own line need not show.

The soffit behind a head's arris is dark, the wall beside the opening is not, whatever jamb and reveal look like. Along
rows just below the head the light therefore changes at the jamb: at its arris where the reveal is hidden, further in at
the edge between reveal and soffit where it is seen. That edge runs into the depth from the corner itself, so the
changes lie on a straight line that meets the head at the arris.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.request import Array, Side, Wall
from vision.sides.profiles import cut_strip

REACH_MM, BLIND_MM, CORE_MM = 30.0, 12.0, 22.0  # what is compared, left out about the corner, searched
ROWS_PX = np.arange(-5.0, -1.2, 0.5)
LEAST_STEP, LEAST_FALL, MOST_SPREAD, LEAST_ROWS = 0.04, 0.5, 0.35, 5
EDGE_PX, FINE_PX = 3.5, 0.25
STEEPEST = 1.5
# How far the end of a head lies from a jamb as traced, beyond the scatter of its own rows: 68 % on 100 own hard
# renderings and the practice photos. Brick (1.3 mm, and 6 % beyond 2.5) is not used: one brick's end is not the line.
U_END_MM: Mapping[Wall, float] = {"render": 0.6, "siding": 0.5, "panel": 0.5}
U_END_PX = 0.3  # guess: rows of a dozen samples
TAIL = 0.0015  # per mm: readings of something else, 3 % within 20 mm (none of 92 was)
UNSEEN = 0.03  # own hard renderings 9 of 320 jambs, practice 2 of 76: no line shows the arris
UNSEEN_MM = (1.0, 12.0)  # outward of the line that is seen instead


@dataclass(frozen=True, slots=True)
class HeadEnd:
    """Place of the arris at the head, mm outward of the corner given, and its standard uncertainty."""

    offset_mm: float
    u_mm: float


def head_end(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corner_mm: Array,
    along: Array,
    side: Side,
    depth_mm: float,
    wall: Wall,
) -> HeadEnd | None:
    """Return where the head ends at a jamb, or None where that is not clear.

    Parameters
    ----------
    corner_mm : (2,) where head and jamb cross as traced, in the plane z = depth_mm
    along : (2,) unit direction of the head, to the right
    side : "left" or "right"
    """
    if wall not in U_END_MM:
        return None
    reach = REACH_MM * 1.5
    ends = np.array([corner_mm - along * reach, corner_mm + along * reach])
    strip = cut_strip(rgb, camera, "head", ends, depth_mm, 8, 8)
    if strip is None or not np.isfinite(strip.colour).all():
        return None
    mm, u = strip.mm_per_px, strip.u_mm - reach
    colour = strip.colour.astype(float)
    if side == "left":
        u, colour = -u[::-1], colour[::-1]
    at_px = strip.v_mm / mm
    places = [(v * mm, _change(colour[:, int(np.abs(at_px - v).argmin())], u, mm)) for v in ROWS_PX]
    rows = np.array([(v, x) for v, x in places if x is not None])
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
    return HeadEnd(float(line[0]), float(np.sqrt(scatter**2 + U_END_MM[wall] ** 2 + (U_END_PX * mm) ** 2)))


def _change(row: Array, u: Array, mm: float) -> float | None:
    """Return where a row (N, 3) turns from what is inside to what is outside, mm outward; None where it does not."""
    inside, outside = (u < -BLIND_MM) & (u > -REACH_MM), (u > BLIND_MM) & (u < REACH_MM)
    far = np.median(row[outside], axis=0)
    step = np.median(row[inside], axis=0) - far
    if float(step @ step) < LEAST_STEP**2:
        return None
    share = (row - far) @ step / float(step @ step)
    if max(float(share[inside].std()), float(share[outside].std())) > MOST_SPREAD:
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
    return float(fine[0] + mm * FINE_PX * (((value - beyond) / (near - beyond)).sum() - 0.5))


def unseen_share(weight: float, off_mm: float, end: HeadEnd) -> float:
    """Return the probability that an arris which no line shows lies where the head ends, `off_mm` outside of a line.

    `weight` is that of the line. Bayes: the reading of the arris is Gaussian with a few that are of something else; an
    unseen arris may lie anywhere within the window. A reading inside of the line tells nothing: lit tops of reveals.
    """
    near, far = UNSEEN_MM
    if not near < off_mm < far:
        return 0.0
    reading = np.exp(-0.5 * (off_mm / end.u_mm) ** 2) / (end.u_mm * np.sqrt(2 * np.pi)) + TAIL
    unseen, seen = UNSEEN / (far - near), weight * (1 - UNSEEN) * float(reading)
    return unseen / (unseen + seen)
