"""One traced photo to its measures: what is said of them, what else is seen, and what is drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.advice import corners_in_view, geometry_warnings, shape_warnings
from vision.brick_gauge import with_gauge_hint
from vision.camera import Camera, back_project, project
from vision.depths import edge_depths
from vision.faces.measures import faces_of_outlines
from vision.faces.outlines import nested_outlines
from vision.measures import Measured, candidate_effects, measure
from vision.one_photo import FoundBy, PhotoTraced
from vision.quality.doubts import slant_doubts
from vision.quality.effects import with_effects
from vision.request import (
    SIDES,
    Array,
    Candidate,
    Face,
    OpeningRequest,
    PhotoReport,
    Side,
)
from vision.sides.traced import faces_of, rivals_px
from vision.solving.solved import Solved
from vision.stations import ENDS


@dataclass(frozen=True, slots=True, eq=False)
class PhotoMeasured:
    """Measures of one photo with candidates, faces and report, and what they rest on."""

    measured: Measured
    candidates: tuple[Candidate, ...]
    faces: tuple[Face, ...]
    report: PhotoReport
    found_by: FoundBy
    traced: PhotoTraced


def measure_traced(request: OpeningRequest, traced: PhotoTraced, apart_mm: Sequence[Array] = ()) -> PhotoMeasured:
    """Return the measures that one photo gives by itself; `apart_mm` as of `vision.measures.measure`."""
    solved, depths = traced.solved, edge_depths(request)
    camera = solved.adjusted.state.camera
    result = measure(camera, solved.adjusted.parts, traced.sides, depths.cov_mm2, traced.clicks, apart_mm)
    candidates = candidate_effects(camera, traced.sides, traced.listed)
    faces = faces_of(result, candidates, depths.z_mm)
    if traced.beside:
        faces += faces_of_outlines(nested_outlines((traced.beside,), request.wall), camera, traced.sides, result)
    to_photo, extent = _shown(camera, result, depths.z_mm, solved)
    report = replace(
        traced.report,
        corners_px=result.corners_px,
        sides_px=traced.drawn or {s: traced.corners_px[list(ENDS[s])] for s in SIDES},
        stations_px=result.stations_px,
        rivals_px=rivals_px(camera, traced.sides, traced.listed),
        faces_px=tuple((f.name, f.lines_px) for f in faces if f.lines_px),
        warnings=(
            *with_effects(
                with_gauge_hint(
                    (*traced.report.warnings, *slant_doubts(camera, result.corners_px)),
                    result.further.get("course"),
                    traced.reference.kind,
                ),
                result.cov_mm2,
                result.budget_mm,
            ),
            *geometry_warnings(
                result.cov_mm2,
                result.budget_mm,
                len(solved.names),
                traced.reference.thing,
                clicked=traced.clicks is not None,
            ),
            *shape_warnings(result.values_mm, result.further),
            *corners_in_view(traced.corners_px, result.corners_px, traced.report.size_px),
        ),
        wall_to_photo=to_photo,
        extent_mm=extent,
    )
    return PhotoMeasured(result, candidates, faces, report, traced.found_by, traced)


def _shown(
    camera: Camera, result: Measured, depth: Mapping[Side, float], solved: Solved
) -> tuple[Callable[[Array], Array], tuple[float, float, float, float]]:
    """Return the map from mm at the opening (from its top left corner, x along the head) to px, and its extent."""
    z = float(np.mean(list(depth.values())))
    corners = back_project(camera, result.corners_px, z)
    along = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
    axes = np.stack([along, np.array([-along[1], along[0]])])
    shown = np.concatenate([corners, *(back_project(camera, o, z) for o in solved.outlines_px)])
    local = (shown[np.isfinite(shown).all(1)] - corners[0]) @ axes.T
    size = float(np.ptp(local, axis=0).max())
    low, high = local.min(0) - 0.08 * size, local.max(0) + 0.08 * size

    def to_photo(points: Array) -> Array:
        wall = corners[0] + points @ axes
        return project(camera, np.column_stack([wall, np.full(len(wall), z)]))

    return to_photo, (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
