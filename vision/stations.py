"""Where a tape touches the sides of an opening: lines, corners, stations, local edges, and the nine lengths.

Stations, corners and local edges by the contract (*Measures*). Every side is kept as pixels, so that a change of the
camera or of a side's depth moves it in the wall.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from vision.camera import Camera, back_project
from vision.request import NINE, SIDES, Array, Side

STATION_MM = 50.8  # 2 in inside the corners
SMEAR_MM = 5.0  # local edges are running means: beside a joint a brick shows its place only so far inside its end
BOW_SAMPLES = 20  # local edges that a bow needs at least
BLADE_MM, NEAR_MM = 8.0, 20.0  # a tape's blade; how far the nearest edge may lie
SMOOTH_MM = 25.0  # over which the edge of a smooth side is averaged
Pair = tuple[Side, Side]


@dataclass(frozen=True, slots=True, eq=False)
class LaidUnits:
    """Bricks in order: `ends_mm` (K, 2) along the side, outward departure (K,) mm from its line, and its u (K,) mm.

    A brick whose arris does not show has a departure of NaN.
    """

    ends_mm: Array
    local_mm: Array
    u_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class SideLine:
    """One side: ends (2, 2) px and depth z mm; local edges (s mm from the first end, outward mm) and noise.

    `cov_offset_slope` (2, 2) is about the middle of the ends; `u_local_mm` of one local edge; `scatter_mm` how far
    the edge wanders between neighbours; `u_choice_mm` which line of a rounded arris is seen, `choice_with_mm2` the
    covariance of that with other sides; `ragged` is masonry, and `units` are its bricks, where they are told apart.
    """

    side: Side
    ends_px: Array
    depth_mm: float
    s_mm: Array
    local_mm: Array
    cov_offset_slope: Array
    u_local_mm: float
    scatter_mm: float
    u_choice_mm: float
    ragged: bool = True
    units: LaidUnits | None = None
    choice_with_mm2: Mapping[Side, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A side in the wall plane: first end, unit direction, outward normal, length."""

    origin: Array
    direction: Array
    normal: Array
    length: float


OUTWARD = {"head": -1.0, "right": 1.0, "sill": 1.0, "left": -1.0}


def lines_of(camera: Camera, sides: Mapping[Side, SideLine], depth: Mapping[Side, float]) -> dict[Side, Line]:
    """Return the sides as lines in the wall plane, each at its own depth."""
    ends = np.concatenate([sides[s].ends_px for s in SIDES])
    wall = back_project(camera, ends, np.repeat([depth[s] for s in SIDES], 2)).reshape(4, 2, 2)
    lines: dict[Side, Line] = {}
    for side, (a, b) in zip(SIDES, wall, strict=True):
        length = float(np.hypot(*(b - a)))
        d = (b - a) / length
        normal = np.array([-d[1], d[0]]) if side in {"head", "sill"} else np.array([d[1], -d[0]])
        lines[side] = Line(a, d, normal * OUTWARD[side], length)
    return lines


def shifted(line: Line, offset: float, slope: float) -> Line:
    """Return the line moved outward by `offset` and turned by `slope` about its middle."""
    middle = line.origin + line.direction * line.length / 2 + offset * line.normal
    d = line.direction + slope * line.normal
    d = d / np.linalg.norm(d)
    return Line(middle - d * line.length / 2, d, line.normal, line.length)


def _cross(a: Line, b: Line) -> Array:
    s = np.linalg.solve(np.column_stack([a.direction, -b.direction]), b.origin - a.origin)
    return np.asarray(a.origin + s[0] * a.direction)


def corners(lines: Mapping[Side, Line]) -> Array:
    """Return the corners (4, 2) mm of four lines: top left first, clockwise."""
    pairs: tuple[Pair, ...] = (("head", "left"), ("head", "right"), ("sill", "right"), ("sill", "left"))
    return np.array([_cross(lines[a], lines[b]) for a, b in pairs])


def stations(lines: Mapping[Side, Line]) -> dict[str, tuple[tuple[Side, Array], tuple[Side, Array]]]:
    """Return, for each width and height, the two places (2,) mm on the straight sides that the tape touches."""
    tl, tr, br, bl = corners(lines)

    def along(start: Array, end: Array, name: str) -> Array:
        d = (end - start) / np.linalg.norm(end - start)
        if name == "middle":
            return np.asarray((start + end) / 2)
        return np.asarray(start + STATION_MM * d) if name == "near" else np.asarray(end - STATION_MM * d)

    places: dict[str, tuple[tuple[Side, Array], tuple[Side, Array]]] = {}
    for name, at in (("top", "near"), ("middle", "middle"), ("bottom", "far")):
        places[f"width_{name}"] = (("left", along(tl, bl, at)), ("right", along(tr, br, at)))
    for name, at in (("left", "near"), ("middle", "middle"), ("right", "far")):
        places[f"height_{name}"] = (("head", along(tl, tr, at)), ("sill", along(bl, br, at)))
    return places


def local_edge(side: SideLine, s_mm: float) -> tuple[float, float]:
    """Return the local edge (outward mm from the straight side) at `s_mm` and its standard uncertainty.

    On ragged masonry the innermost edge under the blade, else the nearest within reach; on a smooth side the mean
    within reach, because single places there are noise; else the straight side with its scatter.
    """
    if side.units is not None:
        return _touched(side.units, s_mm)
    if len(side.s_mm):
        distance = np.abs(side.s_mm - s_mm)
        around = distance <= SMOOTH_MM
        if not side.ragged and np.count_nonzero(around) >= 3:
            return float(side.local_mm[around].mean()), float(np.hypot(side.u_local_mm, side.scatter_mm) / 2)
        near = distance <= BLADE_MM + SMEAR_MM
        if near.any():
            values = np.sort(side.local_mm[near])
            inner = values[: max(1, (len(values) + 2) // 3)]  # the least alone would take the noise
            return float(inner.mean()), float(np.hypot(side.u_local_mm, 0.35 * side.scatter_mm))
        if distance.min() <= NEAR_MM:
            nearest = np.argsort(distance)[:3]
            value = float(np.median(side.local_mm[nearest[distance[nearest] <= NEAR_MM]]))
            return value, float(np.hypot(side.u_local_mm, 0.6 * side.scatter_mm))
    return _bow(side, s_mm), float(np.hypot(side.u_local_mm, max(side.scatter_mm, 0.3)))


def _touched(units: LaidUnits, s_mm: float) -> tuple[float, float]:
    """Return the innermost of the bricks under the blade, in a joint that of the nearest, with its uncertainty."""
    away = np.maximum(np.maximum(units.ends_mm[:, 0] - s_mm, s_mm - units.ends_mm[:, 1]), 0.0)
    under = np.flatnonzero(away <= max(BLADE_MM, float(away.min())))
    first = under[np.argmin(units.local_mm[under])]
    return float(units.local_mm[first]), float(units.u_mm[first])


def _bow(side: SideLine, s_mm: float) -> float:
    """Return the parabola through the local edges at `s_mm`: what is hidden there follows the side's bow."""
    if len(side.s_mm) < BOW_SAMPLES:
        return 0.0
    middle, half = float(side.s_mm.mean()), float(np.ptp(side.s_mm)) / 2 + 1e-9
    t = (side.s_mm - middle) / half
    bow = np.polynomial.Polynomial.fit(t, side.local_mm, 2, domain=[-1, 1])
    return float(bow(np.clip((s_mm - middle) / half, -1.2, 1.2)))


def nine_of(lines: Mapping[Side, Line], local: Mapping[str, tuple[float, float]]) -> Array:
    """Return the nine measures (9,) mm; `local` are the outward departures mm at both ends of each width and height."""
    values = {}
    for name, ((side_a, a), (side_b, b)) in stations(lines).items():
        da, db = local[name]
        values[name] = np.linalg.norm((b + db * lines[side_b].normal) - (a + da * lines[side_a].normal))
    tl, tr, br, bl = corners(lines)
    values["diagonal_down"] = np.linalg.norm(br - tl)
    values["diagonal_up"] = np.linalg.norm(tr - bl)
    values["out_of_square"] = values["diagonal_down"] - values["diagonal_up"]
    return np.array([values[n] for n in NINE], float)


def local_edges(
    lines: Mapping[Side, Line], sides: Mapping[Side, SideLine]
) -> tuple[dict[str, tuple[float, float]], Array]:
    """Return the local departures at both ends of each width and height, and their joint uncertainty (9,)."""
    local, u = {}, np.zeros(9)
    for name, ends in stations(lines).items():
        found = [local_edge(sides[s], float((p - lines[s].origin) @ lines[s].direction)) for s, p in ends]
        local[name] = (found[0][0], found[1][0])
        u[NINE.index(name)] = np.hypot(found[0][1], found[1][1])
    return local, u


ENDS: Mapping[Side, tuple[int, int]] = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}


def clicked_sides(corners_px: Array, depth: Mapping[Side, float]) -> dict[Side, SideLine]:
    """Return sides through clicked corners (4, 2) px, none traced; the clicks' noise is added by `measure`.

    A side with a corner out of view (NaN) is absent.
    """
    none = np.zeros(0)
    return {
        s: SideLine(s, corners_px[list(ENDS[s])], depth[s], none, none, np.zeros((2, 2)), 0.0, 0.0, 0.0)
        for s in SIDES
        if np.isfinite(corners_px[list(ENDS[s])]).all()
    }


def moved_corner(sides: Mapping[Side, SideLine], corners_px: Array) -> dict[Side, SideLine]:
    """Return the sides through other corners (4, 2) px."""
    return {s: replace(line, ends_px=corners_px[list(ENDS[s])]) for s, line in sides.items()}
