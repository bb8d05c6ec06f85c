"""Which of several things is the reference, told by the opening that is found beside each of them.

Of two things that look like a card either may be it where nobody points at one. Taken for the reference, each says how
the wall is seen, and an opening is then found or none is. The one found shows the wall's slant by itself: the outlines
of other things have other proportions on it.
"""

from __future__ import annotations

from dataclasses import replace

from vision.bars_doubted import unless_bars_err
from vision.last_trace import LastTrace
from vision.one_photo import PhotoTraced, trace_solved
from vision.pages.of_photo import candidates_px, likeness_of
from vision.pages.one_side import FITS
from vision.pages.refused import askew, unlike_pointed_out
from vision.prepared import Prepared, without_lens
from vision.request import Array, OpeningRequest, PhotoReport
from vision.solved_photo import PhotoSolved, as_refused, solve_photo, wrong_lens


def trace_photo(request: OpeningRequest, ready: Prepared) -> PhotoTraced | PhotoReport:
    """Return the photo solved and its sides traced, or its report with the error that stood in the way."""
    last = LastTrace()
    ready = without_lens(ready, wrong_lens(request, ready, last))
    return trace_told(request, ready, solve_photo(request, ready, last), last)


def trace_told(
    request: OpeningRequest, ready: Prepared, solved: PhotoSolved | PhotoReport, last: LastTrace
) -> PhotoTraced | PhotoReport:
    """Return a photo as solved with its sides traced, or by another reference where the opening shows that it is none.

    Of what nobody pointed at, the one thing counts whose proportions are right on the wall of the opening found beside
    it. Where there is none, or several, the report says why.
    """
    asked = ready.asked
    if ready.reference.kind == "sheet":
        return unless_bars_err(request, lambda r: _traced(r, ready, solved if r is request else None, last))
    if asked.corners_px is not None or not asked.trace:  # then its proportions were judged before
        return solved if isinstance(solved, PhotoReport) else trace_solved(request, ready, solved, last)
    if isinstance(solved, PhotoReport):
        return solved if asked.reference_corners_px else _told(request, ready, solved, last)
    return _judged(request, ready, solved, last)


def _traced(
    request: OpeningRequest, ready: Prepared, solved: PhotoSolved | PhotoReport | None, last: LastTrace
) -> PhotoTraced | PhotoReport:
    """Return a photo with its sides traced, as solved or, if None, solved anew."""
    if solved is None:
        last = LastTrace()
        solved = solve_photo(request, ready, last)
    return solved if isinstance(solved, PhotoReport) else trace_solved(request, ready, solved, last)


def _judged(
    request: OpeningRequest, ready: Prepared, solved: PhotoSolved, last: LastTrace
) -> PhotoTraced | PhotoReport:
    """Return a photo by the references that it was solved by, if the opening found beside them bears them out."""
    asked = ready.asked
    traced = trace_solved(request, ready, solved, last)
    opening_px = traced.corners_px  # seen also where a side of the opening was in doubt
    if opening_px is None:
        return traced
    like = likeness_of(ready.reference, opening_px, ready.prior, asked.click_px)
    fits = min(like(q) for q in solved.solved.outlines_px)
    if fits >= FITS:
        return traced
    told = _with_opening(request, ready, opening_px, last)
    if told is not None or fits > 0:
        return told or traced
    report = traced if isinstance(traced, PhotoReport) else traced.report
    report = replace(report, warnings=ready.report.warnings)
    if asked.reference_corners_px:
        quad = min(solved.solved.outlines_px, key=like)  # as clicked, where its sides do not show
        unlike = unlike_pointed_out(quad, ready.reference, asked.path.name, found=True)
        return replace(report, error=as_refused(unlike, ready))
    says = askew(solved.solved.outlines_px[0], ready.reference, asked.path.name, found=True)
    return _told(request, ready, replace(report, error=as_refused(says, ready)), last)


def _told(request: OpeningRequest, ready: Prepared, refused: PhotoReport, last: LastTrace) -> PhotoTraced | PhotoReport:
    """Return the photo by the one thing that fits the opening found beside it; else `refused`."""
    if refused.error is None or refused.error.code != "no-reference":
        return refused
    asked = ready.asked
    openings: list[Array] = []
    fitting: list[PhotoTraced] = []
    for quad in candidates_px(ready.picture.rgb, asked, ready.reference, ready.prior, last.once):
        as_pointed = replace(ready, asked=replace(asked, reference_corners_px=(quad,)))
        by = solve_photo(request, as_pointed, last)
        traced = by if isinstance(by, PhotoReport) else trace_solved(request, as_pointed, by, last)
        if isinstance(by, PhotoReport) or isinstance(traced, PhotoReport):
            continue
        openings.append(traced.corners_px)
        if _fits(ready, by, traced):
            fitting.append(traced)
    if fitting:
        return fitting[0] if len(fitting) == 1 else refused
    told = (_with_opening(request, ready, opening_px, last) for opening_px in openings)
    return next((t for t in told if t is not None), refused)


def _with_opening(request: OpeningRequest, ready: Prepared, opening_px: Array, last: LastTrace) -> PhotoTraced | None:
    """Return the photo by the references that are seen where the opening (4, 2) px is known; None where none fits."""
    asked = ready.asked
    by = solve_photo(request, replace(ready, asked=replace(asked, corners_px=opening_px)), last)
    if isinstance(by, PhotoReport):
        return None
    pointed = replace(ready, asked=replace(asked, reference_corners_px=tuple(by.solved.outlines_px)))
    traced = trace_solved(request, pointed, by, last)
    return traced if isinstance(traced, PhotoTraced) and _fits(ready, by, traced) else None


def _fits(ready: Prepared, by: PhotoSolved, traced: PhotoTraced) -> bool:
    """Return whether the references of a photo have their proportions on the wall of the opening found beside them."""
    like = likeness_of(ready.reference, traced.corners_px, ready.prior, ready.asked.click_px)
    return min(like(q) for q in by.solved.outlines_px) >= FITS
