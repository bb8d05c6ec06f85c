"""The report of a job as words, figures and pictures: one page an opening; PDF and HTML show the same.

No clock and no files here but the pictures' photos; the words come from `sizing.messages`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from sizing.decision import job_verdict
from sizing.faults import failed_opening
from sizing.footprint.result import footprint_lines, job_footprints
from sizing.messages import (
    check_warnings,
    crosscheck,
    decided,
    decisions,
    report_figures,
    report_pictures,
    report_to_do,
    verdicts,
)
from sizing.messages import order as order_words
from sizing.messages import report as words
from sizing.messages.footprint import CODES
from sizing.messages.one_line import file_name, one_line, sentence
from sizing.messages.tape_figure import tape_figure
from sizing.nextstep import step_of
from sizing.opening_lines import advice_line, opening_warnings, tolerance_words
from sizing.order_lines import caution_lines, order_lines
from sizing.orders.rules import DIRECTIONS
from sizing.outcome import JobResult, OpeningResult
from sizing.pictures.blanking import Blank
from sizing.pictures.drawn import Complain
from sizing.remeasure import request
from sizing.report.contents import Input, OpeningPage, Report
from sizing.report.pictures import opening_pictures
from sizing.report.readings import budget_of, cause_lines, reading_line
from sizing.units import Unit
from sizing.versions import program_version, version_lines
from vision.request import Estimate, NotMeasured

_NONE: Mapping[str, Sequence[str]] = MappingProxyType({})


def build_report(
    result: JobResult,
    made_at: str,
    blanks: Sequence[Blank],
    complain: Complain,
    releases: Mapping[str, Sequence[str]] = _NONE,
) -> Report:
    """Return the report of a job that could be read.

    Parameters
    ----------
    result : with its job.
    made_at : date or time that is printed.
    blanks : boxes that no picture shows.
    complain : called with a line where a picture could not be drawn.
    releases : numbers of the job's releases so far to the labels that each handed over.

    Raises
    ------
    ValueError
        The job could not be read.
    """
    job = result.job
    if job is None:
        raise ValueError("a job that could not be read has no report")
    result, pages, failed = _pages(result, job.units, blanks, complain, releases)
    facts = {
        "measured_by": job.measured_by,
        "measured_on": job.measured_on,
        "tape": None if job.tape == "unknown" else job.tape,
        "note": job.note,
        **{f"extra.{key}": value for key, value in job.extra.items()},
    }
    return Report(
        job=one_line(job.id),
        made_at=made_at,
        program=f"secondtape {program_version()}",
        verdict=result.verdict,
        stopped=any(_stopped(o) for o in result.openings),
        headline=_headline(result),
        facts=_facts(facts),
        summary=_summary(result),
        common=tuple(crosscheck.common_part(test, job.units) for test in result.job_tests if test.found),
        pages=pages,
        method=words.METHOD,
        inputs=_inputs(result),
        versions=tuple(version_lines()),
        cautions=(verdicts.CAUTION, *caution_lines(o.order for o in result.openings), words.NO_CERTIFICATE),
        whole=not failed,
    )


def _facts(values: dict[str, object]) -> tuple[tuple[str, str], ...]:
    return tuple((words.fact_name(key), one_line(str(value))) for key, value in values.items() if value)


def _stopped(result: OpeningResult) -> str:
    """Return what to do where a person's decision that stands stops the opening; nothing elsewhere."""
    decision = result.decision
    if decision is None or decision.decision != "hold" or decision.stale(result.inputs_sha256):
        return ""
    return decided.stopped_step(decision.by)


def _headline(result: JobResult) -> str:
    codes = [o.verdict.verdict for o in result.openings]
    stopped = sum(bool(_stopped(o)) for o in result.openings)
    if stopped and set(codes) == {"send"}:
        return decided.stopped_headline(stopped, len(codes))
    return words.headline(codes)


def _summary(result: JobResult) -> str:
    """Return how many openings have which verdict, and where people decided otherwise."""
    said = verdicts.job_summary(Counter(o.verdict.verdict for o in result.openings)) + "."
    fresh = [(o, o.decision) for o in result.openings if o.decision and not o.decision.stale(o.inputs_sha256)]
    stopped = [o.opening.label for o, d in fresh if d.decision == "hold" and o.verdict.verdict != "hold"]
    overridden = [o.opening.label for o, d in fresh if d.decision == "override"]
    return " ".join(line for line in (said, decided.people_decided(stopped, overridden)) if line)


def _pages(
    job: JobResult, unit: Unit, blanks: Sequence[Blank], complain: Complain, releases: Mapping[str, Sequence[str]]
) -> tuple[JobResult, tuple[OpeningPage, ...], bool]:
    """Return the job with the openings that the program fails on as such, a page an opening, and whether it failed."""
    pages, openings = list[OpeningPage](), list[OpeningResult]()
    for opening in job.openings:
        shown = opening
        try:
            page = _page(job, opening, unit, blanks, complain, releases)
        except Exception as error:
            complain(f"{job.file}: {one_line(opening.opening.label)}: {check_warnings.fault(repr(error)[:200])}")
            shown = failed_opening(opening, error)
            page = _page(job, shown, unit, blanks, complain, releases)
        openings.append(shown)
        pages.append(page)
    verdict = job_verdict(o.verdict.verdict for o in openings)
    failed = any(a is not b for a, b in zip(openings, job.openings, strict=True))
    return replace(job, openings=tuple(openings), verdict=verdict), tuple(pages), failed


def _page(
    job: JobResult,
    result: OpeningResult,
    unit: Unit,
    blanks: Sequence[Blank],
    complain: Complain,
    releases: Mapping[str, Sequence[str]],
) -> OpeningPage:
    opening, verdict, answer = result.opening, result.verdict, result.answer
    decision = result.decision
    stale = decision is not None and decision.stale(result.inputs_sha256)
    why = _why(result)
    verdict_words = verdicts.verdict_of(
        verdict.verdict, bool(result.photos), verdict.why, readings=bool(result.readings)
    )
    stopped = "" if verdict.verdict == "hold" else _stopped(result)
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
                opening.label, result.readings, unit, job=job.name, on=job.job.measured_on if job.job else None
            ).splitlines()
        ),
        decision="" if decision is None else decisions.decided(decision, stale=stale),
        decided="" if decision is None else decided.in_short(decision, stale=stale),
        released=decided.released_in(sorted(n for n, labels in releases.items() if opening.label in labels)),
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
    return _facts(
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
    step, stopped = step_of(result), _stopped(result)
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


def _inputs(result: JobResult) -> tuple[Input, ...]:
    """Return every file that the check rests on, by name and hash; no folders of this machine."""
    job = result.job
    assert job is not None
    found = [Input(words.input_kind("job"), job.file.name, job.sha256)]
    for opening in result.openings:
        found += [Input(words.input_kind("photo"), file_name(p.file), p.sha256) for p in opening.photos]
        rule = None if opening.order is None else opening.order.rule
        if rule is not None:
            name = f"{one_line(rule.id)} ({rule.file.name})"
            found.append(Input(words.input_kind("rule"), name, rule.sha256))
        found += [
            Input(words.input_kind("lens"), use.path.name, use.sha256)
            for photo in opening.photos
            if photo.report is not None
            for use in photo.report.lenses
            if use.applied
        ]
        papers = zip(opening.opening.documents, opening.document_sha256, strict=False)
        found += [Input(words.input_kind(paper.kind), file_name(paper.file), sha) for paper, sha in papers]
    return tuple(dict.fromkeys(found))
