"""The lines of a side as two ways of reading a step tell them, averaged.

How much is left out about a step before the means of its two faces are taken is a choice: more than the blur, less than
the faces are even. Where two sound choices call different lines the side, at least one is wrong, and neither shows
which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.request import Array
from vision.sides.sill_ghosts import Ghost
from vision.strips.strip_line import MERGE_PX, Line, apart_mm

LEAST_WEIGHT = 0.01  # a line told by the second way only that is less likely is not worth a doubt
SAME_GHOST_PX = 2.5  # unseen arrises nearer than this are one


@dataclass(frozen=True, slots=True, eq=False)
class WeighedLines:
    """Lines (N) of one strip from outside to inside, their weights (N,), and an arris that no line shows."""

    lines: list[Line]
    weights: Array
    ghost: Ghost | None


def averaged(ways: Sequence[WeighedLines], mm_per_px: float) -> WeighedLines:
    """Return the lines of one or two ways of reading with the means of their weights.

    A line that both tell stands as the first tells it.

    Notes
    -----
    Bayesian model averaging with equal weights of the models (Hoeting et al. 1999, Statistical Science 14; from
    memory).
    """
    if len(ways) == 1:
        return ways[0]
    first, second = ways
    lines, weights = list(first.lines), list(first.weights / 2)
    for line, weight in zip(second.lines, second.weights, strict=True):
        near = _nearest(line, first.lines, mm_per_px)
        if near is not None:
            weights[near] += weight / 2
        elif weight >= LEAST_WEIGHT:
            lines.append(line)
            weights.append(weight / 2)
    order = np.argsort([-line.shape[0] for line in lines], kind="stable")
    told = np.array(weights)[order]
    return WeighedLines([lines[i] for i in order], told, _ghost(ways, mm_per_px, float(told.max())))


def without(line: Line, lines: Sequence[Line], mm_per_px: float) -> list[Line]:
    """Return the lines but for those that are the same as this one."""
    return [x for x in lines if _nearest(x, [line], mm_per_px) is None]


def _nearest(line: Line, lines: Sequence[Line], mm_per_px: float) -> int | None:
    """Return which of some lines is the same as this one, or None."""
    apart = [apart_mm(line.shape, x.shape) / mm_per_px for x in lines]
    near = int(np.argmin(apart)) if apart else 0
    return near if apart and apart[near] <= MERGE_PX else None


def _ghost(ways: Sequence[WeighedLines], mm_per_px: float, most: float) -> Ghost | None:
    """Return the likelier of the unseen arrises with the mean of its weights, those of one place added."""
    ghosts = [way.ghost for way in ways if way.ghost is not None]
    if not ghosts:
        return None
    likelier = max(ghosts, key=lambda g: g.weight)
    near = [g for g in ghosts if abs(float(g.shape[0] - likelier.shape[0])) <= SAME_GHOST_PX * mm_per_px]
    weight = sum(g.weight for g in near) / len(ways)
    return replace(likelier, weight=weight, leads=weight > most)
