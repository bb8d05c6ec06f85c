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
from sizing.messages import check_warnings, crosscheck, decided, verdicts
from sizing.messages import report as words
from sizing.messages.one_line import file_name, one_line
from sizing.order_lines import caution_lines
from sizing.outcome import JobResult, OpeningResult
from sizing.pictures.blanking import Blank
from sizing.pictures.drawn import Complain
from sizing.report.contents import Input, OpeningPage, Report
from sizing.report.opening_page import named_facts, opening_page, stopped_step
from sizing.units import Unit
from sizing.versions import program_version, version_lines

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
        stopped=any(stopped_step(o) for o in result.openings),
        headline=_headline(result),
        facts=named_facts(facts),
        summary=_summary(result),
        common=tuple(crosscheck.common_part(test, job.units) for test in result.job_tests if test.found),
        pages=pages,
        method=words.METHOD,
        inputs=_inputs(result),
        versions=tuple(version_lines()),
        cautions=(verdicts.CAUTION, *caution_lines(o.order for o in result.openings), words.NO_CERTIFICATE),
        whole=not failed,
    )


def _headline(result: JobResult) -> str:
    codes = [o.verdict.verdict for o in result.openings]
    stopped = sum(bool(stopped_step(o)) for o in result.openings)
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
            page = opening_page(job, opening, unit, blanks, complain, releases)
        except Exception as error:
            complain(f"{job.file}: {one_line(opening.opening.label)}: {check_warnings.fault(repr(error)[:200])}")
            shown = failed_opening(opening, error)
            page = opening_page(job, shown, unit, blanks, complain, releases)
        openings.append(shown)
        pages.append(page)
    verdict = job_verdict(o.verdict.verdict for o in openings)
    failed = any(a is not b for a, b in zip(openings, job.openings, strict=True))
    return replace(job, openings=tuple(openings), verdict=verdict), tuple(pages), failed


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
