"""Which sides of an opening have a rival line: more doubt than the contract's 1 % for 'another line'."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from itertools import combinations, product

from sizing.decision import Judgement
from sizing.mixture import side_terms, sides_of
from vision.request import NINE, SIDES, Candidate, Estimate, Side

# Weight of a side that a person has pointed at: what is left is for another line. Below the second it is in doubt.
POINTED_AT, DOUBTFUL = 0.985, 0.975


def doubtful_sides(candidates: Sequence[Candidate], name: str | None = None) -> tuple[Side, ...]:
    """Return the sides whose line is in doubt, the most doubtful first; with `name` only those of that measure."""
    weight = {side: best_weight(candidates, side) for side in (SIDES if name is None else sides_of(name))}
    return tuple(sorted((s for s, w in weight.items() if w < DOUBTFUL), key=lambda s: weight[s]))


def best_weight(candidates: Sequence[Candidate], side: str) -> float:
    """Return the weight of a side's best line; the traced one holds what the others leave if it is not listed."""
    mine = [c for c in candidates if c.side == side]
    left = [] if any(abs(c.shift_mm) < 1e-9 for c in mine) else [1.0 - sum(c.weight for c in mine)]
    return max([c.weight for c in mine] + left)


def explaining_sides(
    judged: Judgement, name: str, seen: Estimate, tolerance_mm: tuple[float, float], hidden: Collection[str] = ()
) -> tuple[Side, ...]:
    """Return the sides in doubt another line of which, were it the edge, could explain a reading that differs.

    Parameters
    ----------
    judged, name : verdict on the reading, and which of the nine it is; one without a photo's figure gives nothing.
    seen : what the photo says. Lines are its candidates, and where more is left to it than anywhere, 'another line' of
        unknown place, as in `mixture_of`.
    tolerance_mm : under and over.
    hidden : sides that no line shows; theirs may be anywhere about, however the candidates weigh.

    Returns
    -------
    tuple of sides
        As few at once as do; those of all sets of so few.
    """
    if judged.difference_mm is None or judged.U95_mm is None:
        return ()
    i, u = NINE.index(name), judged.U95_mm / 2.0
    doubtful = doubtful_sides(seen.candidates, name)
    sides = [side for side in sides_of(name) if side in doubtful or side in hidden]
    terms = {side: side_terms(side, seen.values_mm, seen.candidates) for side in sides}
    # The traced line itself has neither shift nor spread.
    lines = {
        side: [
            (float(moved[i]), float(more[i]))
            for weight, moved, more in terms[side]
            if moved[i] or (more[i] and (side in hidden or weight >= 1.0 - DOUBTFUL))
        ]
        for side in sides
    }
    for count in range(1, len(sides) + 1):
        found = {
            side
            for some in combinations(sides, count)
            for taken in product(*(lines[side] for side in some))
            if _would_do(judged, sum(shift for shift, _ in taken), math.hypot(u, *(s for _, s in taken)), tolerance_mm)
            for side in some
        }
        if found:
            return tuple(side for side in SIDES if side in found)
    return ()


def _would_do(judged: Judgement, shift_mm: float, u_mm: float, tolerance_mm: tuple[float, float]) -> bool:
    """Return whether a reading lies within the tolerance, give or take U95, of a measure moved by so much."""
    under, over = tolerance_mm
    error = (judged.difference_mm or 0.0) - shift_mm
    return max(-under - error, error - over) <= 2.0 * u_mm
