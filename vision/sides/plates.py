"""The edge of a steel lintel over a head: its top is the outermost line, the side is the line below."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from vision.request import Array
from vision.sides.line_search import BESIDE_PX, BLOCKS, FREE_PX
from vision.strips.strip_line import Line

# How often the outer of two lines over a head is the top of a steel lintel's edge. The edge stands in the open light,
# what is below it in the reveal's shade: where the light falls again to SHADED or less it was the lintel in 41 of 41
# heads (own renderings with hard sides, practice), and none of some 460 heads without a lintel looked like that. By
# Bayes with one lintel in five heads and the 95 % limits of both shares: 0.97. Else a guess.
PLATE_WEIGHT, PLATE_SHADED_WEIGHT, SHADED = 0.15, 0.97, 0.6
PLATE_MM = (4.0, 14.0)  # height of a steel lintel's edge
# Dark steel over a light soffit differs less: a line of its own (contrast, t, and where no clearer line is near also
# peak at least these; a gradient across the soffit has them not) below which the light falls to DIMMER was a lintel's
# in 54 of 54 heads (280 own hard renderings, practice), the five of them between SHADED and DIMMER too, and none of 345
# plain heads showed one. So sure a line tells a narrower edge, too: blur brings both sides of 5 mm together.
DIMMER, OWN_CONTRAST, OWN_PEAK, OWN_T, OWN_MM = 0.8, 0.03, 0.25, 25.0, 3.5
# Blur leaves a shoulder beside a step. Against what a Gaussian of the step's own breadth leaves there the second edge
# of 13 own renderings with lintels stood out by 6.9 times and more (blurred by 2.5 px by 1.8 and more), shoulders of
# blurred heads without a lintel by 1.0 at most.
OVER_SKIRT = 1.5
# Of a side that shows the same step all along, noise hides it in some of the pieces: a piece counts from 0.35 of the
# step on. Less than WHOLE of those that a Gaussian leaves is a side in part.
WHOLE, COUNTS_FROM = 0.95, 0.35
CLEAR = 3.0  # step of one piece over its noise, beyond which none is hidden


def without_plate(lines: list[Line], weights: Array, mm: float, black: float = 0.0) -> Array:
    """Return the weights (N,) of a head, outermost line first, whose likeliest may be the top of a lintel's edge.

    So it may where a second line just below it darkens again. `mm`: mm to a pixel across the side; `black`: noise of
    black, standard deviation in linear light. What is darker than that may be of any darkness, so that the two answers
    then count alike.
    """
    best = int(weights.argmax())
    for i in range(best + 1, len(lines)):
        band = lines[best].shape[0] - lines[i].shape[0]
        near = band <= FREE_PX * mm
        own = _own(lines[i], near=near)
        if not (OWN_MM if own else PLATE_MM[0]) < band < PLATE_MM[1] or lines[i].coverage <= _least_coverage(lines[i]):
            continue
        # nearer lines are listed only where their narrow step has a maximum of its own
        if not near and lines[i].contrast < OVER_SKIRT * _skirt(lines[best], band / mm):
            continue
        fall = float((lines[i].inner ** 2).sum()) / max(float((lines[i].outer ** 2).sum()), 1e-9)
        darker = min(float(lines[best].step.mean()), float(lines[i].step.mean()))
        shaded = fall < (DIMMER if own else SHADED)
        share = PLATE_SHADED_WEIGHT if shaded else PLATE_WEIGHT if darker > 0.08 else 0.0
        if float((lines[i].inner ** 2).mean()) < black:
            share = (share + PLATE_SHADED_WEIGHT) / 2
        if share:
            moved = weights.copy()
            moved[i] += share * weights[best]
            moved[best] *= 1 - share
            return moved
    return weights


def _own(line: Line, *, near: bool) -> bool:
    """Return whether a line is one of its own; one `near` a clearer one lies on its flank and can have no peak."""
    return line.contrast >= OWN_CONTRAST and line.t_value >= OWN_T and (near or line.peak >= OWN_PEAK)


def _skirt(line: Line, away_px: float) -> float:
    """Return the step that a line's own blur leaves so far beside it: a Gaussian as broad as `Line.peak` tells."""
    beside = float(np.clip(1 - line.peak, 1e-6, 0.99))
    return line.contrast * float(beside ** ((away_px / BESIDE_PX) ** 2))


def _least_coverage(line: Line) -> float:
    """Return the coverage that a whole side has at least, by the noise of its pieces (binomial, two sd)."""
    clear = min(line.t_value / float(np.sqrt(BLOCKS)), CLEAR)
    seen = float(ndtr((1 - COUNTS_FROM) * clear) / ndtr((1 - COUNTS_FROM) * CLEAR))
    return WHOLE * seen - 2 * float(np.sqrt(seen * (1 - seen) / BLOCKS))
