"""Explanations that need the whole job: readings that belong to another of its openings."""

from __future__ import annotations

from dataclasses import replace

from sizing.explaining.explanations import explain
from sizing.explaining.hypotheses import Other
from sizing.outcome import OpeningResult
from vision.request import Estimate


def explained_among(results: tuple[OpeningResult, ...]) -> tuple[OpeningResult, ...]:
    """Return the openings of one job with their readings explained among them; no verdict changes.

    Only measures of photos stand for another opening: its readings may be the ones that were mixed up.
    """
    seen = [
        Other(r.opening.label, r.answer.values_mm, r.answer.cov_mm2) if isinstance(r.answer, Estimate) else None
        for r in results
    ]
    return tuple(
        _explained(result, [o for k, o in enumerate(seen) if o is not None and k != i])
        for i, result in enumerate(results)
    )


def _explained(result: OpeningResult, others: list[Other]) -> OpeningResult:
    if not others or not isinstance(result.answer, Estimate):
        return result
    judgements = {r.reading.name: r.judgement for r in result.readings}
    likely = explain(result.opening, judgements, result.answer, others)
    if not likely:
        return result
    return replace(
        result, readings=tuple(replace(r, likely=likely.get(r.reading.name, r.likely)) for r in result.readings)
    )
