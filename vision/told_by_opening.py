"""Which of several things is the reference, told by the opening that is found beside each of them.

Of two things that look like a card either may be it where nobody points at one. Taken for the reference, each says how
the wall is seen, and an opening is then found or none is. The one found shows the wall's slant by itself: the outlines
of other things have other proportions on it.
"""

from __future__ import annotations

from dataclasses import replace

from vision.last_trace import LastTrace
from vision.one_photo import PhotoTraced, trace_solved
from vision.pages.of_photo import candidates_px, likeness_of
from vision.pages.one_side import FITS
from vision.prepared import Prepared, without_lens
from vision.request import OpeningRequest, PhotoReport
from vision.solved_photo import solve_photo, wrong_lens


def trace_photo(request: OpeningRequest, ready: Prepared) -> PhotoTraced | PhotoReport:
    """Return the photo solved and its sides traced, or its report with the error that stood in the way."""
    last = LastTrace()
    ready = without_lens(ready, wrong_lens(request, ready, last))
    solved = solve_photo(request, ready, last)
    if isinstance(solved, PhotoReport):
        return told_by_opening(request, ready, solved, last)
    return trace_solved(request, ready, solved, last)


def told_by_opening(
    request: OpeningRequest, ready: Prepared, refused: PhotoReport, last: LastTrace
) -> PhotoTraced | PhotoReport:
    """Return the photo by the one thing whose proportions are right on the wall of the opening found beside it.

    `refused` says why no reference was told; it stands where none fits, several do, or somebody pointed at anything.
    """
    asked = ready.asked
    pointed = asked.corners_px is not None or asked.reference_corners_px or not asked.trace
    if refused.error is None or refused.error.code != "no-reference" or ready.reference.kind == "sheet" or pointed:
        return refused
    fitting: list[PhotoTraced] = []
    for quad in candidates_px(ready.picture.rgb, asked, ready.reference, ready.prior, last.once):
        as_pointed = replace(ready, asked=replace(asked, reference_corners_px=(quad,)))
        by = solve_photo(request, as_pointed, last)
        traced = by if isinstance(by, PhotoReport) else trace_solved(request, as_pointed, by, last)
        if isinstance(by, PhotoReport) or isinstance(traced, PhotoReport):
            continue
        like = likeness_of(ready.reference, traced.corners_px, ready.prior, asked.click_px)
        if like(by.solved.outlines_px[0]) >= FITS:
            fitting.append(traced)
    return fitting[0] if len(fitting) == 1 else refused
