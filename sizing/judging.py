"""The readings of one opening put before the photo: judged, explained, and the opening's verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sizing.crosscheck.consistency import CrossCheck, inconsistent_group
from sizing.crosscheck.snooping import ReadingTest
from sizing.decision import (
    Judgement,
    OpeningVerdict,
    judge_measured,
    judge_opening,
    judge_without_photo,
    missing_readings,
    mixture_of,
    verdict_by_one_line,
)
from sizing.explaining.explanations import explain
from sizing.explaining.weighed import Explanation
from sizing.jobs.job import Job, Opening, Reading, Tolerance
from sizing.orders.order import Order
from sizing.orders.ordering import RuleFound, order_of, tolerance_of
from sizing.rival_lines import doubtful_sides
from sizing.tape import u_reading_mm
from vision.request import Estimate, NotMeasured, Side


@dataclass(frozen=True, slots=True, eq=False)
class ReadingResult:
    """One reading with the photo's verdict on it; `holds` when it stops the order, `likely` ranked causes.

    `deciding`: sides with a rival line; were the traced ones beyond doubt the verdict would be another: a person must
    point. `test` is the reading's w-test among all readings and measures, None where it took no part. `p_changes`:
    probability that putting it right would change the order, None where that was not asked (no rule or order, or the
    reading agrees).
    """

    reading: Reading
    judgement: Judgement
    holds: bool
    likely: tuple[Explanation, ...] = ()
    deciding: tuple[Side, ...] = ()
    test: ReadingTest | None = None
    p_changes: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """The readings of one opening judged, its verdict, its order if any, and the tolerance in force."""

    readings: tuple[ReadingResult, ...]
    verdict: OpeningVerdict
    order: Order | None
    tolerance: Tolerance


def judge_readings(
    job: Job, opening: Opening, answer: Estimate | NotMeasured, check: CrossCheck | None, rule: RuleFound = None
) -> Judged:
    """Return each reading judged, in the order of the form, the verdict of the opening, and its order.

    Parameters
    ----------
    job : Job
        For the tolerance and the units.
    opening : Opening
        Its readings in force.
    answer : Estimate or NotMeasured
        What the photo said.
    check : CrossCheck or None
        Tests of all readings together (`consistency.cross_check`).
    rule : Rule, InputError or None
        The sizing rule that the opening names, or why it cannot be used.
    """
    tolerance = tolerance_of(job, rule)
    readings = {reading.name: reading for reading in opening.readings}
    measured = answer if isinstance(answer, Estimate) else None
    judgements = _judged_by_photo(readings, opening, measured, tolerance)
    counting, order = order_of(opening, rule, measured, judgements, tolerance)
    counts = counting.counts
    verdict = judge_opening(
        judgements,
        counts=counts,
        missing=missing_readings(judgements, counting.harmless),
        order_problems=() if order is None else tuple(problem.code for problem in order.problems),
        has_photo=measured is not None,
        inconsistent=inconsistent_group(check),
    )
    likely = explain(opening, judgements, measured)
    results = tuple(
        ReadingResult(
            reading,
            judgements[name],
            (judgements[name].verdict == "differs" and counts.get(name, True))
            or (verdict.why == "readings-inconsistent" and name in verdict.names),
            likely.get(name, ()),
            _deciding(judgements[name], measured, tolerance, name),
            None if check is None else check.snooped.tests.get(name),
            counting.chances.get(name),
        )
        for name, reading in readings.items()
    )
    return Judged(results, verdict, order, tolerance)


def _judged_by_photo(
    readings: Mapping[str, Reading], opening: Opening, measured: Estimate | None, tolerance: Tolerance
) -> dict[str, Judgement]:
    lengths = [reading.length.mm for reading in readings.values()]
    if measured is None:
        return dict(zip(readings, map(judge_without_photo, lengths), strict=True))
    mixtures = [mixture_of(measured.values_mm, measured.cov_mm2, measured.candidates, name) for name in readings]
    tolerances = [tolerance.of(name) for name in readings]
    u_tapes = [_u_tape(reading, opening) for reading in readings.values()]
    return dict(zip(readings, judge_measured(lengths, mixtures, tolerances, u_tapes), strict=True))


def _deciding(judged: Judgement, measured: Estimate | None, tolerance: Tolerance, name: str) -> tuple[Side, ...]:
    if measured is None or judged.photo_mm is None or judged.U95_mm is None:
        return ()
    alone = verdict_by_one_line(judged.reading_mm, judged.photo_mm, judged.U95_mm / 2.0, *tolerance.of(name))
    return () if alone == judged.verdict else doubtful_sides(measured.candidates, name)


def _u_tape(reading: Reading, opening: Opening) -> float:
    return u_reading_mm(reading.length.mm, reading.tape, reading.graduation_mm, opening.wall)
