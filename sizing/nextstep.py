"""What to do next with an opening that was checked, said alike by terminal, result and desk."""

from __future__ import annotations

from sizing.messages import verdicts as messages
from sizing.mixture import sides_of
from sizing.outcome import OpeningResult
from sizing.remeasure import again
from sizing.rival_lines import doubtful_sides
from vision.request import SIDES, Estimate

# With these the photo's lines may be the wrong ones.
_DOUBTFUL_EDGE = frozenset({"edge-ambiguous", "edge-hidden"})


def step_of(result: OpeningResult) -> str:
    """Return what to do next, nothing where the order may go."""
    verdict = result.verdict
    to_take = tuple(a.name for a in again(result.readings))
    suspect = [r.judgement for r in result.readings if r.judgement.verdict == "unproven"]
    seen = [p.report for p in result.photos if p.report is not None]
    return messages.next_step(
        verdict.verdict,
        verdict.why,
        verdict.names if verdict.why == "order-problem" or not to_take else to_take,
        doubtful=_doubtful(result),
        match=bool(suspect) and all(j.e_n is not None and j.e_n <= 1.0 for j in suspect),
        sheets=max((len(report.references_px) for report in seen), default=0),
        advised=result.advice is not None,
    )


def _doubtful(result: OpeningResult) -> tuple[str, ...]:
    """Return the sides on whose line the verdict hangs, or may hang where readings differ: in order of `SIDES`."""
    found: set[str] = {side for r in result.readings for side in r.deciding}
    if result.verdict.why == "reading-differs":
        touched = {side for name in result.verdict.names for side in sides_of(name)}
        warned = [w for p in result.photos if p.report is not None for w in p.report.warnings]
        found |= {w.side for w in warned if w.code in _DOUBTFUL_EDGE and w.side in touched}
        if isinstance(result.answer, Estimate):
            found |= touched.intersection(doubtful_sides(result.answer.candidates))
    return tuple(side for side in SIDES if side in found)
