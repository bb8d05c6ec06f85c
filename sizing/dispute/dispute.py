"""Which step of a job brought a wrong size in: a record from which another person gets the same result.

Steps are compared by `slipmodel` on what `disputesteps` makes of readings, photos, order and delivered piece. A
step without evidence of its own gets no figure; steps that the evidence cannot separate are one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from sizing.check import Estimator, Progress, estimate_photos
from sizing.decided import DecisionLog
from sizing.dispute.chain import Trace, diagonals_of, size_by_rule_mm, trace_of
from sizing.dispute.slipmodel import Model, groups, posterior
from sizing.dispute.steps import (
    Settings,
    load_settings,
    making_model,
    opening_model,
    order_model,
    settings_bytes,
)
from sizing.errors import InputError, Problem
from sizing.jobs.job import Job, Opening, PhotoEntry, opening_request
from sizing.messages import dispute as messages
from sizing.orders.ordering import rule_of
from sizing.orders.rules import DIRECTIONS, Rule
from sizing.photoresults import PhotoResult
from sizing.regularfile import regular_sha256
from sizing.release.decisions import read_decisions
from vision.request import Estimate, NotMeasured

SCHEMA = "secondtape/dispute/1"
# The steps of the work in their order; a figure is given for one of them or for a group.
STEPS = ("reading", "readings", "ordered", "made", "changed")
# No size is ordered or made by a diagonal.
_ON_SITE = ("reading", "readings", "changed")
# Steps between one size and another: whichever slipped, the sizes differ by as much.
ONE_DIFFERENCE = frozenset({"ordered", "made", "delivered"})
# How far the guesses of rates and spreads are moved for the range of each probability.
_SCALES = tuple((rate, spread) for rate in (1 / 3, 1.0, 3.0) for spread in (0.5, 1.0, 2.0))


@dataclass(frozen=True, slots=True)
class Finding:
    """One step, or several that cannot be told apart: its probability, the range under other guesses, and size.

    `station` is the box in question where one is. `error_mm` is what the slip would be if it happened; of several
    steps it is known only where they part the same two sizes.
    """

    steps: tuple[str, ...]
    probability: float
    low: float
    high: float
    error_mm: float
    u_mm: float
    station: str | None = None

    @property
    def sized(self) -> bool:
        """Whether `error_mm` is that of this finding, whichever of its steps slipped."""
        return len(self.steps) == 1 or set(self.steps) <= ONE_DIFFERENCE


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """One direction of an opening: findings ranked, steps without a figure with the code of why, the chain itself.

    `none` is the probability that none of the steps with a figure slipped, with its range; `fit_mm` the delivered
    size less what the rule gives for the photo after, where both are known, with `fit_U95_mm`.
    """

    trace: Trace
    findings: tuple[Finding, ...]
    no_figure: tuple[tuple[str, str], ...]
    none: tuple[float, float, float] | None
    fit_mm: float | None = None
    fit_U95_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class OpeningDispute:
    """One opening: its two directions, and its diagonals where they were read; why photos before or after say nothing.

    `fault` is a mistake of this program met on the way; the opening is then not traced.
    """

    opening: Opening
    rule: Rule | InputError | None
    traced: tuple[Traced, ...]
    before: Estimate | NotMeasured | None
    after: Estimate | NotMeasured | None
    photos: tuple[tuple[Literal["before", "after"], PhotoResult], ...]
    documents: tuple[tuple[str, str, str], ...]
    fault: Exception | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Dispute:
    """A job's openings in dispute, and the SHA-256 of the settings."""

    job: Job
    openings: tuple[OpeningDispute, ...]
    settings_sha256: str


def trace_job(
    path: Path,
    labels: Sequence[str] | None = None,
    *,
    allow_outside: bool = False,
    progress: Progress | None = None,
    estimator: Estimator | None = None,
) -> Dispute:
    """Return which steps brought errors into a job's openings.

    Parameters
    ----------
    path : Path
        A job file, or a folder that holds `job.toml`.
    labels : sequence of str, optional
        The openings in dispute; all when absent.
    allow_outside, progress, estimator
        As for `sizing.check.check_job`.

    Raises
    ------
    InputError
        The job or its decisions cannot be read, or it has no opening of a label.
    """
    from sizing.jobs.file import load_job

    job = load_job(path, allow_outside=allow_outside)
    known = [o.label for o in job.openings]
    unknown = [Problem("--opening", messages.no_such_opening(x, known)) for x in labels or () if x not in known]
    if unknown:
        raise InputError("bad-option", unknown)
    settings = load_settings()
    log = read_decisions(job.folder)
    found = []
    for opening in job.openings:
        if labels is None or opening.label in labels:
            if progress:
                progress(f"{job.id} {opening.label}")
            try:
                traced = _traced_opening(job, opening, log, settings, allow_outside, progress, estimator)
            except Exception as error:  # one opening never stops the others
                traced = OpeningDispute(opening, None, (), None, None, (), (), error)
            found.append(traced)
    return Dispute(job, tuple(found), hashlib.sha256(settings_bytes()).hexdigest())


def trace_direction(trace: Trace, opening: Opening, rule: Rule | None, settings: Settings) -> Traced:
    """Return the steps of one direction, ranked by probability."""
    models = [m for m in _models(trace, settings, opening) if m is not None]
    findings: list[Finding] = []
    nothing = np.ones(len(_SCALES))
    for model in models:
        merged = groups(model)
        if not merged:
            continue
        central = posterior(model, merged)
        ranged = [
            posterior(other, merged)
            for rate, spread in _SCALES
            for other in _models(trace, settings.scaled(rate, spread), opening)
            if other is not None and [s.name for s in other.steps] == [s.name for s in model.steps]
        ]
        nothing *= [r.none for r in ranged]
        for group in merged:
            name = "+".join(group)
            lead = max(group, key=lambda n: central.probability[n])
            every = [r.probability[name] for r in ranged]
            station = trace.boxes[central.variant["reading"]].name if lead == "reading" else None
            # One difference of two sizes is the slip, whichever step of its group it came in by.
            alone = len(model.y_mm) == 1
            size_mm = float(model.y_mm[0]) if alone else central.slip_mm[lead]
            u_mm = float(np.sqrt(model.cov_mm2[0, 0])) if alone else central.u_mm[lead]
            findings.append(Finding(group, central.probability[name], min(every), max(every), size_mm, u_mm, station))
    findings.sort(key=lambda f: -f.probability)
    told = {name for f in findings for name in f.steps}
    middle = _SCALES.index((1.0, 1.0))
    none = (float(nothing[middle]), float(nothing.min()), float(nothing.max())) if findings else None
    steps = _ON_SITE if trace.direction == "diagonal" else STEPS
    missing = tuple((step, _why_no_figure(step, trace, rule)) for step in steps if step not in told)
    # One box alone is all boxes: no second figure is missing.
    if len(trace.boxes) == 1:
        missing = tuple((step, why) for step, why in missing if step != "readings")
    return Traced(trace, tuple(findings), missing, none, *_fit_mm(trace, opening, rule))


def _models(trace: Trace, settings: Settings, opening: Opening) -> tuple[Model | None, ...]:
    return opening_model(trace, settings, opening), order_model(trace, settings), making_model(trace, settings)


def _why_no_figure(step: str, trace: Trace, rule: Rule | None) -> str:
    """Return the code of what is missing, in the order in which it would have to be brought."""
    codes: dict[str, tuple[tuple[bool, str], ...]] = {
        "reading": ((not trace.boxes, "no-readings"), (trace.before is None, "no-photo-before")),
        "readings": ((not trace.boxes, "no-readings"), (trace.before is None, "no-photo-before")),
        "ordered": (
            (trace.ordered_mm is None, "no-order"),
            (rule is None, "no-rule"),
            (trace.by_rule_mm is None, "no-size-by-rule"),
        ),
        "made": ((trace.ordered_mm is None, "no-order"), (trace.delivered_mm is None, "no-delivered")),
        "changed": (
            (trace.after is None, "no-photo-after"),
            (trace.before is None and not trace.boxes, "no-photo-before"),
        ),
    }
    return next((code for applies, code in codes[step] if applies), "too-weak")


def _fit_mm(trace: Trace, opening: Opening, rule: Rule | None) -> tuple[float, float] | tuple[None, None]:
    """Return the delivered size less what the rule gives for the photo after, and its U95, mm; None where not known.

    A rule makes steps of what it is given, so its part is how far its size moves over the photo's interval; where no
    such size is made, as far as the photo's figure does.
    """
    if trace.delivered_mm is None or trace.after is None or trace.direction == "diagonal":
        return None, None
    values, U95 = trace.after[0], 2.0 * np.sqrt(np.diag(trace.after[1]))
    lower, wanted, upper = (
        size_by_rule_mm(rule, trace.direction, (values + sign * U95).tolist(), opening) for sign in (-1, 0, 1)
    )
    if wanted is None:
        return None, None
    moved = max(float(U95.max()) if size is None else abs(size - wanted) for size in (lower, upper))
    return trace.delivered_mm - wanted, float(np.hypot(moved, 2.0 * trace.u_delivered_mm))


def _traced_opening(
    job: Job,
    opening: Opening,
    log: DecisionLog,
    settings: Settings,
    allow_outside: bool,
    progress: Progress | None,
    estimator: Estimator | None,
) -> OpeningDispute:
    rule = rule_of(job, opening, allow_outside=allow_outside)
    # A photo of which nothing is said was taken when the opening was measured.
    early = tuple(p for p in opening.photos if p.when != "after")
    late = tuple(p for p in opening.photos if p.when == "after")
    before, first = _seen(opening, early, progress, estimator)
    after, last = _seen(opening, late, progress, estimator)
    if {p.sha256 for p in first if p.sha256} & {p.sha256 for p in last if p.sha256}:
        after = NotMeasured("same-photo", messages.same_photo())
    usable = rule if isinstance(rule, Rule) else None
    traced = []
    for direction in DIRECTIONS:
        trace = trace_of(opening, direction, usable, _estimate(before), _estimate(after), log.of(opening.label))
        traced.append(trace_direction(trace, opening, usable, settings))
    diagonals = diagonals_of(opening, _estimate(before), _estimate(after))
    if diagonals is not None:
        traced.append(trace_direction(diagonals, opening, None, settings))
    papers = tuple((d.kind, d.file, "" if d.error else _sha256(d.path)) for d in opening.documents)
    photos = (*(("before", p) for p in first), *(("after", p) for p in last))
    return OpeningDispute(opening, rule, tuple(traced), before, after, photos, papers)  # type: ignore[arg-type]


def _seen(
    opening: Opening, photos: tuple[PhotoEntry, ...], progress: Progress | None, estimator: Estimator | None
) -> tuple[Estimate | NotMeasured | None, tuple[PhotoResult, ...]]:
    refused = tuple(PhotoResult(p.file) for p in photos if p.error is not None)
    request = opening_request(replace(opening, photos=photos))
    if not request.photos or opening.shape != "rectangle":
        return None, refused
    found = estimate_photos(request, progress=progress, estimator=estimator)
    names = {p.path: p.file for p in photos}
    by_path = {str(path): name for path, name in names.items()}
    shown = tuple(replace(p, file=by_path.get(p.file, p.file)) for p in found.photos)
    return found.answer, (*shown, *refused)


def _estimate(answer: Estimate | NotMeasured | None) -> Estimate | None:
    return answer if isinstance(answer, Estimate) else None


def _sha256(path: Path) -> str:
    return regular_sha256(path)
