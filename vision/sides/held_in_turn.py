"""The lines of each side weighed anew by their direction: one turned far off the other three is hardly a side.

Corners that lie centimetres off lead a search along other things, and a line found there runs from one of them to
another. How far a side is out of level or plumb within what masons leave says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.request import Array, Side, Wall
from vision.sides.finding import FailedSide, FoundSide
from vision.sides.reweighed import line_shapes, line_taken, whole_weights, with_weights

# Guess: how far a side runs off the other three (their median) at no cost, and the standard deviation beyond. In
# practice opposite sides are 3.8 mm a metre off each other (rms) and sides 9.6 off level at most; own renderings are
# drawn to 24 off the others.
FREE_RAD, BEYOND_RAD = 0.016, 0.006
LEAST_OTHERS = 3


def held_in_turn(found: Mapping[Side, FoundSide | FailedSide], wall: Wall) -> dict[Side, FoundSide | FailedSide]:
    """Return the sides with their lines, and the unseen one, weighed by how far they run off the other sides.

    Notes
    -----
    Bayes: what no line explains runs like the others. So where all lines of a side are turned, 'another line' is
    left with the weight.
    """
    turns = {s: _turn(s, f, line_taken(f)[1]) for s, f in found.items() if isinstance(f, FoundSide)}
    held = dict(found)
    for side, own in found.items():
        others = [t for s, t in turns.items() if s != side]
        if isinstance(own, FailedSide) or len(others) < LEAST_OTHERS:
            continue
        off = np.array([_turn(side, own, shape) for shape in line_shapes(own)]) - float(np.median(others))
        beyond = np.maximum(np.abs(off) - FREE_RAD, 0.0) / BEYOND_RAD
        if (beyond > 0).any():
            before = whole_weights(own)
            after = before * np.exp(-0.5 * beyond**2)
            after /= float(after.sum()) + 1 - min(float(before.sum()), 1.0)
            held[side] = with_weights(side, own, after, own.ghost, wall)
    return held


def _turn(side: Side, found: FoundSide, shape: Array) -> float:
    """Return by how much a line of a side, shape (3,), is turned off level or plumb, rad."""
    d = found.strip.direction + shape[1] / (found.strip.u_mm[-1] / 2) * found.strip.normal
    x, y = (d[0], d[1]) if side in {"head", "sill"} else (d[1], -d[0])
    return float(np.arctan2(y, x))
