"""Sides and camera -> the nine and further measures, their covariance and its budget.

Stations, corners and local edges by the contract (*Measures*). Every side is kept as pixels, so that a change of the
camera or of a side's depth moves it in the wall; the partial derivatives are central differences.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from vision.camera import UNKNOWNS, Camera, back_project, project
from vision.request import NINE, PARTS, SIDES, Array, Candidate, Measure, Side
from vision.uncertainty import jacobian

STATION_MM = 50.8  # 2 in inside the corners
BLADE_MM, NEAR_MM = 8.0, 20.0  # a tape's blade; how far the nearest edge may lie
CAMERA_STEPS = np.array([1e-6] * 3 + [1e-3] * 3 + [1e-6, 1e-2, 1e-2, 1e-5, 1e-5])
SMOOTH_MM = 25.0  # over which the edge of a smooth side is averaged
GRID_MM = 20.0  # spacing of the search for the narrowest and widest place
Pair = tuple[Side, Side]


@dataclass(frozen=True, slots=True, eq=False)
class SideLine:
    """One side: ends (2, 2) px and depth z mm; local edges (s mm from the first end, outward mm) and noise.

    `cov_offset_slope` (2, 2) is about the middle of the ends; `u_local_mm` of one local edge; `scatter_mm` how far
    the edge wanders between neighbours; `u_choice_mm` which line of a rounded arris is seen; `ragged` is masonry.
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


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """A side in the wall plane: first end, unit direction, outward normal, length."""

    origin: Array
    direction: Array
    normal: Array
    length: float


OUTWARD = {"head": -1.0, "right": 1.0, "sill": 1.0, "left": -1.0}


def _lines(camera: Camera, sides: Mapping[Side, SideLine], depth: Mapping[Side, float]) -> dict[Side, _Line]:
    ends = np.concatenate([sides[s].ends_px for s in SIDES])
    wall = back_project(camera, ends, np.repeat([depth[s] for s in SIDES], 2)).reshape(4, 2, 2)
    lines: dict[Side, _Line] = {}
    for side, (a, b) in zip(SIDES, wall, strict=True):
        length = float(np.hypot(*(b - a)))
        d = (b - a) / length
        normal = np.array([-d[1], d[0]]) if side in {"head", "sill"} else np.array([d[1], -d[0]])
        lines[side] = _Line(a, d, normal * OUTWARD[side], length)
    return lines


def _shifted(line: _Line, offset: float, slope: float) -> _Line:
    """Return the line moved outward by `offset` and turned by `slope` about its middle."""
    middle = line.origin + line.direction * line.length / 2 + offset * line.normal
    d = line.direction + slope * line.normal
    d = d / np.linalg.norm(d)
    return _Line(middle - d * line.length / 2, d, line.normal, line.length)


def _cross(a: _Line, b: _Line) -> Array:
    s = np.linalg.solve(np.column_stack([a.direction, -b.direction]), b.origin - a.origin)
    return np.asarray(a.origin + s[0] * a.direction)


def corners(lines: Mapping[Side, _Line]) -> Array:
    """Return the corners (4, 2) mm of four lines: top left first, clockwise."""
    pairs: tuple[Pair, ...] = (("head", "left"), ("head", "right"), ("sill", "right"), ("sill", "left"))
    return np.array([_cross(lines[a], lines[b]) for a, b in pairs])


def stations(lines: Mapping[Side, _Line]) -> dict[str, tuple[tuple[Side, Array], tuple[Side, Array]]]:
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
    if len(side.s_mm):
        distance = np.abs(side.s_mm - s_mm)
        around = distance <= SMOOTH_MM
        if not side.ragged and np.count_nonzero(around) >= 3:
            return float(side.local_mm[around].mean()), float(np.hypot(side.u_local_mm, side.scatter_mm) / 2)
        near = distance <= BLADE_MM
        if near.any():
            values = np.sort(side.local_mm[near])
            inner = values[
                : max(1, (len(values) + 2) // 3)
            ]  # the inner third: the least alone would take the noise
            return float(inner.mean()), float(np.hypot(side.u_local_mm, 0.35 * side.scatter_mm))
        if distance.min() <= NEAR_MM:
            nearest = np.argsort(distance)[:3]
            value = float(np.median(side.local_mm[nearest[distance[nearest] <= NEAR_MM]]))
            return value, float(np.hypot(side.u_local_mm, 0.6 * side.scatter_mm))
    return 0.0, float(np.hypot(side.u_local_mm, max(side.scatter_mm, 0.3)))


def _nine(lines: Mapping[Side, _Line], local: Mapping[str, tuple[float, float]]) -> Array:
    """Return the nine measures; `local` holds the outward departures at both ends of each width and height."""
    values = {}
    for name, ((side_a, a), (side_b, b)) in stations(lines).items():
        da, db = local[name]
        values[name] = np.linalg.norm((b + db * lines[side_b].normal) - (a + da * lines[side_a].normal))
    tl, tr, br, bl = corners(lines)
    values["diagonal_down"] = np.linalg.norm(br - tl)
    values["diagonal_up"] = np.linalg.norm(tr - bl)
    values["out_of_square"] = values["diagonal_down"] - values["diagonal_up"]
    return np.array([values[n] for n in NINE], float)


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """The nine with covariance and budget, further measures, candidates' effects, corners and stations in px."""

    values_mm: Array
    cov_mm2: Array
    budget_mm: Array
    station_u_mm: Array
    further: Mapping[str, Measure]
    corners_px: Array
    stations_px: Mapping[str, Array]


def measure(
    camera: Camera,
    camera_parts: Mapping[str, Array],
    sides: Mapping[Side, SideLine],
    u_depth_common_mm: float,
    u_depth_mm: Mapping[Side, float],
    clicks: tuple[Array, float] | None = None,
) -> Measured:
    """Return the measures of an opening.

    Parameters
    ----------
    camera : adjusted camera.
    camera_parts : covariance (11, 11) or larger of its unknowns, by budget part; they sum to the whole.
    sides : the four sides.
    u_depth_common_mm, u_depth_mm : standard uncertainty of the sides' depth, common to all and of each.
    clicks : clicked corners (4, 2) px that the sides run through and their standard uncertainty in px, if not traced.

    Notes
    -----
    Covariance J C J' by parts (JCGM 100, 5.2); the parts are independent, so they add.
    """
    depth = {s: sides[s].depth_mm for s in SIDES}
    lines = _lines(camera, sides, depth)
    local, u_station = _local_edges(lines, sides)

    def nine(c: Camera, d: Mapping[Side, float], move: Mapping[Side, Array] | None = None) -> Array:
        changed = _lines(c, sides, d)
        if move is not None:
            changed = {s: _shifted(line, *move.get(s, np.zeros(2))) for s, line in changed.items()}
        return _nine(changed, local)

    by_camera = jacobian(lambda x: nine(camera.moved(x), depth), np.zeros(UNKNOWNS), CAMERA_STEPS)
    parts = {p: np.zeros((9, 9)) for p in PARTS}
    for part, cov in camera_parts.items():
        if part in parts:
            parts[part] = by_camera @ cov[:UNKNOWNS, :UNKNOWNS] @ by_camera.T
    by_depth = jacobian(lambda x: nine(camera, _deeper(depth, x)), np.zeros(4), 0.1)
    by_line = jacobian(
        lambda x: nine(camera, depth, dict(zip(SIDES, x.reshape(4, 2), strict=True))),
        np.zeros(8),
        [1e-2, 1e-6] * 4,
    )
    for i, side in enumerate(SIDES):
        deep, line = by_depth[:, [i]], by_line[:, 2 * i : 2 * i + 2]
        parts["edge_depth"] += u_depth_mm[side] ** 2 * deep @ deep.T
        parts["edge_trace"] += line @ sides[side].cov_offset_slope @ line.T
        parts["edge_choice"] += sides[side].u_choice_mm ** 2 * line[:, :1] @ line[:, :1].T
    by_all = by_depth.sum(axis=1, keepdims=True)
    parts["edge_depth"] += u_depth_common_mm**2 * by_all @ by_all.T
    if clicks is not None:
        by_click = jacobian(
            lambda x: _nine(_lines(camera, moved_corner(sides, clicks[0] + x.reshape(4, 2)), depth), local),
            np.zeros(8),
            1e-2,
        )
        parts["edge_trace"] += clicks[1] ** 2 * by_click @ by_click.T
    parts["station"] = np.diag(u_station**2)
    values = nine(camera, depth)
    total = np.asarray(sum(parts.values()))
    total = _exact_difference((total + total.T) / 2)
    budget = np.sqrt(np.stack([np.maximum(np.diag(parts[p]), 0) for p in PARTS], axis=1))
    return Measured(
        values,
        total,
        budget,
        u_station,
        _further(lines, sides, values, total),
        _to_photo(camera, corners(lines), sides, ("head", "head", "sill", "sill")),
        _stations_px(camera, lines, sides, local),
    )


def _exact_difference(cov: Array) -> Array:
    """Return the covariance with its last row and column that of diagonal_down - diagonal_up, exactly (rank 8)."""
    t = np.vstack([np.eye(8), np.array([0, 0, 0, 0, 0, 0, 1.0, -1.0])])
    return np.asarray(t @ cov[:8, :8] @ t.T)


def _deeper(depth: Mapping[Side, float], by: Array) -> dict[Side, float]:
    return {s: depth[s] + float(by[i]) for i, s in enumerate(SIDES)}


def _local_edges(
    lines: Mapping[Side, _Line], sides: Mapping[Side, SideLine]
) -> tuple[dict[str, tuple[float, float]], Array]:
    """Return the local departures at both ends of each width and height, and their joint uncertainty (9,)."""
    local, u = {}, np.zeros(9)
    for name, ends in stations(lines).items():
        found = [local_edge(sides[s], float((p - lines[s].origin) @ lines[s].direction)) for s, p in ends]
        local[name] = (found[0][0], found[1][0])
        u[NINE.index(name)] = np.hypot(found[0][1], found[1][1])
    return local, u


def _to_photo(camera: Camera, points: Array, sides: Mapping[Side, SideLine], of: tuple[Side, ...]) -> Array:
    z = np.array([sides[s].depth_mm for s in of])
    return project(camera, np.column_stack([points, z]))


def _stations_px(
    camera: Camera,
    lines: Mapping[Side, _Line],
    sides: Mapping[Side, SideLine],
    local: Mapping[str, tuple[float, float]],
) -> dict[str, Array]:
    drawn = {}
    for name, ends in stations(lines).items():
        points = np.array([p + d * lines[s].normal for (s, p), d in zip(ends, local[name], strict=True)])
        drawn[name] = _to_photo(camera, points, sides, (ends[0][0], ends[1][0]))
    c = corners(lines)
    drawn["diagonal_down"] = _to_photo(camera, c[[0, 2]], sides, ("head", "sill"))
    drawn["diagonal_up"] = _to_photo(camera, c[[3, 1]], sides, ("sill", "head"))
    return drawn


def _further(
    lines: Mapping[Side, _Line], sides: Mapping[Side, SideLine], values: Array, cov: Array
) -> dict[str, Measure]:
    """Return taper, lean, and the narrowest and widest width and height with their places."""

    def difference(a: str, b: str) -> Measure:
        i, j = NINE.index(a), NINE.index(b)
        return Measure(
            float(values[i] - values[j]), float(np.sqrt(max(cov[i, i] + cov[j, j] - 2 * cov[i, j], 0)))
        )

    tl, tr, br, bl = corners(lines)
    across = (tr - tl) / np.linalg.norm(tr - tl) + (br - bl) / np.linalg.norm(br - bl)
    across = across / np.linalg.norm(across)
    lean = float(((tl + tr) / 2 - (bl + br) / 2) @ across)
    # lean is about D (d_up - d_down) / (2 W) (facts: squareness): take its uncertainty from there
    width, diagonal = values[NINE.index("width_middle")], values[NINE.index("diagonal_down")]
    u_lean = float(diagonal / (2 * width) * np.sqrt(cov[8, 8]))
    further = {
        "taper_width": difference("width_top", "width_bottom"),
        "taper_height": difference("height_left", "height_right"),
        "lean": Measure(lean, u_lean),
    }
    for axis, first, last, middle in (
        ("width", "left", "right", "width_middle"),
        ("height", "head", "sill", "height_middle"),
    ):
        places, lengths = _scan(
            lines[first], lines[last], sides[first], sides[last], (tl, bl) if axis == "width" else (tl, tr)
        )  # type: ignore[index]
        u = float(np.sqrt(cov[NINE.index(middle), NINE.index(middle)]))
        for word, i in (("narrowest", int(np.argmin(lengths))), ("widest", int(np.argmax(lengths)))):
            further[f"{word}_{axis}"] = Measure(float(lengths[i]), u, float(places[i]))
    return further


def _scan(
    a: _Line, b: _Line, side_a: SideLine, side_b: SideLine, ends: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Return places (mm from the first corner) and the lengths there, between two opposite sides."""
    total = float(np.linalg.norm(ends[1] - ends[0]))
    start_a = float((ends[0] - a.origin) @ a.direction)
    places = np.arange(min(STATION_MM, total / 3), total - min(STATION_MM, total / 3) + 1e-9, GRID_MM)
    lengths = []
    for p in places:
        point = a.origin + (start_a + p) * a.direction
        t = float((point - b.origin) @ b.direction)
        other = b.origin + t * b.direction
        da, db = _smooth(side_a, start_a + p), _smooth(side_b, t)
        lengths.append(np.linalg.norm((other + db * b.normal) - (point + da * a.normal)))
    return places, np.array(lengths)


def _smooth(side: SideLine, s_mm: float) -> float:
    """Return the median local edge within twice the reach: single bricks do not make a narrowest place."""
    near = np.abs(side.s_mm - s_mm) <= 2 * NEAR_MM
    return float(np.median(side.local_mm[near])) if near.any() else 0.0


def candidate_effects(
    camera: Camera,
    sides: Mapping[Side, SideLine],
    listed: Mapping[Side, tuple[tuple[float, float, str], ...]],
) -> tuple[Candidate, ...]:
    """Return candidates with their effect on the nine; `listed` gives (weight, shift outward mm, name) by side."""
    depth = {s: sides[s].depth_mm for s in SIDES}
    lines = _lines(camera, sides, depth)
    local, _ = _local_edges(lines, sides)
    at = _nine(lines, local)
    found = []
    for side in SIDES:
        for weight, shift, name in listed.get(side, ()):
            moved = dict(lines) | {side: _shifted(lines[side], shift, 0.0)}
            found.append(Candidate(side, weight, shift, _nine(moved, local) - at, name))
    return tuple(found)


ENDS: Mapping[Side, tuple[int, int]] = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}


def clicked_sides(corners_px: Array, depth: Mapping[Side, float]) -> dict[Side, SideLine]:
    """Return sides through clicked corners (4, 2) px, nothing traced; the clicks' noise is added by `measure`."""
    none = np.zeros(0)
    return {
        s: SideLine(s, corners_px[list(ENDS[s])], depth[s], none, none, np.zeros((2, 2)), 0.0, 0.0, 0.0)
        for s in SIDES
    }


def moved_corner(sides: Mapping[Side, SideLine], corners_px: Array) -> dict[Side, SideLine]:
    """Return the sides through other corners (4, 2) px."""
    return {s: replace(line, ends_px=corners_px[list(ENDS[s])]) for s, line in sides.items()}
