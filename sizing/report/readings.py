"""Readings held to the photo as a page shows them: figures, causes, and where the uncertainty comes from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sizing.judging import ReadingResult
from sizing.messages import report_figures
from sizing.messages.names import name_of
from sizing.messages.photo_figures import at_least
from sizing.messages.slips import probably, slip_says
from sizing.messages.tape_figure import tape_figure
from sizing.mixture import interval95_if_odd, mixture_of
from sizing.outcome import OpeningResult
from sizing.report.contents import Budget, ReadingLine
from sizing.units import Unit
from vision.request import NINE, PARTS, Estimate, NotMeasured

# A part of the budget below this is not shown, mm.
_LEAST_PART_MM = 0.05
_BUDGET_OF = ("width_middle", "height_middle", "diagonal_down")


def reading_line(result: ReadingResult, opening: OpeningResult, unit: Unit) -> ReadingLine:
    """Return one reading against the photo, its figures in words and its drawing in mm."""
    judged, name = result.judgement, result.reading.name
    under, over = opening.tolerance.of(name)
    centre = interval = None
    photo = report_figures.no_figure()
    if judged.photo_mm is not None and judged.U95_mm is not None and isinstance(opening.answer, Estimate):
        centre = judged.photo_mm - judged.reading_mm
        interval = _interval(opening.answer, name, judged.photo_mm, judged.U95_mm, judged.reading_mm)
        photo = report_figures.photo_figure(judged.photo_mm, judged.U95_mm, unit)
    slip = judged.smallest_slip_mm
    return ReadingLine(
        name=name_of(name),
        tape=tape_figure(result.reading.length.as_written, judged.reading_mm, unit),
        photo=photo,
        smallest_slip=report_figures.no_figure() if slip is None or not np.isfinite(slip) else at_least(slip, unit),
        verdict=judged.verdict,
        verdict_words=report_figures.reading_verdict(judged.verdict, measured=centre is not None),
        band_mm=(-over, under),
        centre_mm=centre,
        interval_mm=interval,
    )


def _interval(answer: Estimate, name: str, value_mm: float, U95_mm: float, reading_mm: float) -> tuple[float, float]:
    """Return the photo's 95 % interval less the reading: wider than +- U95 where rival edges make it so."""
    mixture = mixture_of(answer.values_mm, answer.cov_mm2, answer.candidates, name)
    low, high = interval95_if_odd(mixture, U95_mm) or (value_mm - U95_mm, value_mm + U95_mm)
    return low - reading_mm, high - reading_mm


def cause_lines(results: Sequence[ReadingResult], unit: Unit) -> tuple[str, ...]:
    """Return the two likeliest causes of the readings that do not agree; those of several alike once."""
    names: dict[str, list[str]] = {}
    for result in results:
        if result.likely and result.judgement.verdict != "agrees":
            said = [
                probably(slip_says(e.slip, e.shift_mm, e.corrected_mm, e.facts, unit), e.probability, e.slip)
                for e in result.likely[:2]
            ]
            says = report_figures.cause(said, [e.probability for e in result.likely[:2]])
            names.setdefault(says, []).append(result.reading.name)
    return tuple(report_figures.cause_of(mine, says) for says, mine in names.items())


def budget_of(answer: Estimate | NotMeasured, unit: Unit) -> Budget | None:
    """Return where the uncertainty of three measures comes from, in the unit; None where nothing was measured."""
    if isinstance(answer, NotMeasured):
        return None
    at = [NINE.index(name) for name in _BUDGET_OF]
    parts = np.asarray(answer.budget_mm)[at]
    shown = [k for k in range(len(PARTS)) if parts[:, k].max() >= _LEAST_PART_MM]
    u = np.sqrt(np.maximum(np.diag(answer.cov_mm2), 0.0))
    return Budget(
        parts=(*(report_figures.part_name(PARTS[k]) for k in shown), report_figures.all_parts()),
        rows=tuple(
            (name_of(name), tuple(report_figures.part_figure(float(v), unit) for v in (*parts[row, shown], u[i])))
            for row, (name, i) in enumerate(zip(_BUDGET_OF, at, strict=True))
        ),
    )
