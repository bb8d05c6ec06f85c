"""The page of one opening in a report: verdict, readings held to the photo, what to do, order, notes, pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sizing.footprint.result import footprint_lines, job_footprints
from sizing.joint_test import standing_out
from sizing.messages import decided, decisions, report_figures, report_pictures, report_to_do, verdicts
from sizing.messages import order as order_words
from sizing.messages import report as words
from sizing.messages.footprint import CODES
from sizing.messages.one_line import one_line, sentence
from sizing.messages.tape_figure import tape_figure
from sizing.nextstep import step_of
from sizing.opening_lines import advice_line, opening_warnings, tolerance_words
from sizing.order_lines import order_lines
from sizing.orders.rules import DIRECTIONS
from sizing.outcome import JobResult, OpeningResult
from sizing.pictures.blanking import Blank
from sizing.pictures.drawn import Complain
from sizing.release.release import handing_over
from sizing.remeasure import request
from sizing.report.contents import OpeningPage
from sizing.report.pictures import opening_pictures
from sizing.report.readings import budget_of, cause_lines, reading_line
from sizing.units import Unit
from vision.request import Estimate, NotMeasured


def named_facts(values: dict[str, object]) -> tuple[tuple[str, str], ...]:
    """Return what the job says as pairs of name and text; what it does not say is left out."""
    return tuple((words.fact_name(key), one_line(str(value))) for key, value in values.items() if value)


def stopped_step(result: OpeningResult) -> str:
    """Return what to do where a person's decision that stands stops the opening; nothing elsewhere."""
    decision = result.decision
    if decision is None or decision.decision != "hold" or decision.stale(result.inputs_sha256):
        return ""
    return decided.stopped_step(decision.by)


def opening_page(
    job: JobResult,
    result: OpeningResult,
    unit: Unit,
    blanks: Sequence[Blank],
    complain: Complain,
    releases: Mapping[str, Sequence[str]],
) -> OpeningPage:
    """Return the page of one opening of a job; the rest is as for `build_report`."""
    opening, verdict, answer = result.opening, result.verdict, result.answer
    decision = result.decision
    stale = decision is not None and decision.stale(result.inputs_sha256)
    why = _why(result)
    verdict_words = verdicts.verdict_of(
        verdict.verdict, bool(result.photos), verdict.why, readings=bool(result.readings)
    )
    stopped = "" if verdict.verdict == "hold" else stopped_step(result)
    left_out: list[str] = []

    def tell(line: str) -> None:
        left_out.append(line)
        complain(line)

    (footprint,) = job_footprints(job, [opening.label])
    pictures = opening_pictures(result, footprint.footprint, unit, blanks, tell)
    wanted = opening.obstacles or opening.clearances
    return OpeningPage(
        label=one_line(opening.label),
        verdict=verdict.verdict,
        verdict_words=words.capital(verdict_words),
        title=stopped or words.capital(verdict_words),
        title_kind="hold" if stopped else verdict.verdict,
        why=sentence(why),
        says=decided.by_the_check(verdict_words, sentence(why)) if stopped else sentence(why),
        facts=_opening_facts(result),
        to_do=_to_do(result, unit),
        readings=tuple(reading_line(r, result, unit) for r in result.readings),
        tolerance=tolerance_words(result, unit),
        causes=cause_lines(result.readings, unit),
        order_size=_order_size(result, unit),
        order=_order(result, unit),
        footprint=tuple(line.strip() for line in footprint_lines(footprint, unit, alone=False)[2:]) if wanted else (),
        budget=budget_of(answer, unit),
        notes=_notes(result, why, unit),
        remeasure=tuple(
            request(
                opening.label,
                result.readings,
                unit,
                job=job.name,
                on=job.job.measured_on if job.job else None,
                standing_out=standing_out(result.crosscheck),
            ).splitlines()
        ),
        decision="" if decision is None else decisions.decided(decision, stale=stale),
        decided="" if decision is None else decided.in_short(decision, stale=stale),
        released=decided.released_in(handing_over(opening.label, releases)),
        inputs_sha256=result.inputs_sha256,
        pictures=pictures,
        no_picture=report_pictures.no_picture(left_out),
    )


def _why(result: OpeningResult) -> str:
    """Return why the verdict is what it is, with why nothing was measured where that does not say so already."""
    verdict, answer = result.verdict, result.answer
    why = verdicts.why_verdict(verdict.why, verdict.names, answer.why if isinstance(answer, NotMeasured) else "")
    if isinstance(answer, NotMeasured) and answer.why not in why:
        why = f"{why} {sentence(answer.why)}"
    return why


def _opening_facts(result: OpeningResult) -> tuple[tuple[str, str], ...]:
    """Return what the job says of an opening beside its readings, and how it was found in the photo."""
    opening, answer = result.opening, result.answer
    return named_facts(
        {
            "wall": opening.wall,
            "quantity": None if opening.quantity == 1 else opening.quantity,
            "found_by": words.found_by(answer.found_by) if isinstance(answer, Estimate) else None,
            "note": opening.note,
            **{f"extra.{key}": value for key, value in opening.extra.items()},
        }
    )


def _notes(result: OpeningResult, why: str, unit: Unit) -> tuple[str, ...]:
    """Return warnings, photos that gave nothing, and readings that a later visit replaced."""
    lines = [sentence(w.message) for w in opening_warnings(result)]
    lines += [
        report_to_do.photo_unused(p.file, p.error.message)
        for p in result.photos
        if p.error is not None and sentence(p.error.message) not in sentence(why)
    ]
    lines += [
        report_to_do.superseded(r.name, tape_figure(r.length.as_written, r.length.mm, unit))
        for r in result.opening.superseded
    ]
    return tuple(dict.fromkeys(lines))


def _order_size(result: OpeningResult, unit: Unit) -> str:
    order = result.order
    if order is None:
        return report_figures.no_figure()
    ordered = order.ordered
    sizes = [None if ordered is None else ordered.width, None if ordered is None else ordered.height]
    typed = [None if size is None else size.exact for size in sizes]
    by_rule = [order.by_rule_mm.get(d) for d in DIRECTIONS]
    return report_figures.order_size(typed if any(typed) else by_rule, unit, typed=any(typed))


def _order(result: OpeningResult, unit: Unit) -> tuple[str, ...]:
    """Return the lines of the order but for problems, which are things to do, and for what the footprint says."""
    order = result.order
    if order is None:
        return ()
    said = {order_words.problem(order_words.problem_says(p.code, p.facts, unit)) for p in order.problems}
    said |= {
        order_words.remark(order_words.problem_says(n.code, n.facts, unit)) for n in order.notes if n.code in CODES
    }
    return tuple(line for line in order_lines(order, result.readings, unit) if line not in said)


def _to_do(result: OpeningResult, unit: Unit) -> tuple[str, ...]:
    step, stopped = step_of(result), stopped_step(result)
    problems = () if result.order is None else result.order.problems
    lines = [step] if step else []
    if stopped and result.decision is not None:
        lines.insert(0, decided.settle(result.decision.reason))
    lines += [order_words.problem_says(p.code, p.facts, unit) for p in problems]
    lines += [advice_line(result.advice, unit)] if result.advice is not None else []
    if result.verdict.verdict == "send" and not stopped:
        noted = bool(opening_warnings(result)) or (result.order is not None and bool(result.order.notes))
        lines.append(report_to_do.look_before_ordering() if noted else report_to_do.nothing_to_do())
    return tuple(lines) or (report_to_do.photo_to_take(),)
