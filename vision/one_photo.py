"""One photo of one opening, from the file to its measures."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np

from vision import markers
from vision.advice import geometry_warnings, reference_warnings
from vision.camera import Camera, back_project, project
from vision.depths import edge_depths
from vision.errors import RequestError
from vision.exif import focal_prior
from vision.found import doubt, widened
from vision.measures import Measured, candidate_effects, measure
from vision.opening import find_openings
from vision.photo import Photo, read_photo
from vision.priors import CameraPrior, camera_prior
from vision.request import (
    SIDES,
    Array,
    Candidate,
    Face,
    OpeningRequest,
    PhotoReport,
    PhotoRequest,
    Side,
    Warning_,
)
from vision.sides import trace_sides
from vision.solve import solve_sheets
from vision.solve_pages import solve_rectangles
from vision.solved import Solved
from vision.stations import ENDS, clicked_sides
from vision.traced import faces_of, side_lines


@dataclass(frozen=True, slots=True, eq=False)
class PhotoMeasured:
    """Measures of one photo with candidates, faces and report."""

    measured: Measured
    candidates: tuple[Candidate, ...]
    faces: tuple[Face, ...]
    report: PhotoReport
    found_by: Literal["photo", "corners", "clicked"]


def measure_photo(request: OpeningRequest, photo: PhotoRequest) -> PhotoMeasured | PhotoReport:
    """Return the measures of one photo, or its report with the error that stood in the way.

    Raises
    ------
    PhotoError : the file cannot be read as a photo (`vision.errors`).
    RequestError : corners outside the photo.
    """
    picture = read_photo(photo.path, photo.turn)
    scaled = _at_read_size(photo, picture)
    picture, sightings, warned = _upright(picture, scaled, request)
    base = PhotoReport(photo.path, picture.sha256, picture.size_px, warnings=tuple(warned))
    for corners in (scaled.corners_px, *scaled.reference_corners_px):
        if corners is not None:
            _inside(corners, picture.size_px)
    prior = _prior(picture, scaled)
    solved = _solve(request, scaled, picture, sightings, prior)
    if isinstance(solved, Warning_):
        return replace(base, error=solved)
    warned += [*solved.warnings, *reference_warnings(request, solved)]
    base = replace(
        base, references_px=tuple(zip(solved.names, solved.outlines_px, strict=True)), warnings=tuple(warned)
    )
    offsets, u_common, u_each, assumed = edge_depths(request)
    warned += assumed
    camera = solved.adjusted.state.camera
    corners, found_by, click = scaled.corners_px, "corners", scaled.click_px
    if corners is None:
        found = find_openings(picture.rgb, camera, solved.outlines_px, request.wall)
        if isinstance(found, Warning_):
            return replace(base, error=found)
        corners, found_by = found, "photo"
    depth = {s: -offsets[s] for s in SIDES}
    listed: dict[Side, tuple[tuple[float, float, str], ...]] = {}
    traced: dict[str, Array] = {}
    if not scaled.trace:
        sides = clicked_sides(corners, depth)
        result = measure(camera, solved.adjusted.parts, sides, u_common, u_each, (corners, click))
        found_by = "clicked"
    else:
        traces = trace_sides(picture.rgb, camera, corners, click, depth, request.wall, request.sill_at)
        unsure = doubt(camera, corners, traces) if found_by == "photo" else None
        if unsure is not None:
            return replace(base, corners_px=corners, error=unsure)
        sides, listed, traced, more = side_lines(camera, traces, request.wall)
        warned += more
        if found_by == "photo":  # nobody chose between rival lines: u covers them
            sides = {s: widened(sides[s], traces[s], camera, corners) for s in SIDES}
        result = measure(camera, solved.adjusted.parts, sides, u_common, u_each)
    candidates = candidate_effects(camera, sides, listed)
    warned += geometry_warnings(result.cov_mm2, len(solved.names))
    to_photo, extent = _shown(camera, result, depth, solved)
    report = replace(
        base,
        corners_px=result.corners_px,
        sides_px=traced or {s: corners[list(ENDS[s])] for s in SIDES},
        stations_px=result.stations_px,
        warnings=tuple(warned),
        wall_to_photo=to_photo,
        extent_mm=extent,
    )
    return PhotoMeasured(result, candidates, faces_of(result, candidates, depth), report, found_by)  # type: ignore[arg-type]


def _at_read_size(photo: PhotoRequest, picture: Photo) -> PhotoRequest:
    """Return the request with its pixels at the size that was read (photos above 60 MP come at half size)."""
    if picture.reduced == 1:
        return photo
    r = picture.reduced

    def small(p: Array) -> Array:
        return np.asarray((p + 0.5) / r - 0.5)

    corners = None if photo.corners_px is None else small(photo.corners_px)
    return replace(
        photo,
        corners_px=corners,
        reference_corners_px=tuple(small(c) for c in photo.reference_corners_px),
        click_px=photo.click_px / r,
    )


def _upright(
    picture: Photo, photo: PhotoRequest, request: OpeningRequest
) -> tuple[Photo, tuple[markers.Sighting, ...], list[Warning_]]:
    """Return the photo turned by itself when all its sheets lie at one quarter turn and no corner says otherwise."""
    kind = (photo.reference or request.reference).kind
    if kind != "sheet":
        return picture, (), []
    grey = cv2.cvtColor(picture.rgb, cv2.COLOR_RGB2GRAY)
    found = markers.find_sheets(grey)
    quarters = {_quarter(s) for s in found}
    if photo.corners_px is not None or len(quarters) != 1 or quarters == {0}:
        return picture, found, []
    quarter = quarters.pop()
    turned = np.ascontiguousarray(np.rot90(picture.rgb, quarter))
    turned.setflags(write=False)
    h, w = turned.shape[:2]
    picture = replace(picture, rgb=turned, size_px=(w, h))
    says = (
        f"the photo was turned by {90 * quarter} degrees because its sheets lay on their side or head; "
        "check that it is upright"
    )
    return picture, markers.find_sheets(cv2.cvtColor(turned, cv2.COLOR_RGB2GRAY)), [Warning_("turned", says)]


def _quarter(s: markers.Sighting) -> int:
    """Return how many quarter turns counter-clockwise bring the sheet upright."""
    a, b = markers.apply_homography(s.homography, np.array([[90.0, 120.0], [120.0, 120.0]]))
    return round(float(np.degrees(np.arctan2(b[1] - a[1], b[0] - a[0]))) / 90) % 4


def _inside(corners: Array, size: tuple[int, int]) -> None:
    finite = np.isfinite(corners).all()
    if not finite or (corners < -0.5).any() or (corners > np.array(size) - 0.5).any():
        worst = corners[int(np.argmax(np.abs(corners - np.array(size) / 2).max(1)))]
        raise RequestError(
            "corners-outside",
            f"corner {worst[0]:.0f},{worst[1]:.0f} lies outside the photo of {size[0]} x {size[1]} px; "
            "give corners in pixels of the upright photo",
        )


def _prior(picture: Photo, photo: PhotoRequest) -> CameraPrior:
    focal = focal_prior(picture.exif, picture.size_px, photo.focal35_mm)
    return camera_prior(focal.focal_px, focal.u_log, picture.size_px, known=focal.source != "none")


def _solve(
    request: OpeningRequest,
    photo: PhotoRequest,
    picture: Photo,
    sightings: tuple[markers.Sighting, ...],
    prior: CameraPrior,
) -> Solved | Warning_:
    reference = photo.reference or request.reference
    if reference.kind == "sheet":
        if not sightings:
            return Warning_(
                "no-reference",
                f"no printed sheet was found in {photo.path.name}; tape one sheet left and one right of the opening, "
                "flat on the wall, and take the photo again from where whole opening and sheets are in view",
            )
        grey = cv2.cvtColor(picture.rgb, cv2.COLOR_RGB2GRAY)
        return solve_sheets(grey, sightings, prior, request.check_bar, request.wall)
    if not photo.reference_corners_px:
        return Warning_(
            "no-reference",
            f"point out the corners of the {reference.kind} in {photo.path.name} (reference corners); "
            "pages and cards are not found without them yet",
        )
    return solve_rectangles(photo.reference_corners_px, reference, prior, request.wall, photo.click_px)


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
