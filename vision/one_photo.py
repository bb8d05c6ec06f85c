"""One photo of one opening, from the file to its measures."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np

from vision import markers
from vision.camera import Camera, back_project, project
from vision.errors import PhotoError, RequestError
from vision.exif import focal_prior
from vision.found import doubt, widened
from vision.measures import ENDS, Measured, SideLine, candidate_effects, clicked_sides, measure
from vision.opening import find_openings
from vision.photo import Photo, read_photo
from vision.priors import CameraPrior, camera_prior
from vision.request import (
    NINE,
    SIDES,
    Array,
    Candidate,
    CheckBar,
    Face,
    OpeningRequest,
    PhotoReport,
    PhotoRequest,
    Quantity,
    Side,
    Wall,
    Warning_,
)
from vision.sides import FailedSide, SideTrace, trace_sides
from vision.solve import Solved, solve_rectangles, solve_sheets

# contract: what is not given is not zero
DEFAULT_OFFSET: Mapping[Wall, Quantity] = {
    "masonry": Quantity(0.0, 2.0),
    "render": Quantity(0.0, 2.0),
    "siding": Quantity(15.0, 10.0),
    "panel": Quantity(15.0, 10.0),
}
# guess: how far out the light lets a rounded arris appear
U_CHOICE_MM: Mapping[Wall, float] = {"masonry": 0.3, "render": 0.4, "siding": 0.15, "panel": 0.15}
AMBIGUOUS_BELOW = 0.9  # weight of the best candidate
WEAK_MM = 6.35  # the contract's default tolerance


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
    PhotoError : the file cannot be read as a photo.
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
    warned += [*solved.warnings, *_reference_warnings(request, solved)]
    base = replace(
        base, references_px=tuple(zip(solved.names, solved.outlines_px, strict=True)), warnings=tuple(warned)
    )
    offsets, u_common, u_each, assumed = _depths(request)
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
        sides, listed, traced, more = _side_lines(camera, traces, corners, depth, request.wall)
        warned += more
        if found_by == "photo":  # nobody chose between rival lines: u covers them
            sides = {s: widened(sides[s], traces[s]) for s in SIDES}
        result = measure(camera, solved.adjusted.parts, sides, u_common, u_each)
    candidates = candidate_effects(camera, sides, listed)
    if 2 * np.sqrt(np.diag(result.cov_mm2))[:6].max() > WEAK_MM:
        warned.append(_weak(result, len(solved.names)))
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
    return PhotoMeasured(result, candidates, _faces(result, candidates, depth), report, found_by)  # type: ignore[arg-type]


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
    says = f"the photo was turned by {90 * quarter} degrees because its sheets lay on their side or head; check that it is upright"
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


def _reference_warnings(request: OpeningRequest, solved: Solved) -> list[Warning_]:
    warned = []
    if len(solved.names) == 1:
        warned.append(
            Warning_(
                "one-reference",
                "only one reference is in view: a second one on the other side of the opening makes the measure several times better",
            )
        )
    if len(set(solved.names)) < len(solved.names):
        warned.append(
            Warning_("letter-twice", "the same sheet letter is in view twice; both are used, each at its own place")
        )
    if request.reference.kind == "sheet" and request.check_bar == CheckBar():
        warned.append(
            Warning_(
                "scale-unverified",
                "the printed bars were not measured: the print scale is assumed within 0.2 %; measure both bars on the sheets and enter them",
            )
        )
    return warned


def _depths(request: OpeningRequest) -> tuple[dict[Side, float], float, dict[Side, float], list[Warning_]]:
    """Return edge offsets by side, the common and the single standard uncertainty, and what was assumed."""
    given = request.edge_offset
    if given is None:
        q = DEFAULT_OFFSET[request.wall]
        warned = []
        if request.wall in {"siding", "panel"}:
            says = "how far the trim stands out was not given: 15 mm +- 10 mm is assumed; measure it and enter it as edge offset"
            warned.append(Warning_("edge-depth-assumed", says))
        return dict.fromkeys(SIDES, q.value_mm), q.u_mm, dict.fromkeys(SIDES, 0.0), warned
    default = DEFAULT_OFFSET[request.wall]
    quantity = {s: given.get(s, default) for s in SIDES}
    if len({(q.value_mm, q.u_mm) for q in quantity.values()}) == 1:
        return (
            {s: q.value_mm for s, q in quantity.items()},
            quantity["head"].u_mm,
            dict.fromkeys(SIDES, 0.0),
            [],
        )
    return {s: q.value_mm for s, q in quantity.items()}, 0.0, {s: q.u_mm for s, q in quantity.items()}, []


def _side_lines(
    camera: Camera,
    traces: Mapping[Side, SideTrace | FailedSide],
    corners: Array,
    depth: Mapping[Side, float],
    wall: Wall,
) -> tuple[dict[Side, SideLine], dict[Side, tuple[tuple[float, float, str], ...]], dict[str, Array], list[Warning_]]:
    """Return the traced sides for measuring, their candidates, the curves to draw, and warnings."""
    lines: dict[Side, SideLine] = {}
    listed: dict[Side, tuple[tuple[float, float, str], ...]] = {}
    drawn: dict[str, Array] = {}
    warned: list[Warning_] = []
    for side in SIDES:
        t = traces[side]
        if isinstance(t, FailedSide):
            raise RequestError(
                "edge-hidden",
                f"the {side} was not found near the corners given: {t.reason}; point at its corners more closely, or take a photo that shows it",
            )
        outward = (
            np.array([-t.direction[1], t.direction[0]])
            if side in {"head", "sill"}
            else np.array([t.direction[1], -t.direction[0]])
        )
        outward = outward * (-1.0 if side in {"head", "left"} else 1.0)
        half = max(float(np.abs(t.s_mm).max()) if len(t.s_mm) else 0.0, 100.0)
        ends = t.origin_mm + np.array([[-half], [half]]) * t.direction
        ends_px = project(camera, np.column_stack([ends, np.full(2, t.depth_mm)]))
        lines[side] = SideLine(
            side,
            ends_px,
            t.depth_mm,
            t.s_mm + half,
            t.local_mm,
            t.cov_offset_slope,
            t.u_local_mm,
            t.scatter_mm,
            U_CHOICE_MM[wall],
            wall == "masonry",
        )
        curve = t.origin_mm + t.s_mm[:, None] * t.direction + t.local_mm[:, None] * outward
        drawn[side] = (
            project(camera, np.column_stack([curve, np.full(len(curve), t.depth_mm)])) if len(curve) else ends_px
        )
        listed[side] = tuple((c.weight, c.shift_mm, c.name) for c in t.candidates)
        if t.hidden:
            warned.append(
                Warning_(
                    "edge-hidden",
                    f"the {side} is seen over {100 * t.coverage:.0f} % of its length only; clear what hides it or point at its line",
                )
            )
        if t.candidates and t.candidates[0].weight < AMBIGUOUS_BELOW:
            warned.append(
                Warning_(
                    "edge-ambiguous",
                    f"more than one line could be the {side}; look at the picture and point at the right one",
                )
            )
    return lines, listed, drawn, warned


def _faces(result: Measured, candidates: tuple[Candidate, ...], depth: Mapping[Side, float]) -> tuple[Face, ...]:
    """Return the opening as it would measure to each other line seen beside a side (frame, trim, foot of a sill)."""
    u = float(np.median(np.sqrt(np.diag(result.cov_mm2)[:8])))
    faces = []
    for c in candidates:
        if c.shift_mm != 0:
            nine = result.values_mm + c.shift_nine_mm
            moved = {n: float(v) for n, v, d in zip(NINE, nine, c.shift_nine_mm, strict=True) if abs(d) > 0.05}
            faces.append(Face(f"{c.side}, line {abs(c.shift_mm):.0f} mm {c.name}", moved, u, -depth[c.side]))
    return tuple(faces)


def _weak(result: Measured, references: int) -> Warning_:
    worst = 2 * float(np.sqrt(np.diag(result.cov_mm2))[:6].max())
    remedy = (
        "put a second sheet on the other side of the opening"
        if references < 2
        else "stand squarer to the wall, nearer, and keep all sheets in view"
    )
    return Warning_("weak-geometry", f"sizes are known to {worst:.0f} mm at best from this photo; {remedy}")


def _shown(
    camera: Camera, result: Measured, depth: Mapping[Side, float], solved: Solved
) -> tuple[Callable[[Array], Array], tuple[float, float, float, float]]:
    """Return the map from millimetres at the opening (top left corner, x along the head) to the photo, and its extent."""
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
