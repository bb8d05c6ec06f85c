"""One photo of one opening, from the file to its measures: prepared, solved, traced, measured."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import cv2
import numpy as np

from vision.advice import geometry_warnings, reference_warnings
from vision.brick_gauge import with_gauge_hint
from vision.camera import Camera, back_project, project
from vision.depths import edge_depths
from vision.faces.measures import faces_of_outlines
from vision.faces.outlines import nested_outlines
from vision.faces.reveal import Beside, look_beside
from vision.finder.found import doubt, look_wider, widened
from vision.finder.opening import find_openings
from vision.kept.last_trace import LastTrace
from vision.lens.usual import with_usual_lens
from vision.measures import Measured, candidate_effects, measure
from vision.pages.kind import wrong_kind
from vision.pages.of_photo import solve_page_photo
from vision.pages.rival_sides import settled
from vision.pages.wrong_side import without_wrong_side
from vision.photo.edge_blur import (
    WORTH_A_TRY,
    PrintedBlur,
    first_outline,
    looks_like_itself,
    page_blur,
    pattern_agreement,
    printed_blur,
    too_smeared,
    weakened,
)
from vision.photo.panorama import rolled
from vision.photo.prepared import Prepared, prepare
from vision.photo.quality import BLUR_PX, cut_found, cut_prior, shows_cut, slant_doubts, solved_doubts, with_effects
from vision.priors import PAPER, reference_size_mm
from vision.request import (
    SIDES,
    Array,
    Candidate,
    Face,
    OpeningRequest,
    PhotoReport,
    PhotoRequest,
    Reference,
    Side,
    Warning_,
)
from vision.sheets.print_scale import scaled_by_outline
from vision.sheets.sheet import HEIGHT_MM, WIDTH_MM
from vision.sides.part_view import hides_a_corner, trace_part
from vision.sides.traced import faces_of, rivals_px, side_lines
from vision.solving.solve import solve_sheets
from vision.solving.solved import Solved, not_bent_by_blur
from vision.stations import ENDS, SideLine, clicked_sides, lines_of
from vision.wall.segments import Segments

FoundBy = Literal["photo", "corners", "clicked"]
Listed = Mapping[Side, tuple[tuple[float, float, str], ...]]


@dataclass(frozen=True, slots=True, eq=False)
class PhotoSolved:
    """One photo solved by its references, what makes it worse, its straight edges (None: not searched), and its blur.

    The blur px is that of the references' edges that run up and down and of those that run across, where it is known.
    Corners of the opening change none of it, but for pages and cards: those are looked for outside the opening.
    """

    solved: Solved
    doubts: tuple[Warning_, ...]
    segments: Segments | None
    blur_px: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PhotoTraced:
    """One photo solved and its sides traced: what a measure rests on, and what several photos are joined by.

    `listed` are the candidates of each side (weight, shift outward mm, name); `clicks` the corners (4, 2) px and
    their standard uncertainty where nothing was traced; `camera_key` is one for photos by one camera, None: unknown;
    `beside` is what is seen beside its sides; `reference` is what its references were said to be.
    """

    solved: Solved
    sides: Mapping[Side, SideLine]
    listed: Listed
    drawn: Mapping[str, Array]
    corners_px: Array
    clicks: tuple[Array, float] | None
    found_by: FoundBy
    report: PhotoReport
    camera_key: tuple[object, ...] | None = None
    beside: Mapping[Side, Beside] = field(default_factory=dict)
    reference: Reference = field(default_factory=Reference)


@dataclass(frozen=True, slots=True, eq=False)
class PhotoMeasured:
    """Measures of one photo with candidates, faces and report, and what they rest on."""

    measured: Measured
    candidates: tuple[Candidate, ...]
    faces: tuple[Face, ...]
    report: PhotoReport
    found_by: FoundBy
    traced: PhotoTraced


def measure_photo(request: OpeningRequest, photo: PhotoRequest) -> PhotoMeasured | PhotoReport:
    """Return the measures of one photo, or its report with the error that stood in the way.

    Raises
    ------
    PhotoError : the file cannot be read as a photo (`vision.errors`).
    RequestError : corners outside the photo.
    """
    traced = trace_photo(request, prepare(request, photo))
    return traced if isinstance(traced, PhotoReport) else measure_traced(request, traced)


def trace_photo(request: OpeningRequest, ready: Prepared) -> PhotoTraced | PhotoReport:
    """Return the photo solved and its sides traced, or its report with the error that stood in the way."""
    solved = solve_photo(request, ready)
    return solved if isinstance(solved, PhotoReport) else trace_solved(request, ready, solved)


def solve_photo(request: OpeningRequest, ready: Prepared, last: LastTrace | None = None) -> PhotoSolved | PhotoReport:
    """Return the photo solved by its references, or its report with the error that stood in the way.

    `last` is what was worked out for the same photo with other corners.
    """
    last = last or LastTrace()
    solved = ready.report.error or _solve(request, ready, last)
    while not isinstance(solved, Warning_) and ready.reference.kind == "sheet":
        bad = too_smeared(cv2.cvtColor(ready.picture.rgb, cv2.COLOR_RGB2GRAY), solved, ready.sightings)
        if not bad:
            break
        ready = replace(ready, sightings=tuple(s for s in ready.sightings if all(s is not b for b in bad)))
        solved = _solve(request, ready, last) if ready.sightings else _smeared(ready.asked.path.name)
    if not isinstance(solved, Warning_) and ready.reference.kind == "sheet":
        solved = rolled(solved, ready.prior.focal_px, ready.picture.size_px) or solved
    if isinstance(solved, Warning_):
        return replace(ready.report, error=solved)
    solved, doubts, blur = _doubted(request, ready, solved, last)
    if any(w.code == "blurred" for w in doubts):
        solved = not_bent_by_blur(solved)
    if {"blurred", "references-disagree"} <= {w.code for w in (*doubts, *solved.warnings)}:
        return replace(ready.report, warnings=(*ready.report.warnings, *doubts), error=_smeared(ready.asked.path.name))
    searched = solved.blocks and ready.asked.trace
    segments = last.segments(ready.picture.rgb) if searched else None
    return PhotoSolved(solved, tuple(doubts), segments, None if blur is None else blur.spread_px)


def trace_solved(
    request: OpeningRequest, ready: Prepared, by: PhotoSolved, last: LastTrace | None = None
) -> PhotoTraced | PhotoReport:
    """Return a solved photo with its sides traced; the corners are those of `ready.asked`, `last` as above."""
    solved, last = by.solved, last or LastTrace()
    said = reference_warnings(ready.reference, request.check_bar, solved)
    warned = [*ready.report.warnings, *by.doubts, *solved.warnings, *said]
    found = tuple(zip(solved.names, solved.outlines_px, strict=True))
    base = replace(ready.report, references_px=found, warnings=tuple(warned))
    depths = edge_depths(request)
    asked = ready.asked
    corners = asked.corners_px
    found_by: FoundBy = "corners" if corners is not None else "photo"
    if corners is None:
        grey = cv2.cvtColor(ready.picture.rgb, cv2.COLOR_RGB2GRAY)
        near = last.lined(grey, solved, None, request.wall, by.segments).adjusted.state.camera
        z = depths.z_mm
        out = max(0.5 * (z["left"] + z["right"]) - z["sill"], 0.0) if request.sill_at == "front" else 0.0
        searched = find_openings(ready.picture.rgb, near, solved.outlines_px, request.wall, out)
        if isinstance(searched, Warning_):
            return replace(base, error=searched)
        corners = searched
    solved = _with_lines(request, ready, by, last, corners)
    base = replace(base, references_px=tuple(zip(solved.names, solved.outlines_px, strict=True)))
    warned = [*ready.report.warnings, *by.doubts, *solved.warnings, *said, *depths.warnings]
    camera = solved.adjusted.state.camera
    if not asked.trace:
        sides = clicked_sides(corners, depths.z_mm)  # those with both corners in view
        report = replace(base, corners_px=corners, warnings=tuple(warned))
        clicks = (corners, asked.click_px)
        return PhotoTraced(
            solved, sides, {}, {}, corners, clicks, "clicked", report, ready.camera_key, reference=ready.reference
        )
    rgb, wall, sill_at = ready.picture.rgb, request.wall, request.sill_at
    if hides_a_corner(corners):
        state = solved.adjusted.state
        traces = trace_part(rgb, state, corners, asked.click_px, depths.z_mm, wall, sill_at, by.blur_px)
    else:
        traces = last.trace(rgb, camera, corners, asked.click_px, depths.z_mm, wall, sill_at, by.blur_px)
        if found_by == "photo":
            traces = look_wider(rgb, camera, corners, traces, depths.z_mm, wall, sill_at, by.blur_px)
    how = last.once, _cost_as_said(by), by.segments
    unsure = wrong_kind(rgb, solved, ready.reference, ready.prior, wall, corners, *how)
    if unsure is None and found_by == "photo":
        unsure = doubt(camera, corners, traces)
    if unsure is not None:
        if unsure.code == "reference-size":  # all else that is odd follows from it
            base = replace(base, warnings=ready.report.warnings)
        return replace(base, corners_px=corners, error=unsure)
    sides, listed, drawn, more = side_lines(camera, traces, request.wall)
    if found_by == "photo":  # nobody chose between rival lines: u covers them
        sides = {s: widened(sides[s], traces[s], camera, corners) for s in SIDES}
    report = replace(base, corners_px=corners, warnings=(*warned, *more))
    beside: dict[Side, Beside] = {}
    if set(sides) == set(SIDES):
        z_mm = {s: line.depth_mm for s, line in sides.items()}
        beside = look_beside(rgb, camera, lines_of(camera, sides, z_mm), z_mm, wall)
    return PhotoTraced(
        solved, sides, listed, drawn, corners, None, found_by, report, ready.camera_key, beside, ready.reference
    )


def _with_lines(request: OpeningRequest, ready: Prepared, by: PhotoSolved, last: LastTrace, corners: Array) -> Solved:
    """Return the photo solved with the wall's lines, which also tell the sides of cards from other lines near them."""
    if not ready.asked.trace:  # as clicked, nothing is traced: neither the wall's lines
        return by.solved
    rgb = ready.picture.rgb
    solved = last.lined(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), by.solved, corners, request.wall, by.segments)
    if not solved.traced:
        return solved
    how = ready.reference, ready.prior, request.wall, corners, by.segments
    before, solved = settled(rgb, by.solved, solved, *how)
    if any(w.code == "lines-disagree" for w in solved.warnings[len(before.warnings) :]):
        solved = without_wrong_side(rgb, before, solved, *how)
    return solved


def measure_traced(request: OpeningRequest, traced: PhotoTraced) -> PhotoMeasured:
    """Return the measures that one photo gives by itself."""
    solved, depths = traced.solved, edge_depths(request)
    camera = solved.adjusted.state.camera
    result = measure(camera, solved.adjusted.parts, traced.sides, depths.u_common_mm, depths.u_each_mm, traced.clicks)
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
                    (*traced.report.warnings, *slant_doubts(camera, result.corners_px)), result.further.get("course")
                ),
                result.cov_mm2,
                result.budget_mm,
            ),
            *geometry_warnings(result.cov_mm2, result.budget_mm, len(solved.names), traced.reference.thing),
        ),
        wall_to_photo=to_photo,
        extent_mm=extent,
    )
    return PhotoMeasured(result, candidates, faces, report, traced.found_by, traced)


def _solve(request: OpeningRequest, ready: Prepared, last: LastTrace) -> Solved | Warning_:
    asked = ready.asked
    if ready.reference.kind == "sheet":
        if not ready.sightings:
            return Warning_(
                "no-reference",
                f"no printed sheet was found in {asked.path.name}; tape one sheet left and one right of the opening, "
                "flat on the wall, and take the photo again from where whole opening and sheets are in view; where "
                "they hang already they are too small, blurred or dark: go nearer, and send the original file",
            )
        grey = cv2.cvtColor(ready.picture.rgb, cv2.COLOR_RGB2GRAY)
        solved = _solve_sheets(request, ready, grey)
        if isinstance(solved, Warning_) or not asked.trace:
            return solved
        return scaled_by_outline(ready.picture.rgb, solved, request.check_bar)
    return solve_page_photo(ready.picture.rgb, asked, ready.reference, ready.prior, request.wall, last.once)


def _solve_sheets(request: OpeningRequest, ready: Prepared, grey: cv2.typing.MatLike) -> Solved | Warning_:
    """Return the photo solved by the sheets that look like themselves where they were placed."""
    sightings = tuple(s for s in ready.sightings if pattern_agreement(grey, s.letter, first_outline(s)) > WORTH_A_TRY)
    while sightings:
        solved = solve_sheets(grey, sightings, ready.prior, request.check_bar, request.wall)
        good = [looks_like_itself(grey, s, o) for s, o in zip(sightings, solved.outlines_px, strict=True)]
        if all(good):
            return solved
        # the one with the fewest markers alone: it may have led the others astray
        worst = min((s.markers, i) for i, s in enumerate(sightings) if not good[i])[1]
        sightings = (*sightings[:worst], *sightings[worst + 1 :])
    return _smeared(ready.asked.path.name)


def _smeared(name: str) -> Warning_:
    return Warning_(
        "no-reference",
        f"a sheet was seen in {name}, but too blurred or too small to be read; hold still, go nearer, and take the "
        "photo again in its original size",
    )


def _doubted(
    request: OpeningRequest, ready: Prepared, solved: Solved, last: LastTrace
) -> tuple[Solved, list[Warning_], PrintedBlur | None]:
    """Return the photo solved as cut where the references show that it was, what else makes it worse, and its blur."""
    warned: list[Warning_] = []
    exif, size, prior = ready.picture.exif, ready.picture.size_px, ready.prior
    grey = cv2.cvtColor(ready.picture.rgb, cv2.COLOR_RGB2GRAY)
    sheets = ready.reference.kind == "sheet"
    if sheets:
        blur = printed_blur(grey, solved.blocks, solved.outlines_px)
        solved = weakened(solved, ready.sightings, blur)
    else:
        blur = page_blur(grey, solved.traced, BLUR_PX, paper=ready.reference.kind in PAPER)
    if not any(w.code == "cropped" for w in ready.report.warnings) and _seen_cut(request, ready, solved, last):
        again = _solve(request, replace(ready, prior=cut_prior(prior, exif, size)), last)
        if isinstance(again, Solved):
            solved, warned = weakened(again, ready.sightings, blur) if sheets else again, [cut_found(again, prior)]
    if sheets and not warned and not any(w.code == "cropped" for w in ready.report.warnings):
        solved = with_usual_lens(solved, prior, size)
    side = (WIDTH_MM, HEIGHT_MM) if sheets else reference_size_mm(ready.reference)
    camera, root = solved.adjusted.state.camera, float(np.sqrt(side[0] * side[1]))
    return solved, [*warned, *solved_doubts(camera, prior, exif, size, solved.outlines_px, root, blur)], blur


def _cost_as_said(by: PhotoSolved) -> float | None:
    """Return the cost of a photo solved by traced sides; None where it was solved by another camera: it was cut."""
    if any(t is None for t in by.solved.traced) or any(w.code == "cropped" for w in by.doubts):
        return None
    return by.solved.adjusted.cost


def _seen_cut(request: OpeningRequest, ready: Prepared, solved: Solved, last: LastTrace) -> bool:
    """Return whether the references show that the picture was cut, and with pages or cards the wall's lines too.

    Their traced sides are few: one misread, or not quite straight, looks like a cut as well.
    """
    size, exif, prior = ready.picture.size_px, ready.picture.exif, ready.prior
    if not last.once(("cut", solved.adjusted, prior), lambda: shows_cut(solved, prior, exif, size)):
        return False
    if ready.reference.kind == "sheet" or not ready.asked.trace:
        return True
    rgb = ready.picture.rgb
    grey, found = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), last.segments(rgb)
    with_lines = last.lined(grey, solved, ready.asked.corners_px, request.wall, found)
    if len(with_lines.blocks) == len(solved.blocks):  # there are none, or they disagree
        return False
    return shows_cut(with_lines, prior, exif, size)


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
