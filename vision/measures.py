"""Sides and camera -> the nine and further measures, their covariance and its budget.

The partial derivatives are central differences (JCGM 100, 5.1.3, note 2).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vision.camera import UNKNOWNS, Camera, project
from vision.further import further_measures
from vision.request import PARTS, SIDES, Array, Candidate, Measure, Side
from vision.stations import Line, SideLine, corners, lines_of, local_edges, moved_corner, nine_of, shifted, stations
from vision.uncertainty import carried, jacobian

CAMERA_STEPS = np.array([1e-6] * 3 + [1e-3] * 3 + [1e-6, 1e-2, 1e-2, 1e-5, 1e-5])


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
    lines = lines_of(camera, sides, depth)
    local, u_station = local_edges(lines, sides)

    def nine(c: Camera, d: Mapping[Side, float], move: Mapping[Side, Array] | None = None) -> Array:
        changed = lines_of(c, sides, d)
        if move is not None:
            changed = {s: shifted(line, *move.get(s, np.zeros(2))) for s, line in changed.items()}
        return nine_of(changed, local)

    by_camera = jacobian(lambda x: nine(camera.moved(x), depth), np.zeros(UNKNOWNS), CAMERA_STEPS)
    parts = {p: np.zeros((9, 9)) for p in PARTS}
    for part, cov in camera_parts.items():
        if part in parts:
            parts[part] = carried(by_camera, cov[:UNKNOWNS, :UNKNOWNS])
    by_depth = jacobian(lambda x: nine(camera, _deeper(depth, x)), np.zeros(4), 0.1)
    by_line = jacobian(
        lambda x: nine(camera, depth, dict(zip(SIDES, x.reshape(4, 2), strict=True))),
        np.zeros(8),
        [1e-2, 1e-6] * 4,
    )
    for i, side in enumerate(SIDES):
        deep, line = by_depth[:, [i]], by_line[:, 2 * i : 2 * i + 2]
        parts["edge_depth"] += carried(deep, [[u_depth_mm[side] ** 2]])
        parts["edge_trace"] += carried(line, sides[side].cov_offset_slope)
        parts["edge_choice"] += carried(line[:, :1], [[sides[side].u_choice_mm ** 2]])
    by_all = by_depth.sum(axis=1, keepdims=True)
    parts["edge_depth"] += carried(by_all, [[u_depth_common_mm**2]])
    if clicks is not None:
        by_click = jacobian(
            lambda x: nine_of(lines_of(camera, moved_corner(sides, clicks[0] + x.reshape(4, 2)), depth), local),
            np.zeros(8),
            1e-2,
        )
        parts["edge_trace"] += carried(by_click, clicks[1] ** 2 * np.eye(8))
    parts["station"] = np.diag(u_station**2)
    values = nine(camera, depth)
    return assembled(camera, lines, sides, local, values, parts, u_station)


def assembled(
    camera: Camera,
    lines: Mapping[Side, Line],
    sides: Mapping[Side, SideLine],
    local: Mapping[str, tuple[float, float]],
    values: Array,
    parts: Mapping[str, Array],
    u_station: Array,
) -> Measured:
    """Return the measures from values (9,) and their covariance (9, 9) mm2 by budget part.

    `lines`, `sides` and `local` are what the values were taken from, `camera` shows them in the photo.
    """
    total = np.asarray(sum(parts.values()))
    total = _exact_difference((total + total.T) / 2)
    none = np.zeros((9, 9))
    budget = np.sqrt(np.stack([np.maximum(np.diag(parts.get(p, none)), 0) for p in PARTS], axis=1))
    return Measured(
        values,
        total,
        budget,
        u_station,
        further_measures(lines, sides, values, total),
        _to_photo(camera, corners(lines), sides, ("head", "head", "sill", "sill")),
        _stations_px(camera, lines, sides, local),
    )


def _exact_difference(cov: Array) -> Array:
    """Return the covariance with its last row and column that of diagonal_down - diagonal_up, exactly (rank 8)."""
    t = np.vstack([np.eye(8), np.array([0, 0, 0, 0, 0, 0, 1.0, -1.0])])
    return carried(t, cov[:8, :8])


def _deeper(depth: Mapping[Side, float], by: Array) -> dict[Side, float]:
    return {s: depth[s] + float(by[i]) for i, s in enumerate(SIDES)}


def _to_photo(camera: Camera, points: Array, sides: Mapping[Side, SideLine], of: tuple[Side, ...]) -> Array:
    z = np.array([sides[s].depth_mm for s in of])
    return project(camera, np.column_stack([points, z]))


def _stations_px(
    camera: Camera,
    lines: Mapping[Side, Line],
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


def candidate_effects(
    camera: Camera,
    sides: Mapping[Side, SideLine],
    listed: Mapping[Side, tuple[tuple[float, float, str], ...]],
) -> tuple[Candidate, ...]:
    """Return candidates with their effect on the nine; `listed` gives (weight, shift outward mm, name) by side."""
    lines = lines_of(camera, sides, {s: sides[s].depth_mm for s in SIDES})
    local, _ = local_edges(lines, sides)
    return effects_on(lines, local, listed)


def effects_on(
    lines: Mapping[Side, Line],
    local: Mapping[str, tuple[float, float]],
    listed: Mapping[Side, tuple[tuple[float, float, str], ...]],
) -> tuple[Candidate, ...]:
    """Return candidates with their effect on the nine between `lines` with their local departures."""
    at = nine_of(lines, local)
    found = []
    for side in SIDES:
        for weight, shift, name in listed.get(side, ()):
            moved = dict(lines) | {side: shifted(lines[side], shift, 0.0)}
            found.append(Candidate(side, weight, shift, nine_of(moved, local) - at, name))
    return tuple(found)
