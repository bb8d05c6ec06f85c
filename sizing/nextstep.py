"""What to do next with an opening that was checked, said alike by terminal, result and desk."""

from __future__ import annotations

from sizing.messages import verdicts as messages
from sizing.outcome import OpeningResult

# With these the photo's lines may be the wrong ones.
_DOUBTFUL_EDGE = frozenset({"edge-ambiguous", "edge-hidden"})


def step_of(result: OpeningResult) -> str:
    """Return what to do next, nothing where the order may go."""
    warned = {w.code for w in result.warnings} | {
        w.code for p in result.photos if p.report is not None for w in p.report.warnings
    }
    verdict = result.verdict
    doubtful = any(r.edge_decides for r in result.readings) or (
        verdict.verdict == "hold" and bool(warned & _DOUBTFUL_EDGE)
    )
    return messages.next_step(verdict.verdict, verdict.why, verdict.names, doubtful=doubtful)
