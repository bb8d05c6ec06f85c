"""Sides and camera -> the nine and further measures, their covariance and its budget.

The partial derivatives are central differences (JCGM 100, 5.1.3, note 2).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.camera import UNKNOWNS, Camera, project
from vision.further import further_measures
from vision.request import PARTS, SIDES, Array, Candidate, Measure, Side
from vision.stations import Line, SideLine, corners, lines_of, local_edges, moved_corner, nine_of, shifted, stations
from vision.uncertainty import carried, jacobian

CAMERA_STEPS = np.array([1e-6] * 3 + [1e-3] * 3 + [1e-6, 1e-2, 1e-2, 1e-5, 1e-5])


@dataclass(frozen=True, slots=True, eq=False)
class Sensitivity:
    """Partial derivatives of the nine: by camera (9, 11), depth of each side (9, 4), its offset and slope (9, 8).

    And by the px of the corners (9, 8), where those were clicked.
    """

    camera: Array
    depth: Array
    line: Array
    click: Array | None


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """The nine with covariance and budget, further measures, candidates' effects, corners and stations in px.

    `sensitivity` is there where one photo was measured by itself.
    """

    values_mm: Array
    cov_mm2: Array
    budget_mm: Array
    station_u_mm: Array
    further: Mapping[str, Measure]
    corners_px: Array
    stations_px: Mapping[str, Array]
    sensitivity: Sensitivity | None = None


def measure(
    camera: Camera,
    camera_parts: Mapping[str, Array],
    sides: Mapping[Side, SideLine],
    depth_cov_mm2: Array,
    clicks: tuple[Array, float] | None = None,
    apart_mm: Sequence[Array] = (),
) -> Measured:
    """Return the measures of an opening.

    Parameters
    ----------
    camera : adjusted camera.
    camera_parts : covariance (11, 11) or larger of its unknowns, by budget part; they sum to the whole.
    sides : the four sides.
    depth_cov_mm2 : covariance (4, 4) mm2 of the sides' depths, in the order of `SIDES`.
    clicks : clicked corners (4, 2) px that the sides run through and their standard uncertainty in px, if not traced.
    apart_mm : distances (9,) to other answers that may as well be right: standard deviations of the choice (a guess).

    Notes
    -----
    Covariance J C J' by parts (JCGM 100, 5.2); the parts are independent, so they add.
    """
    depth = {s: sides[s].depth_mm for s in SIDES}
    lines = lines_of(camera, sides, depth)
    local, u_station = local_edges(lines, sides)
    by = _sensitivity(camera, sides, local, None if clicks is None else clicks[0])
    parts = covariances(by, camera_parts, sides, depth_cov_mm2, 0.0 if clicks is None else clicks[1])
    parts["station"] = np.diag(u_station**2)
    for distance in apart_mm:
        parts["edge_choice"] = parts["edge_choice"] + np.outer(distance, distance)
    return replace(
        assembled(camera, lines, sides, local, nine_of(lines, local), parts, u_station),
        sensitivity=by,
    )


def _sensitivity(
    camera: Camera,
    sides: Mapping[Side, SideLine],
    local: Mapping[str, tuple[float, float]],
    clicked_px: Array | None,
) -> Sensitivity:
    depth = {s: sides[s].depth_mm for s in SIDES}
    here = lines_of(camera, sides, depth)

    def moved(x: Array) -> Array:
        return nine_of({s: shifted(here[s], *m) for s, m in zip(SIDES, x.reshape(4, 2), strict=True)}, local)

    def clicked(x: Array) -> Array:
        return nine_of(lines_of(camera, moved_corner(sides, x.reshape(4, 2)), depth), local)

    return Sensitivity(
        jacobian(lambda x: nine_of(lines_of(camera.moved(x), sides, depth), local), np.zeros(UNKNOWNS), CAMERA_STEPS),
        jacobian(lambda x: nine_of(lines_of(camera, sides, _deeper(depth, x)), local), np.zeros(4), 0.1),
        jacobian(moved, np.zeros(8), [1e-2, 1e-6] * 4),
        None if clicked_px is None else jacobian(clicked, clicked_px.ravel(), 1e-2),
    )


def covariances(
    by: Sensitivity,
    camera_parts: Mapping[str, Array],
    sides: Mapping[Side, SideLine],
    depth_cov_mm2: Array,
    click_px: float = 0.0,
) -> dict[str, Array]:
    """Return the covariance (9, 9) mm2 of the nine by budget part, all but that of the stations; as of `measure`."""
    parts = {p: np.zeros((9, 9)) for p in PARTS}
    for part, cov in camera_parts.items():
        if part in parts:
            parts[part] = carried(by.camera, cov[:UNKNOWNS, :UNKNOWNS])
    for i, side in enumerate(SIDES):
        line = by.line[:, 2 * i : 2 * i + 2]
        parts["edge_trace"] += carried(line, sides[side].cov_offset_slope)
    parts["edge_choice"] += carried(by.line[:, 0::2], choice_cov_mm2(sides))
    parts["edge_depth"] += carried(by.depth, depth_cov_mm2)
    if by.click is not None:
        parts["edge_trace"] += carried(by.click, click_px**2 * np.eye(8))
    return parts


def choice_cov_mm2(sides: Mapping[Side, SideLine]) -> Array:
    """Return the covariance (4, 4) mm2 of which line is seen, outward, in the order of `SIDES`.

    What two sides have in common counts as far as both say so: each may have been traced with others.
    """
    said = np.array([[sides[s].choice_with_mm2.get(other, 0.0) for other in SIDES] for s in SIDES])
    both = np.where(np.abs(said) < np.abs(said.T), said, said.T)
    own = np.diag([sides[s].u_choice_mm ** 2 for s in SIDES])
    return np.asarray(np.where(said * said.T > 0, both, 0.0) + own)


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

    Raises
    ------
    FloatingPointError : a value or its uncertainty is no number: a fault of this program, not to be shown as a measure.
    """
    total = total_of(parts)
    if not (np.isfinite(values).all() and np.isfinite(total).all()):
        raise FloatingPointError("a measure or its uncertainty is not a number")
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


def total_of(parts: Mapping[str, Array]) -> Array:
    """Return the sum (9, 9) of parts, its last row and column that of diagonal_down - diagonal_up, exactly (rank 8)."""
    total = np.asarray(sum(parts.values()))
    cov = (total + total.T) / 2
    t = np.vstack([np.eye(8), np.array([0, 0, 0, 0, 0, 0, 1.0, -1.0])])
    nine = carried(t, cov[:8, :8])
    np.fill_diagonal(nine, np.maximum(np.diag(nine), 0.0))  # two diagonals that err as one differ by rounding
    return nine


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
