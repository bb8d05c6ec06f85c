"""The lines of each side weighed anew by the other sides: by where those end, and by the one depth of the frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.faces.reveal import SHARED
from vision.request import ANOTHER_LINE, SIDES, Array, Side, Wall
from vision.sides.finding import FailedSide, FoundSide
from vision.sides.reweighed import (
    APART_PX,
    NO_RIVAL,
    ends_beyond_mm,
    ends_in_strip,
    lever_mm,
    line_shapes,
    line_taken,
    whole_weights,
    with_weights,
)
from vision.sides.shared_depth import TELLING_MM, log_factors
from vision.sides.side_ends import (
    ASTRAY,
    ASTRAY_IN_FRONT,
    JAMB_END_AT_SILL_MM,
    JAMB_END_MM,
    SILL_END_MM,
    SideEnd,
    side_end,
    weighed_by_ends,
)
from vision.sides.sill_ghosts import Ghost
from vision.stations import Line

SURE_HEAD, SAME_DEPTH_MM = 0.9, 3.0  # weight of a line that may tell of its neighbours; depths that count as one
SURE_SIDE = 0.975  # a side in no doubt
# Guess: how often jambs end at the frame's foot instead of the sill's arris, where their reveal is seen too narrow (own
# hard renderings 4 of 130), and where that lies outward of the arris, mm.
AT_FOOT, NOWHERE = (0.1, -15.0, 0.0), (0.0, 0.0, 1.0)
INSIDE = 2.0  # scales of a reading
U_FALL = 0.05  # guess: fall of a projecting sill's top, by its projection
# How often no line shows an arris, and where it then lies outward of the line taken. Jambs: own hard renderings 9 of
# 320, plain ones 1 of 416, practice 2 of 76; sills of one tone: a guess from the hard ones.
UNSEEN: Mapping[Side, tuple[float, tuple[float, float]]] = {
    "left": (0.02, (1.0, 12.0)),
    "right": (0.02, (1.0, 12.0)),
    "sill": (0.05, (1.0, 20.0)),
}
# Guess: a line on straight trim that its own pieces do not follow is no line (one of one); on bricks it mostly is.
UNSEEN_IF_DRIFTED = 0.3


def held_against_ends(
    rgb: NDArray[np.uint8], camera: Camera, found: Mapping[Side, FoundSide | FailedSide], wall: Wall, sill_at: str
) -> dict[Side, FoundSide | FailedSide]:
    """Return the sides with the lines of each weighed anew by where its neighbours end, as far as those tell.

    The jambs are weighed by the ends of head and sill, the sill by the ends of the jambs. `rgb` is (H, W, 3) uint8.
    """
    after = dict(found)
    jambs: tuple[Side, ...] = ("left", "right")
    by_head = dict(found)  # a jamb that the sill's end made sure of says nothing new of the sill
    for side in jambs:
        head = _end(rgb, camera, ("head", after["head"]), (side, after[side]), JAMB_END_MM.get(wall))
        sill = _end(rgb, camera, ("sill", after["sill"]), (side, after[side]), JAMB_END_AT_SILL_MM.get(wall))
        # a reading inside of the line tells nothing: lit tops of reveals
        pair = [e if e is not None and e.offset_mm > -INSIDE * e.scale_mm else None for e in (head, sill)]
        if pair[0] is not None:
            by_head[side] = _weighed_by_ends(side, found[side], (pair[0], None), wall)
        if any(e is not None for e in pair):
            after[side] = _weighed_by_ends(side, found[side], pair, wall)
    if sill_at != "front":
        return after
    ends = [_end(rgb, camera, (s, by_head[s]), ("sill", after["sill"]), SILL_END_MM.get(wall)) for s in jambs]
    if any(e is not None for e in ends):
        after["sill"] = _weighed_by_ends("sill", after["sill"], ends, wall)
    return after


def _end(
    rgb: NDArray[np.uint8],
    camera: Camera,
    known: tuple[Side, FoundSide | FailedSide],
    other: tuple[Side, FoundSide | FailedSide],
    scale_mm: float | None,
) -> SideEnd | None:
    """Return where a side in no doubt ends at the other, mm outward of that one's line, if that tells."""
    (name, ends), (next_to, meets) = known, other
    if isinstance(ends, FailedSide) or isinstance(meets, FailedSide) or scale_mm is None:
        return None
    out = ends.strip.depth_mm - meets.strip.depth_mm  # a sill may project: its top falls from there
    if line_taken(ends)[0] < SURE_HEAD or (next_to != "sill" and abs(out) > SAME_DEPTH_MM):
        return None
    (a, along), (b, across) = _straight(ends), _straight(meets)
    corner = a + along * np.linalg.solve(np.column_stack([along, -across]), b - a)[0]
    scale, far = float(np.hypot(scale_mm, U_FALL * out)), next_to in {"right", "sill"}
    astray = ASTRAY if abs(out) < SAME_DEPTH_MM else ASTRAY_IN_FRONT
    return side_end(rgb, camera, corner, along, name, ends.strip.depth_mm, scale, far=far, astray=astray)


def _weighed_by_ends(
    side: Side, found: FoundSide | FailedSide, ends: Sequence[SideEnd | None], wall: Wall
) -> FoundSide | FailedSide:
    """Return a side with its lines weighed by readings at its first and second end."""
    if isinstance(found, FailedSide):
        return found
    # trim is straight: a drift is a change of line
    taken, at = line_taken(found)[1], ends_beyond_mm(found, bowed=wall in {"masonry", "render"})
    share, (near, far) = UNSEEN[side]
    window = (max(near, APART_PX * found.strip.mm_per_px) if side == "sill" else near, far)
    if found.drifted and wall != "masonry":
        share = UNSEEN_IF_DRIFTED
    hidden = share if found.ghost is None else 0.0
    weights, unseen = weighed_by_ends(
        at, whole_weights(found), ends, hidden, window, AT_FOOT if side == "sill" else NOWHERE
    )
    total = float(weights.sum()) + unseen.probability
    if not total > 0:  # no line was likely at all, as with corners far off: there is nothing to weigh
        return found
    keep = min(1.0, (1 - ANOTHER_LINE) / total)
    weights, p = weights * keep, unseen.probability * keep
    if found.ghost is not None:
        return with_weights(side, found, weights, found.ghost, wall)
    lever = lever_mm(ends, float(found.strip.u_mm[-1]))
    shape = np.array([taken[0] + unseen.outward_mm, taken[1], 0.0])
    ghost = Ghost(shape, p, unseen.u_mm, False, lever) if p > NO_RIVAL else None
    return with_weights(side, found, np.append(weights, p) if ghost is not None else weights, ghost, wall)


def held_against_depth(
    rgb: NDArray[np.uint8],
    camera: Camera,
    found: Mapping[Side, FoundSide | FailedSide],
    wall: Wall,
) -> dict[Side, FoundSide | FailedSide]:
    """Return the sides with rival lines of head and jambs weighed by the frame's depth behind them, if that tells."""
    held = dict(found)
    sides = {s: f for s, f in found.items() if isinstance(f, FoundSide)}
    best = {s: line_taken(f)[0] for s, f in sides.items()}
    sure = [s for s in SHARED if s in sides and best[s] >= SURE_SIDE]
    rivals = {s: _rivals_mm(sides[s]) for s in SHARED if s in sides and best[s] < SURE_SIDE}
    rivals = {s: r for s, r in rivals.items() if (np.abs(r) > TELLING_MM).any()}
    if len(sides) < len(SIDES) or not sure or not rivals:
        return held
    lines = {s: _wall_line(f) for s, f in sides.items()}
    z_mm = {s: f.strip.depth_mm for s, f in sides.items()}
    told = log_factors(rgb, camera, lines, z_mm, rivals, sure, wall)
    for side, factors in told.items():
        before = whole_weights(sides[side])
        after = before * np.exp(factors)
        held[side] = with_weights(side, sides[side], after * before.sum() / after.sum(), sides[side].ghost, wall)
    return held


def _rivals_mm(found: FoundSide) -> Array:
    """Return how far outward of the line taken the lines (N,) and, if any, the unseen one lie."""
    shifts = line_shapes(found)[:, 0] - line_taken(found)[1][0]
    weights = np.append(found.weights, found.ghost.weight if found.ghost is not None else [])
    return np.where(weights < NO_RIVAL, 0.0, shifts)


def _wall_line(found: FoundSide) -> Line:
    """Return the line that is taken, as a line of the wall from end to end of its strip."""
    strip, shape = found.strip, line_taken(found)[1]
    a, b = (strip.origin_mm + u * strip.direction + v * strip.normal for u, v in ends_in_strip(strip, shape))
    length = float(np.hypot(*(b - a)))
    return Line(a, (b - a) / length, strip.normal, length)


def _straight(found: FoundSide) -> tuple[Array, Array]:
    """Return a point (2,) at the middle and the unit direction (2,) of the line that is taken, mm."""
    strip, half, shape = found.strip, found.strip.u_mm[-1] / 2, line_taken(found)[1]
    direction = strip.direction + shape[1] / half * strip.normal
    middle = strip.origin_mm + half * strip.direction + shape[0] * strip.normal
    return middle, direction / np.hypot(*direction)
