"""From one prepared photo of an opening to its sides: solved, with the lines of its wall, and traced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from vision.advice import reference_warnings
from vision.depths import edge_depths
from vision.faces.reveal import Beside, look_beside
from vision.finder.found import doubt, elsewhere, further_out, look_wider, moved_sides, widened
from vision.finder.frame_taken import taken_for_frame
from vision.finder.opening import find_openings
from vision.finder.where_neighbours_end import head_misplaced, jambs_misplaced, met_sides, sill_misplaced
from vision.last_trace import LastTrace
from vision.pages.kind import wrong_kind
from vision.pages.rival_sides import settled
from vision.pages.wrong_side import without_wrong_side
from vision.prepared import Prepared
from vision.request import (
    SIDES,
    Array,
    OpeningRequest,
    PhotoReport,
    Quantity,
    Reference,
    Side,
    Warning_,
)
from vision.sides.finding import FailedSide
from vision.sides.part_view import hides_a_corner, trace_part
from vision.sides.search import BARE_CLICK_PX
from vision.sides.traced import refuse_short, side_lines
from vision.sides.tracing import SideTrace
from vision.sill_projection import SillSeen, sill_contradicts, sill_stands_out
from vision.solved_photo import PhotoSolved, sees_lines
from vision.solving.solved import Solved
from vision.solving.unlike_sheets import with_lines_as_printed
from vision.stations import Line, SideLine, clicked_sides, lines_of

FoundBy = Literal["photo", "corners", "clicked"]
Listed = Mapping[Side, tuple[tuple[float, float, str], ...]]


@dataclass(frozen=True, slots=True, eq=False)
class PhotoTraced:
    """One photo solved and its sides traced: what measures are taken from, and what joins several photos.

    `listed` are the candidates of each side (weight, shift outward mm, name). `drawn` are the sides as curves (N, 2)
    px, for people. `clicks` are the corners (4, 2) px and their standard uncertainty px where no side was traced.
    `camera_key` is equal for photos by one camera (None: unknown). `beside` are the lines seen beside its sides.
    `reference` is what its references were said to be. `sill_out` is how far the sill is seen to stand out where
    nothing was given of it.
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
    sill_out: Quantity | None = None


def trace_solved(
    request: OpeningRequest, ready: Prepared, by: PhotoSolved, last: LastTrace | None = None
) -> PhotoTraced | PhotoReport:
    """Return a solved photo with its sides traced from the corners of `ready.asked`; `last` as of `solve_photo`."""
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
        sheets = ready.reference.kind == "sheet"
        if sheets:  # printed edges leave nothing for lines to settle
            near = last.lined(ready.grey, solved, None, request.wall, by.segments).adjusted.state.camera
        else:
            near = _with_lines(request, ready, by, last, None).adjusted.state.camera
        z = depths.z_mm
        out = max(0.5 * (z["left"] + z["right"]) - z["sill"], 0.0) if request.sill_at == "front" else 0.0
        searched = find_openings(ready.picture.rgb, near, solved.outlines_px, request.wall, out, sheets=sheets)
        if isinstance(searched, Warning_):
            return replace(base, error=searched)
        corners = searched
    solved = _with_lines(request, ready, by, last, corners)
    base = replace(base, references_px=tuple(zip(solved.names, solved.outlines_px, strict=True)))
    warned = [*ready.report.warnings, *by.doubts, *solved.warnings, *said, *depths.warnings]
    if not asked.trace:
        sides = clicked_sides(corners, depths.z_mm)  # those with both corners in view
        refuse_short(solved.adjusted.state.camera, sides)
        report = replace(base, corners_px=corners, warnings=tuple(warned))
        clicks = (corners, asked.click_px)
        return PhotoTraced(
            solved, sides, {}, {}, corners, clicks, "clicked", report, ready.camera_key, reference=ready.reference
        )
    report = replace(base, warnings=tuple(warned))
    return _sides_traced(_Solved(request, ready, by, solved, report, found_by, last, depths.z_mm), corners)


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """One photo asked about, solved by its references (`by`) and with the wall's lines, its report until here.

    `z_mm` is the plane that each side is taken to lie in.
    """

    request: OpeningRequest
    ready: Prepared
    by: PhotoSolved
    solved: Solved
    report: PhotoReport
    found_by: FoundBy
    last: LastTrace
    z_mm: Mapping[Side, float]
    sill_out: Quantity | None = None


def _sides_traced(case: _Solved, corners: Array, *, moved: bool = False) -> PhotoTraced | PhotoReport:
    """Return the photo with its sides traced from corners (4, 2) px, or its report with what stood in the way.

    `moved`: the corners were moved already, away from a line that seemed to be none of the sides.
    """
    ready, solved, rgb, wall = case.ready, case.solved, case.ready.picture.rgb, case.request.wall
    camera, alone = solved.adjusted.state.camera, case.found_by == "photo"
    traces = _traces(case, corners)
    how = case.last.once, _cost_as_said(case.by), case.by.segments
    unsure = wrong_kind(rgb, solved, ready.reference, ready.prior, wall, corners, *how)
    off = moved_sides(camera, corners, traces) if alone else frozenset()
    if unsure is None and alone:
        unsure = doubt(camera, corners, traces, off)
    report = replace(case.report, corners_px=corners)
    if unsure is not None:
        if unsure.code == "reference-size":  # all else that is odd follows from it
            report = replace(report, warnings=ready.report.warnings)
        return replace(report, error=unsure)
    sides, listed, drawn, more = side_lines(camera, traces, wall)
    if alone:  # nobody chose between rival lines: u covers them
        sides = {s: widened(sides[s], traces[s], camera, corners) for s in SIDES}
    beside: dict[Side, Beside] = {}
    by_mm: dict[Side, float] = {}
    if set(sides) == set(SIDES):
        own = {s: line.depth_mm for s, line in sides.items()}
        lines = lines_of(camera, sides, own)
        beside = look_beside(rgb, camera, lines, own, wall)
        sill = SillSeen(rgb, camera, lines, own, beside["sill"].inward_mm)
        out = sill_stands_out(case.request, sill) if case.sill_out is None else None
        if out is not None:
            return _sides_traced(_with_sill_out(case, out), corners, moved=moved)
        more = [*more, *sill_contradicts(case.request, sill)]
        met = met_sides(rgb, camera, lines, own, beside["sill"].inward_mm, off) if off else off
        if met != off:
            return replace(report, error=doubt(camera, corners, traces, met))
        by_mm = _misplaced(case, lines, beside) if alone else {}
    if by_mm and not moved and all(by_mm.values()):
        return _sides_traced(case, further_out(camera, corners, by_mm, case.z_mm), moved=True)
    if by_mm:
        return replace(report, error=elsewhere(by_mm))
    report = replace(report, warnings=(*report.warnings, *more))
    key, reference = ready.camera_key, ready.reference
    by, out = case.found_by, case.sill_out
    return PhotoTraced(solved, sides, listed, drawn, corners, None, by, report, key, beside, reference, out)


def _with_sill_out(case: _Solved, out: Quantity) -> _Solved:
    """Return the case with its sill so far in front, and that said in place of what was assumed."""
    before, known = edge_depths(case.request), edge_depths(replace(case.request, sill_out=out))
    kept = tuple(w for w in case.report.warnings if w not in before.warnings)
    report = replace(case.report, warnings=(*kept, *known.warnings))
    return replace(case, report=report, z_mm=known.z_mm, sill_out=out)


def _misplaced(case: _Solved, lines: Mapping[Side, Line], beside: Mapping[Side, Beside]) -> dict[Side, float]:
    """Return sides that seem taken at another line and how far outward in mm they are likelier; 0: no telling."""
    by_mm = taken_for_frame(beside, case.request.wall)
    rgb, camera = case.ready.picture.rgb, case.solved.adjusted.state.camera
    z_mm = {s: b.z_mm for s, b in beside.items()}
    by = head_misplaced(rgb, camera, lines, z_mm)
    by_mm |= jambs_misplaced(rgb, camera, lines, z_mm) | ({} if by is None else {"head": by})
    if case.request.sill_at == "front":
        by = sill_misplaced(rgb, camera, lines, z_mm, beside["sill"].inward_mm)
        by_mm |= {} if by is None else {"sill": by}
    return by_mm


def _traces(case: _Solved, corners: Array) -> dict[Side, SideTrace | FailedSide]:
    rgb, wall, sill_at, blur_px = case.ready.picture.rgb, case.request.wall, case.request.sill_at, case.by.blur_px
    state, z_mm, click_px = case.solved.adjusted.state, case.z_mm, case.ready.asked.click_px
    if case.found_by == "photo":
        click_px = max(click_px, BARE_CLICK_PX)
    if hides_a_corner(corners):
        return trace_part(rgb, state, corners, click_px, z_mm, wall, sill_at, blur_px)
    traces = case.last.trace(rgb, state.camera, corners, click_px, z_mm, wall, sill_at, blur_px)
    if case.found_by == "photo":
        traces = look_wider(rgb, state.camera, corners, traces, z_mm, wall, sill_at, blur_px)
    return traces


def _with_lines(
    request: OpeningRequest, ready: Prepared, by: PhotoSolved, last: LastTrace, corners: Array | None
) -> Solved:
    """Return the photo solved with the wall's lines, which also tell the sides of cards from other lines near them."""
    rgb = ready.picture.rgb

    def lined(alone: Solved) -> Solved:
        if not sees_lines(ready, by.doubts):
            return alone
        return last.lined(ready.grey, alone, corners, request.wall, by.segments)

    if ready.reference.kind == "sheet":
        return with_lines_as_printed(by.solved, lined)
    solved = lined(by.solved)
    if not solved.traced or solved is by.solved:
        return solved
    how = ready.reference, ready.prior, request.wall, corners, by.segments
    before, solved = settled(rgb, by.solved, solved, *how)
    if any(w.code == "lines-disagree" for w in solved.warnings[len(before.warnings) :]):
        solved = without_wrong_side(rgb, before, solved, *how)
    return solved


def _cost_as_said(by: PhotoSolved) -> float | None:
    """Return the cost of a photo solved by traced sides; None where it was solved by another camera: it was cut."""
    if any(t is None for t in by.solved.traced) or any(w.code == "cropped" for w in by.doubts):
        return None
    return by.solved.adjusted.cost
