"""What to do next with an opening that was checked, said alike by terminal, result and desk."""

from __future__ import annotations

import numpy as np

from sizing.joint_test import standing_out
from sizing.messages import first_look
from sizing.messages import verdicts as messages
from sizing.messages.verdicts import OrderBesides
from sizing.orders.problems import hangs_on
from sizing.outcome import OpeningResult
from sizing.remeasure import again, named_slip, only_vague, unexplained
from sizing.rival_lines import explaining_sides
from vision.request import PARTS, SIDES, Estimate

# The order's problem that a reading which it comes from differs.
_THE_READING_ITSELF = "doubtful-reading"
# No line of the photo shows this side.
_HIDDEN = "edge-hidden"
# Photos that fit no one opening.
_CONTRARY = "photos-disagree"
# Something is noted of the scale that the sheets were printed at.
_PRINT = "print-scale"
# Of the variance of a measure.
_MOST = 0.5
_SCALE_PART = "print_scale"
# Measuring again from the same side would give the same numbers.
_MIRRORED = "seen-from-inside"
# The sill stands out though it was said to lie in the wall; only widths do not end on it.
_DEPTH, _ACROSS = "edge-depth-contradicted", "width"
# The desk may have typed what the sheet has right.
_SWAPPED = "width-height-swapped"
# Verdicts of the photo on readings.
_BY_PHOTO = frozenset({"reading-differs", "reading-unproven"})


def step_of(result: OpeningResult) -> str:
    """Return what to do next, nothing where the order may go."""
    verdict = result.verdict
    to_take = tuple(a.name for a in again(result.readings, standing_out(result.crosscheck)))
    mirrored = [r for r in result.readings if named_slip(r) == _MIRRORED]
    seen = [p.report for p in result.photos if p.report is not None]
    step = messages.next_step(
        verdict.verdict,
        verdict.why,
        verdict.names if verdict.why == "order-problem" or not to_take else to_take,
        doubtful=_doubtful(result),
        match=only_vague(result.readings) and not to_take,
        sheets=max((len(report.references_px) for report in seen), default=0),
        advised=result.advice is not None,
        order=_order_besides(result),
        untold=to_take,
        print_open=_print_open(result),
        contrary=isinstance(result.answer, Estimate) and any(w.code == _CONTRARY for w in result.answer.warnings),
    )
    if verdict.why not in _BY_PHOTO:
        return step
    looked = _look_first(result, step)
    if looked != step or not mirrored:
        return looked
    others = [r.reading.name for r in result.readings if r.holds and r not in mirrored]
    # Left and right of readings that were taken as from inside are turned already.
    side = "outside" if mirrored[0].reading.seen_from == "inside" else "inside"
    return messages.ask_where_they_stood(side, verdict.verdict, step, others)


def _look_first(result: OpeningResult, step: str) -> str:
    """Return the step behind a look at photo, sheet or outline where one may settle all; else the step as it is.

    A look costs less than a way to the house, and readings are judged by the wrong photo or line until then.
    """
    verdict = result.verdict.verdict
    suspect = not only_vague(result.readings)
    if suspect and result.shares_with:
        return first_look.look_whose_photo(result.shares_with, verdict, step)
    if suspect and result.fits_photo_of:
        return first_look.look_for_exchange(result.fits_photo_of, verdict, step)
    if _sill_denied(result) and not any(name.startswith(_ACROSS) for name in result.verdict.names):
        return first_look.look_how_the_sill_lies(verdict, step)
    if any(named_slip(r) == _SWAPPED for r in result.readings):
        return first_look.look_at_the_sheet(verdict, step)
    if all(r.judgement.verdict == "differs" and unexplained(r) for r in result.readings):
        return first_look.look_at_outline(verdict, step)
    return step


def _sill_denied(result: OpeningResult) -> bool:
    """Return whether a photo shows that the sill lies elsewhere than was declared."""
    seen = [p.report.warnings for p in result.photos if p.report is not None]
    return any((w.code, w.side) == (_DEPTH, "sill") for warnings in seen for w in warnings)


def _order_besides(result: OpeningResult) -> OrderBesides:
    """Return what is wrong with the order where readings that differ come first; nothing that they themselves are."""
    codes, order = result.verdict.facts.get("order_problems", ()), result.order
    if result.verdict.why != "reading-differs" or not codes:
        return ""
    problems = () if order is None else order.problems
    hanging = [p.code for p in problems if hangs_on(p, result.opening, result.verdict.names)]
    # What is compared with an order typed elsewhere is no problem of the job's own order.
    if len(codes) > len(hanging):
        return "wrong"
    return "may-be-wrong" if set(hanging) != {_THE_READING_ITSELF} else ""


def _print_open(result: OpeningResult) -> bool:
    """Return whether the scale of the print, of which something is noted, makes up most of what is not known."""
    answer = result.answer
    noted = any(w.code == _PRINT for p in result.photos if p.report is not None for w in p.report.warnings)
    if not noted or not isinstance(answer, Estimate):
        return False
    variance_mm2 = np.diag(answer.cov_mm2)[:6]
    worst = int(np.argmax(variance_mm2))
    return bool(answer.budget_mm[worst, PARTS.index(_SCALE_PART)] ** 2 > _MOST * variance_mm2[worst])


def _doubtful(result: OpeningResult) -> tuple[str, ...]:
    """Return the sides on whose line the verdict hangs, or may hang where readings differ: in order of `SIDES`.

    Where they differ by more than any other line would explain, nobody is sent to look at lines.
    """
    found: set[str] = {side for r in result.readings for side in r.deciding}
    if result.verdict.why == "reading-differs" and isinstance(result.answer, Estimate):
        warnings = [w for p in result.photos if p.report is not None for w in p.report.warnings]
        hidden = {w.side for w in warnings if w.code == _HIDDEN}
        for r in result.readings:
            name = r.reading.name
            if name in result.verdict.names:
                found.update(explaining_sides(r.judgement, name, result.answer, result.tolerance.of(name), hidden))
    return tuple(side for side in SIDES if side in found)
