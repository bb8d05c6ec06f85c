"""Check bars that the sheet itself denies: misread by a few tenths, they make a sound photo look cut or its wall bent.

Bars are observations as exact as their last digit says. A ratio of both that is off by 0.3 % turns a sheet that hangs
straight on by four degrees (its cosine), which nothing but a cut picture or contrary lines then explains. Read to the
millimetre they may explain it themselves: then they count as so read, and a warning says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from vision.one_photo import PhotoTraced
from vision.request import CheckBar, OpeningRequest, PhotoReport, Quantity, Warning_

U_TO_THE_MM = 1 / 12**0.5  # rectangular (GUM 4.3.7)
CONTRARY = frozenset({"cropped", "lines-disagree"})
HIDDEN = 2  # sides that no line shows: so many when the wall is seen askew, one may be hidden by a leaf
SAYS = (
    "the printed bars as entered do not fit the sheet as it is seen, so they count as read to the millimetre only; "
    "measure both again to a tenth of a millimetre, across and along the page, and enter them as read"
)

Trace = Callable[[OpeningRequest], PhotoTraced | PhotoReport]


def unless_bars_err(request: OpeningRequest, trace: Trace) -> PhotoTraced | PhotoReport:
    """Return a photo of sheets as traced, with its bars loosened where that alone settles what is contrary in it.

    `trace` gives the photo solved and its sides traced, as asked for.
    """
    traced = trace(request)
    loose = _read_to_the_mm(request.check_bar)
    if loose is request.check_bar or not _contrary(traced):
        return traced
    again = trace(replace(request, check_bar=loose))
    if isinstance(again, PhotoReport) or _contrary(again):
        return traced
    warned = (*again.report.warnings, Warning_("print-scale", SAYS))
    return replace(again, report=replace(again.report, warnings=warned))


def _read_to_the_mm(bar: CheckBar) -> CheckBar:
    if all(b is None or b.u_mm >= U_TO_THE_MM for b in (bar.across, bar.along)):
        return bar
    across, along = (
        None if b is None else Quantity(b.value_mm, max(b.u_mm, U_TO_THE_MM)) for b in (bar.across, bar.along)
    )
    return CheckBar(across, along)


def _contrary(traced: PhotoTraced | PhotoReport) -> bool:
    report = traced if isinstance(traced, PhotoReport) else traced.report
    codes = [w.code for w in report.warnings]
    return not CONTRARY.isdisjoint(codes) or codes.count("edge-hidden") >= HIDDEN
