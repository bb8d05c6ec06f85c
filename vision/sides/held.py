"""Sides held against each other: a jamb against where the head ends, rival lines against the frame's one depth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.faces.reveal import SHARED
from vision.request import SIDES, Array, Side, Wall
from vision.sides.finding import FailedSide, FoundSide, placed_side
from vision.sides.jamb_ends import head_end, unseen_share
from vision.sides.profiles import Strip
from vision.sides.shared_depth import TELLING_MM, log_factors
from vision.sides.sill_ghosts import Ghost
from vision.stations import Line

SURE_HEAD, SAME_DEPTH_MM = 0.9, 3.0
SURE_SIDE, NO_RIVAL = 0.975, 0.005  # a side in no doubt; a line not worth a doubt
U_PARALLEL = 0.003  # guess, rad: an unseen arris against the line that is seen beside it


def held_against_head(
    rgb: NDArray[np.uint8], camera: Camera, side: Side, jamb: FoundSide, head: FoundSide, wall: Wall
) -> FoundSide:
    """Return a jamb with its lines weighed by where the head ends, or as it is where that does not tell."""
    if head.weights[head.best] < SURE_HEAD or abs(head.strip.depth_mm - jamb.strip.depth_mm) > SAME_DEPTH_MM:
        return jamb
    half = jamb.strip.u_mm[-1] / 2
    (a, along), (b, down) = _straight(head), _straight(jamb)
    corner = a + along * np.linalg.solve(np.column_stack([along, -down]), b - a)[0]
    end = head_end(rgb, camera, corner, along, side, head.strip.depth_mm, wall)
    if end is None:
        return jamb
    bow = jamb.placed.shape[2] if wall == "render" else 0.0  # trim is straight: there a drift is a change of line
    off = end.offset_mm - float(bow)
    share = unseen_share(float(jamb.weights[jamb.best]), off, end)
    if share == 0:
        return jamb
    shape = np.array([jamb.placed.shape[0] + off, jamb.placed.shape[1], 0.0])
    weights, weight = jamb.weights * (1 - share), share * float(jamb.weights.sum())
    leads = weight > float(weights.max())
    return replace(jamb, weights=weights, ghost=Ghost(shape, weight, end.u_mm, leads, U_PARALLEL * half))


def held_against_depth(
    rgb: NDArray[np.uint8],
    camera: Camera,
    found: dict[Side, FoundSide | FailedSide],
    depth_mm: Mapping[Side, float],
    wall: Wall,
) -> dict[Side, FoundSide | FailedSide]:
    """Return the sides with rival lines of head and jambs weighed by the frame's depth behind them, if that tells."""
    sides = {s: f for s, f in found.items() if isinstance(f, FoundSide)}
    best = {s: _taken(f)[0] for s, f in sides.items()}
    sure = [s for s in SHARED if s in sides and best[s] >= SURE_SIDE]
    rivals = {s: _rivals_mm(sides[s]) for s in SHARED if s in sides and best[s] < SURE_SIDE}
    rivals = {s: r for s, r in rivals.items() if (np.abs(r) > TELLING_MM).any()}
    if len(sides) < len(SIDES) or not sure or not rivals:
        return found
    lines = {s: _wall_line(f) for s, f in sides.items()}
    z_mm = {s: f.strip.depth_mm for s, f in sides.items()}
    told = log_factors(rgb, camera, lines, z_mm, rivals, sure, wall)
    return {**found, **{s: _reweighed(s, sides[s], np.exp(k), wall) for s, k in told.items()}}


def _taken(found: FoundSide) -> tuple[float, Array]:
    """Return the weight of the line that is taken, seen or not, both its estimates counted, and its shape (3,)."""
    ghost = found.ghost
    if ghost is not None and ghost.leads:
        return ghost.weight, ghost.shape
    return float(found.weights[found.best]) * (2 if found.drifted else 1), found.placed.shape


def _rivals_mm(found: FoundSide) -> Array:
    """Return how far outward of the line taken the lines (N,) and, if any, the unseen one lie."""
    shapes = [x.shape for x in found.lines] + ([found.ghost.shape] if found.ghost is not None else [])
    shifts = np.array([s[0] for s in shapes]) - _taken(found)[1][0]
    weights = np.append(found.weights, found.ghost.weight if found.ghost is not None else [])
    return np.where(weights < NO_RIVAL, 0.0, shifts)


def _wall_line(found: FoundSide) -> Line:
    """Return the line that is taken, as a line of the wall from end to end of its strip."""
    strip, shape = found.strip, _taken(found)[1]
    a, b = (strip.origin_mm + u * strip.direction + v * strip.normal for u, v in _ends(strip, shape))
    length = float(np.hypot(*(b - a)))
    return Line(a, (b - a) / length, strip.normal, length)


def _ends(strip: Strip, shape: Array) -> tuple[tuple[float, float], tuple[float, float]]:
    return (0.0, float(shape[0] - shape[1])), (float(strip.u_mm[-1]), float(shape[0] + shape[1]))


def _reweighed(side: Side, found: FoundSide, factors: Array, wall: Wall) -> FoundSide | FailedSide:
    """Return a side with its weights times factors (N, and one for the unseen line), their sum as before."""
    weights, ghost = found.weights.copy(), found.ghost
    weights[found.best] *= 2 if found.drifted else 1
    whole = np.append(weights, ghost.weight if ghost is not None else [])
    after = whole * factors
    after *= whole.sum() / after.sum()
    if ghost is not None:
        after, own = after[:-1], float(after[-1])
        ghost = replace(ghost, weight=own, leads=own > after.max())
    return placed_side(side, found.strip, found.lines, after, ghost, wall)


def _straight(found: FoundSide) -> tuple[Array, Array]:
    """Return a point (2,) at the middle and the unit direction (2,) of a placed line, mm."""
    strip, half = found.strip, found.strip.u_mm[-1] / 2
    direction = strip.direction + found.placed.shape[1] / half * strip.normal
    return strip.origin_mm + half * strip.direction + found.placed.shape[0] * strip.normal, direction / np.hypot(
        *direction
    )
