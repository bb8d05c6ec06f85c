"""Which readings count: those that could change what is ordered, were the opening as the photo sees it.

Contract, *Decision*: a reading counts unless a rule and an order are given and it cannot change the ordered
size (probability below 0.01). Two slips may hide each other, so that neither changes the size alone: a reading
is therefore put right beside every choice of the other doubtful ones put right, and the worst counts.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from itertools import combinations

import numpy as np

from vision.request import Array

# Contract, Decision.
P_CHANGES = 0.01
P_SAME = 0.95

# From stations (N, k) mm to what is ordered (N, m): sizes in mm, limits broken as 0 or 1; NaN where unknown.
Outcome = Callable[[Array], Array]


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
    for i in doubtful:
        others = [j for j in doubtful if j != i]
        for count in range(len(others) + 1):
            for right in combinations(others, count):
                without = _mixed(read_mm, drawn_mm, right)
                with_it = _mixed(read_mm, drawn_mm, (*right, i))
                chances[i] = max(chances[i], _differing(outcome(without), outcome(with_it), weights))
    return chances


def p_same_with(outcome: Outcome, read_mm: Array, drawn_mm: Array, weights: Array) -> Mapping[int, float]:
    """Return for each absent reading the probability that what is ordered is the same with it as without."""
    without = outcome(_mixed(read_mm, drawn_mm, ()))
    return {
        int(i): 1.0 - _differing(without, outcome(_mixed(read_mm, drawn_mm, (int(i),))), weights)
        for i in np.flatnonzero(~np.isfinite(read_mm))
    }


def _mixed(read_mm: Array, drawn_mm: Array, right: Collection[int]) -> Array:
    stations = np.tile(read_mm, (drawn_mm.shape[0], 1))
    for j in right:
        stations[:, j] = drawn_mm[:, j]
    return stations


def _differing(a: Array, b: Array, weights: Array) -> float:
    # Two unknowns are alike; 0.01 mm is what a result is good to (contract, Commands).
    alike = (np.abs(a - b) < 0.01) | (np.isnan(a) & np.isnan(b))
    return float(weights[~alike.all(axis=1)].sum())
