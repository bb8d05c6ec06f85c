"""The cheapest thing to do about an opening that the photo cannot tell: tried on the numbers, cheapest first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from sizing.decision import judge_reading, mixture_of
from sizing.rival_lines import POINTED_AT, best_weight, doubtful_sides
from vision.request import NINE, Candidate, Estimate, Remedy

if TYPE_CHECKING:
    from sizing.jobs.job import Tolerance
    from sizing.judging import ReadingResult

POINT, OFFSET = "point-at-side", "give-edge-offset"
# By what it costs: a look at the picture, a call, a call with a rule in hand, another photo, several.
_COST: Mapping[str, int] = {
    POINT: 1,
    OFFSET: 3,
    "original-photo": 4,
    "measure-bars": 5,
    "measure-page": 5,
    "second-reference": 20,
    "two-sheets": 25,
    "lens-profile": 30,
}


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do about an unproven opening: steps (action, where), the worst reading's U95 before and after, mm.

    `settles` says that with it every reading would be told, its figures standing as they are; `thing` is what the
    photo's reference is called.
    """

    steps: tuple[tuple[str, str], ...]
    name: str
    U95_before_mm: float
    U95_after_mm: float
    settles: bool
    thing: str = "sheet"


def advice(results: Sequence[ReadingResult], answer: Estimate, tolerance: Tolerance) -> Advice | None:
    """Return the cheapest action that would settle every unproven reading; else the one that helps most, or None.

    Parameters
    ----------
    results : readings of the opening as judged.
    answer : what the photos gave; `remedies` holds the covariance after each.
    tolerance : as judged with.
    """
    unproven = [r for r in results if r.judgement.verdict == "unproven"]
    if not unproven:
        return None
    at = [NINE.index(r.reading.name) for r in unproven]
    before = 2 * np.sqrt(np.diag(answer.cov_mm2)[at])
    worst = int(np.argmax(before))
    options = sorted(_options(answer), key=lambda o: sum(_COST[action] for action, _ in o[0]))
    thing = answer.remedies[0].thing if answer.remedies else "sheet"
    best: tuple[float, Advice] | None = None
    for steps, changed in options:
        told = [_told(r, changed, tolerance) for r in unproven]
        after = 2 * np.sqrt(np.diag(changed.cov_mm2)[at])
        found = Advice(steps, unproven[worst].reading.name, float(before[worst]), float(after[worst]), all(told), thing)
        if found.settles:
            return found
        gain = float(sum(told)) + float((1 - after / before).max())
        if best is None or gain > best[0] + 0.05:
            best = gain, found
    return best[1] if best is not None and best[0] > 0.1 else None


def _told(result: ReadingResult, changed: Estimate, tolerance: Tolerance) -> bool:
    name = result.reading.name
    mixture = mixture_of(changed.values_mm, changed.cov_mm2, changed.candidates, name)
    return judge_reading(result.judgement.reading_mm, mixture, *tolerance.of(name)).verdict != "unproven"


def _options(answer: Estimate) -> Iterator[tuple[tuple[tuple[str, str], ...], Estimate]]:
    """Yield what could be done, alone and in pairs, and the estimate after it."""
    single: list[tuple[tuple[str, str], Remedy | None]]
    single = [((POINT, side), None) for side in doubtful_sides(answer.candidates)]
    single += [((r.action, r.where), r) for r in answer.remedies]
    chosen = [(one,) for one in single] + [
        pair
        for pair in combinations(single, 2)
        if pair[0][1] is None or OFFSET in (pair[0][0][0], pair[1][0][0])
        # two remedies of the geometry do not add up, but that of the edges' depth stands for itself
    ]
    for some in chosen:
        changed = answer
        for (action, where), remedy in some:
            if action == POINT:
                changed = replace(changed, candidates=_pointed(changed.candidates, where))
            elif remedy is not None:
                changed = replace(changed, cov_mm2=changed.cov_mm2 + (remedy.cov_mm2 - answer.cov_mm2))
        yield tuple(step for step, _ in some), changed


def _pointed(candidates: Sequence[Candidate], side: str) -> tuple[Candidate, ...]:
    best = max((c for c in candidates if c.side == side), key=lambda c: c.weight)
    others = tuple(c for c in candidates if c.side != side)
    # The traced line, where it stands in no list, has what its rivals leave; without them it is the one pointed at.
    return others if best.weight < best_weight(candidates, side) else (*others, replace(best, weight=POINTED_AT))
