"""Which sides of an opening have a rival line: more doubt than the contract's 1 % for 'another line'."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.mixture import sides_of
from vision.request import SIDES, Candidate, Side

# Weight of a side that a person has pointed at: what is left is for another line. Below the second it is in doubt.
POINTED_AT, DOUBTFUL = 0.985, 0.975


def doubtful_sides(candidates: Sequence[Candidate], name: str | None = None) -> tuple[Side, ...]:
    """Return the sides whose line is in doubt, the most doubtful first; with `name` only those of that measure."""
    weight = {side: _traced(candidates, side) for side in (SIDES if name is None else sides_of(name))}
    return tuple(sorted((s for s, w in weight.items() if w < DOUBTFUL), key=lambda s: weight[s]))


def _traced(candidates: Sequence[Candidate], side: Side) -> float:
    """Return the weight of a side's best line; the traced one holds what the others leave if it is not listed."""
    mine = [c for c in candidates if c.side == side]
    left = [] if any(abs(c.shift_mm) < 1e-9 for c in mine) else [1.0 - sum(c.weight for c in mine)]
    return max([c.weight for c in mine] + left)
