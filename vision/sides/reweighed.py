"""A side whose lines get other weights than its own strip gave them: what the modules `held*` share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.request import Array, Side, Wall
from vision.sides.finding import FoundSide, placed_side
from vision.sides.sill_ghosts import Ghost
from vision.strips.profiles import Strip

APART_PX = 2.5  # nearer than this to a sill's line an unseen arris is that line
NO_RIVAL = 0.005  # weight of a line not worth a doubt
U_PARALLEL = 0.003  # guess, rad: an unseen arris known at one end, against the line that is seen beside it


def line_taken(found: FoundSide) -> tuple[float, Array]:
    """Return the weight of the line that is taken, seen or not, both its estimates counted, and its shape (3,)."""
    ghost = found.ghost
    if ghost is not None and ghost.leads:
        return ghost.weight, ghost.shape
    return float(found.weights[found.best]) * (2 if found.drifted else 1), found.placed.shape


def ends_in_strip(strip: Strip, shape: Array) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the places (u, v) mm of both ends of a line in its strip."""
    return (0.0, float(shape[0] - shape[1])), (float(strip.u_mm[-1]), float(shape[0] + shape[1]))


def line_shapes(found: FoundSide) -> Array:
    """Return the shapes (N, 3) of the lines, the best as placed, and of the unseen one if there is any."""
    shapes = [found.placed.shape if i == found.best else x.shape for i, x in enumerate(found.lines)]
    return np.array([*shapes, found.ghost.shape] if found.ghost is not None else shapes)


def ends_beyond_mm(found: FoundSide, *, bowed: bool) -> Array:
    """Return the first and second end (N, 2) of each line, and of the unseen one, outward of the line taken."""
    taken, shapes = line_taken(found)[1], line_shapes(found)
    bow = shapes[:, 2] if bowed else 0.0
    at = np.column_stack([shapes[:, 0] - shapes[:, 1] + bow, shapes[:, 0] + shapes[:, 1] + bow])
    return np.asarray(at - np.array([taken[0] - taken[1], taken[0] + taken[1]]))


def lever_mm(ends: Sequence[object | None], length_mm: float) -> float:
    """Return the lever of an unseen arris, as in `Ghost`, that readings at its first and second end tell."""
    first, second = (e is not None for e in ends)
    return 0.0 if first and second else float(U_PARALLEL * length_mm / 2 * (1 if first else -1))


def whole_weights(found: FoundSide) -> Array:
    """Return the weights of the lines (N,), both estimates of one counted, and of the unseen one if there is any."""
    weights = found.weights.copy()
    weights[found.best] *= 2 if found.drifted else 1
    return np.append(weights, found.ghost.weight if found.ghost is not None else [])


def with_weights(side: Side, found: FoundSide, weights: Array, ghost: Ghost | None, wall: Wall) -> FoundSide:
    """Return a side with other weights (N, and one for the unseen line if there is any)."""
    if ghost is not None:
        weights, own = weights[:-1], float(weights[-1])
        ghost = replace(ghost, weight=own, leads=own > float(weights.max()))
    if int(weights.argmax()) != found.best:
        return placed_side(side, found.strip, found.lines, weights, ghost, wall)
    weights = np.where((np.arange(len(weights)) == found.best) & found.drifted, weights / 2, weights)
    return replace(found, weights=weights, ghost=ghost)
