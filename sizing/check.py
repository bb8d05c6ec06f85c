"""One job from photos and readings to a result: the one door of the package.

A fault in one photo, opening or job is caught here and reported with it; the rest goes on.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from sizing.among_openings import explained_among
from sizing.crosscheck.consistency import cross_check, cross_check_without
from sizing.decided import DecisionLog
from sizing.decision import OpeningVerdict, job_verdict
from sizing.errors import InputError, NotDoneError, Problem
from sizing.exits import Exit, overall
from sizing.faults import fault_text
from sizing.job_warnings import with_misplaced, with_shared_photos
from sizing.jobs.inputs_hash import inputs_sha256
from sizing.jobs.job import Job, Opening, Tolerance, opening_request
from sizing.joint_test import warnings_of
from sizing.judging import judge_readings
from sizing.orders.order import order_of_photo
from sizing.orders.ordering import RuleFound, rule_of
from sizing.orders.rules import Rule
from sizing.outcome import EstimateResult, JobResult, OpeningResult
from sizing.photoresults import (
    as_listed,
    by_path,
    file_sha256,
    photo_result,
    photo_results,
    read_in,
)
from sizing.release.decisions import bad_line_problems, read_decisions
from sizing.remedy import advice
from sizing.units import Unit
from vision.errors import VisionError
from vision.request import NINE, Estimate, NotMeasured, OpeningRequest, Warning_

Progress = Callable[[str], None]
Estimator = Callable[[OpeningRequest, Progress | None], Estimate | NotMeasured]

JOB_FILE = "job.toml"


def check_job(
    path: Path,
    *,
    allow_outside: bool = False,
    progress: Progress | None = None,
    estimator: Estimator | None = None,
) -> JobResult:
    """Return the result of one job; problems of job, photos and openings are part of it, never raised.

    Parameters
    ----------
    path : Path
        A job file, or a folder that holds `job.toml`.
    allow_outside : bool
        Whether paths in the job file may leave its folder.
    progress : callable, optional
        Called with a short text as work goes on.
    estimator : callable, optional
        In place of `vision.estimate.estimate_opening`.
    """
    from sizing.jobs.file import load_job

    name, file = _named(path)
    shown = file.as_posix()
    try:
        job = load_job(file, allow_outside=allow_outside)
    except InputError as error:
        return JobResult(name, shown, "unproven", error=error)
    rule = _rules(job, allow_outside=allow_outside)
    results = tuple(_check_opening(job, o, progress, estimator, rule) for o in job.openings)
    results, common = with_misplaced(with_shared_photos(explained_among(results)))
    log, problems = _decisions(job)
    results = tuple(_decided(job, r, log) for r in results)
    verdict = job_verdict(r.verdict.verdict for r in results)
    return JobResult(job.id, shown, verdict, job, results, None, log, problems, common)


def failed_job(path: Path, error: Exception) -> JobResult:
    """Return a job on which this program failed, or that was not done, as one that could not be read."""
    from sizing.messages import check_warnings as messages

    name, file = _named(path)
    if isinstance(error, NotDoneError):
        says = str(error)
    else:
        says = messages.fault(f"{type(error).__name__}: {str(error)[:200]}")
    return JobResult(name, file.as_posix(), "unproven", error=InputError("fault", [Problem(file.as_posix(), says)]))


def _named(path: Path) -> tuple[str, Path]:
    """Return a job's name before it is read, and its file."""
    # `os.path` answers also for a loop of links and for a name too long, which `load_job` then says.
    file = path / JOB_FILE if os.path.isdir(path) else path  # noqa: PTH112
    return Path(os.path.realpath(file)).parent.name if file.name == JOB_FILE else file.stem, file


def estimate_photos(
    request: OpeningRequest,
    *,
    progress: Progress | None = None,
    estimator: Estimator | None = None,
    rule: Rule | None = None,
    unit: Unit = "mm",
) -> EstimateResult:
    """Return what the photos of one opening give on their own; with a rule also the sizes it would make of them.

    `unit` is that of the lengths in warnings.
    """
    answer = read_in(_answer(request, progress, estimator), unit)
    reports = by_path(answer.photos)
    photos = tuple(photo_result(str(p.path), reports, p.path) for p in request.photos)
    order = order_of_photo(rule, answer) if rule is not None and isinstance(answer, Estimate) else None
    return EstimateResult(request, answer, photos, order)


def exit_of(jobs: Sequence[JobResult]) -> Exit:
    """Return the exit status of `check`: 1 hold; else 4 unreadable; else 3 unproven; else 0."""
    return overall(_exit(job) for job in jobs)


def _exit(job: JobResult) -> Exit:
    if job.verdict == "hold":
        return Exit.HOLD
    if job.error is not None or any(o.unreadable for o in job.openings):
        return Exit.UNREADABLE
    return Exit.DONE if job.verdict == "send" else Exit.UNPROVEN


def estimate_exit(result: EstimateResult) -> Exit:
    """Return the exit status of `estimate`: 4 a photo could not be read; else 3 not measured; else 0."""
    if any(photo.unreadable for photo in result.photos):
        return Exit.UNREADABLE
    return Exit.DONE if isinstance(result.answer, Estimate) else Exit.UNPROVEN


def _rules(job: Job, *, allow_outside: bool) -> Callable[[Opening], RuleFound]:
    """Return what finds an opening's rule; each file is read once a job."""
    found: dict[str | None, RuleFound] = {}

    def rule(opening: Opening) -> RuleFound:
        if opening.rule not in found:
            found[opening.rule] = rule_of(job, opening, allow_outside=allow_outside)
        return found[opening.rule]

    return rule


def _check_opening(
    job: Job,
    opening: Opening,
    progress: Progress | None,
    estimator: Estimator | None,
    rule: Callable[[Opening], RuleFound],
) -> OpeningResult:
    if progress:
        progress(f"{job.id} {opening.label}")
    fault: Exception | None = None
    try:
        answer = _measure(opening, job.units, progress, estimator)
    except Exception as error:
        answer, fault = NotMeasured("fault", fault_text(error)), error
    try:
        return _judged(job, opening, answer, fault, rule(opening))
    except Exception as error:
        empty = NotMeasured("fault", fault_text(error), answer.photos)
        verdict = OpeningVerdict("unproven", "fault")
        return OpeningResult(
            opening, empty, photo_results(opening, answer), (), verdict, job.tolerance, (), fault or error
        )


def _measure(
    opening: Opening, unit: Unit, progress: Progress | None, estimator: Estimator | None
) -> Estimate | NotMeasured:
    from sizing.messages import check_warnings as messages

    if opening.shape != "rectangle":
        return NotMeasured("shape", messages.shape_refused(opening.shape))
    if not opening.photos:
        return NotMeasured("no-photo", messages.no_photo())
    request = opening_request(opening)
    if not request.photos:
        return NotMeasured("no-photo", messages.no_usable_photo())
    return as_listed(read_in(_answer(request, progress, estimator), unit), opening)


def _answer(request: OpeningRequest, progress: Progress | None, estimator: Estimator | None) -> Estimate | NotMeasured:
    if estimator is None:
        from vision.estimate import estimate_opening

        estimator = estimate_opening
    try:
        return estimator(request, progress)
    except VisionError as error:
        return NotMeasured(getattr(error, "code", "not-measured"), str(error))


def _judged(
    job: Job, opening: Opening, answer: Estimate | NotMeasured, fault: Exception | None, rule: RuleFound
) -> OpeningResult:
    crosscheck = cross_check(opening, answer)
    judged = judge_readings(job, opening, answer, crosscheck, rule)
    readings, verdict = judged.readings, judged.verdict
    differing = [r.reading.name for r in readings if r.judgement.verdict == "differs"]
    others = cross_check_without(opening, answer, differing) if differing else None
    missing = verdict.facts.get("missing", ())
    advised = None
    if verdict.verdict == "unproven" and isinstance(answer, Estimate):
        advised = advice(readings, answer, judged.tolerance)
    return OpeningResult(
        opening,
        answer,
        photo_results(opening, answer),
        readings,
        verdict,
        judged.tolerance,
        (
            *_opening_warnings(opening, answer, missing, judged.tolerance, advised=advised is not None),
            *warnings_of(crosscheck, differing, job.units, others),
        ),
        fault,
        tuple("" if d.error is not None else file_sha256(d.path) for d in opening.documents),
        crosscheck=crosscheck,
        order=judged.order,
        advice=advised,
    )


def _opening_warnings(
    opening: Opening,
    answer: Estimate | NotMeasured,
    missing: Sequence[str],
    tolerance: Tolerance,
    *,
    advised: bool,
) -> tuple[Warning_, ...]:
    from sizing.messages import check_warnings as messages
    from sizing.messages.order import order_not_checked

    warnings = list(answer.warnings)
    present = {w.code for w in warnings} | {w.code for photo in answer.photos for w in photo.warnings}
    if isinstance(answer, Estimate) and not present & {"weak-geometry", "photos-disagree"}:
        U95 = 2.0 * np.sqrt(np.maximum(np.diag(answer.cov_mm2), 0.0))
        weak = [n for n, U in zip(NINE[:8], U95, strict=False) if min(tolerance.of(n)) < U]
        if weak:
            seen = max((len(photo.references_px) for photo in answer.photos), default=1)
            warnings.append(Warning_("weak-geometry", messages.weak_geometry(weak, seen, advised=advised)))
    if missing:
        warnings.append(Warning_("readings-missing", messages.readings_missing(missing)))
    if opening.rule is None and opening.ordered is not None:
        warnings.append(Warning_("order-not-checked", order_not_checked()))
    later = [p.file for p in opening.photos if p.when == "after"]
    if later and len(later) < len(opening.photos):
        warnings.append(Warning_("photo-after", messages.photo_after(later)))
    return tuple(warnings)


def _decisions(job: Job) -> tuple[DecisionLog | None, tuple[Problem, ...]]:
    try:
        log = read_decisions(job.folder)
    except InputError as error:
        return None, error.problems
    return log, tuple(bad_line_problems(log))


def _decided(job: Job, result: OpeningResult, log: DecisionLog | None) -> OpeningResult:
    opening = result.opening
    inputs = inputs_sha256(
        job,
        opening,
        [p.sha256 for p in result.photos],
        result.document_sha256,
        "" if result.order is None or result.order.rule is None else result.order.rule.sha256,
        [use.sha256 for p in result.photos if p.report is not None for use in p.report.lenses if use.applied],
    )
    return replace(result, inputs_sha256=inputs, decision=log.shown(opening.label, inputs) if log else None)
