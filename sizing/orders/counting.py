"""Which readings count: those that could change what is ordered, were the opening as the photo sees it.

Contract, *Decision*: a reading counts unless a rule and an order are given and it cannot change the ordered
size (probability below 0.01). Two slips may hide each other, so that neither changes the size alone: a reading
is therefore put right beside every choice of the other doubtful ones put right, and the worst counts.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from sizing.decision import Judgement
from sizing.jobs.job import READINGS, Opening
from sizing.orders.inputs import allowance, ordered_exact, read_mm
from sizing.orders.made_sizes import Draws, chosen_mm, wanted_mm
from sizing.orders.rules import DIRECTIONS, STATIONS, Direction, Rule
from vision.request import Array

# Contract, Decision.
P_CHANGES = 0.01
P_SAME = 0.95

# From stations (N, k) mm to what is ordered (N, m): sizes in mm, limits broken as 0 or 1; NaN where unknown.
Outcome = Callable[[Array], Array]
_DIAGONALS = ("diagonal_down", "diagonal_up")
_TAPER: Mapping[Direction, str] = {"width": "taper_width", "height": "taper_height"}


@dataclass(frozen=True, slots=True, eq=False)
class Counting:
    """Which readings count for the order; those without an entry do.

    `chances`: that a reading which the photo does not support would change it; `same`: that an absent one
    would not.
    """

    chances: Mapping[str, float] = field(default_factory=dict)
    same: Mapping[str, float] = field(default_factory=dict)

    @property
    def counts(self) -> dict[str, bool]:
        """Return False for the readings that cannot change the order (contract, *Decision*)."""
        return {name: chance >= P_CHANGES for name, chance in self.chances.items()}

    @property
    def harmless(self) -> tuple[str, ...]:
        """Return the absent readings that do not matter to the order."""
        return tuple(name for name, same in self.same.items() if same >= P_SAME)


def which_count(rule: Rule, opening: Opening, drawn: Draws, judgements: Mapping[str, Judgement]) -> Counting:
    """Return which readings can change what is ordered, were the opening as the photo sees it.

    Parameters
    ----------
    rule : the opening's.
    opening : its readings, clearances, and the order; a direction that is not ordered has all its readings count.
    drawn : openings as the photo sees them.
    judgements : by name; those that do not agree are put right.

    Notes
    -----
    What is ordered is the made size and whether a limit of the rule is broken: a reading that hides a taper
    counts too.
    """
    read = read_mm(opening)
    groups: list[tuple[tuple[str, ...], Outcome]] = [
        (STATIONS[d], _outcome(rule, d, float(allowance(rule, d, opening))))
        for d in DIRECTIONS
        if ordered_exact(opening, d)
    ]
    if len(groups) == len(DIRECTIONS):
        groups.append((_DIAGONALS, _square_outcome(rule)))
    chances: dict[str, float] = {}
    same: dict[str, float] = {}
    for names, outcome in groups:
        at = [READINGS.index(name) for name in names]
        doubtful = [i for i, n in enumerate(names) if n in judgements and judgements[n].verdict != "agrees"]
        values = drawn.values_mm[:, at]
        found = p_changes(outcome, read[at], values, drawn.weights, doubtful)
        chances |= {names[i]: float(found[i]) for i in doubtful}
        if names != _DIAGONALS:
            same |= {names[i]: p for i, p in p_same_with(outcome, read[at], values, drawn.weights).items()}
    return Counting(chances, same)


def p_changes(outcome: Outcome, read_mm: Array, drawn_mm: Array, weights: Array, doubtful: Collection[int]) -> Array:
    """Return for each reading (k,) the probability that putting it right would change what is ordered.

    Parameters
    ----------
    outcome : what is ordered, from stations.
    read_mm : (k,) the readings, NaN where there is none.
    drawn_mm : (N, k) the stations as the photo sees them.
    weights : (N,) of the draws, sum 1.
    doubtful : readings that the photo does not support; only these are put right, singly and together.
    """
    chances = np.zeros(read_mm.size)
    ordered = {
        frozenset(right): outcome(_mixed(read_mm, drawn_mm, right))
        for count in range(len(doubtful) + 1)
        for right in combinations(doubtful, count)
    }
    for right, without in ordered.items():
        for i in set(doubtful) - right:
            chances[i] = max(chances[i], _differing(without, ordered[right | {i}], weights))
    return chances


def p_same_with(outcome: Outcome, read_mm: Array, drawn_mm: Array, weights: Array) -> Mapping[int, float]:
    """Return for each absent reading the probability that what is ordered is the same with it as without."""
    absent = np.flatnonzero(~np.isfinite(read_mm)).tolist()
    without = outcome(_mixed(read_mm, drawn_mm, ()))
    return {i: 1.0 - _differing(without, outcome(_mixed(read_mm, drawn_mm, (i,))), weights) for i in absent}


def _mixed(read_mm: Array, drawn_mm: Array, right: Collection[int]) -> Array:
    """Return the readings with these put right, (N, k), or (1, k) where none is."""
    # Station by station in memory, as the draws are.
    stations = np.repeat(read_mm[:, None], drawn_mm.shape[0] if right else 1, axis=1).T
    for j in right:
        stations[:, j] = drawn_mm[:, j]
    return stations


def _differing(a: Array, b: Array, weights: Array) -> float:
    """Return the weight of the draws whose outcomes differ; two unknowns are alike."""
    apart = np.zeros(1, dtype=np.bool_)
    # 0.01 mm is what a result is good to (contract, Commands).
    for mine, other in zip(np.nan_to_num(a, nan=-1.0).T, np.nan_to_num(b, nan=-1.0).T, strict=True):
        apart = apart | (np.abs(mine - other) >= 0.01)
    return float(weights.sum() * apart[0]) if apart.size == 1 else float(weights @ apart)


def _outcome(rule: Rule, direction: Direction, allowance_mm: float) -> Outcome:
    limit, side = rule.limits.get(_TAPER[direction]), rule.of(direction)

    def ordered(stations: Array) -> Array:
        sizes = chosen_mm(side.made, wanted_mm(side, stations, allowance_mm))
        taper = np.abs(stations[:, 0] - stations[:, 2])
        broken = taper > float(limit) + 1e-6 if limit is not None else np.zeros(taper.shape, bool)
        return np.stack([sizes, broken]).T  # column by column in memory

    return ordered


def _square_outcome(rule: Rule) -> Outcome:
    limit = rule.limits.get("out_of_square")

    def ordered(diagonals: Array) -> Array:
        off = np.abs(diagonals[:, 0] - diagonals[:, 1])
        return (off > float(limit) + 1e-6 if limit is not None else np.zeros(off.shape, bool))[:, None].astype(float)

    return ordered
