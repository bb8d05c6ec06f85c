"""The lines of a projecting sill weighed anew by where the outlines of its ends turn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.request import ANOTHER_LINE, Array, Side, Wall
from vision.sides.finding import FailedSide, FoundSide
from vision.sides.reweighed import (
    APART_PX,
    NO_RIVAL,
    ends_beyond_mm,
    lever_mm,
    line_shapes,
    line_taken,
    whole_weights,
    with_weights,
)
from vision.sides.side_ends import CORE_MM, OF_SCALE, OWED, STEP_MM, SideEnd
from vision.sides.sill_ears import COARSE, Ear, read_ear
from vision.sides.sill_ghosts import Ghost

LEAST_OUT_MM = 5.0  # a sill that stands out less shows no top beyond the jambs
BASE_WEIGHT = 0.003  # of a line near which the outline is looked for
ASTRAY = 0.05  # guess: share of turns that are of something else; 2 of 177 on own renderings, 1 of 16 in practice
# How often no line shows the arris: of 430 sills with a line in no doubt 4 were wrong (own renderings); else a guess.
UNSEEN_IF_SURE, UNSEEN, SURE = 0.01, 0.05, 0.975
REACH_MM = 22.0
SAME = 2.5  # standard deviations: one place
U_COMMON_PX = 0.2  # of both ends' turns alike: their means on drawn boxes, in practice and on own renderings differ


def held_against_ears(
    rgb: NDArray[np.uint8], camera: Camera, found: Mapping[Side, FoundSide | FailedSide], wall: Wall, sill_at: str
) -> dict[Side, FoundSide | FailedSide]:
    """Return the sides with the lines of a projecting sill weighed by its ends, as far as those tell."""
    after, sill = dict(found), found["sill"]
    if sill_at != "front" or isinstance(sill, FailedSide):
        return after
    jambs = [f.strip.depth_mm for f in (found["left"], found["right"]) if isinstance(f, FoundSide)]
    if not jambs or float(np.mean(jambs)) - sill.strip.depth_mm < LEAST_OUT_MM:
        return after
    ends = _ends_by_ears(rgb, camera, sill, float(np.mean(jambs)) - sill.strip.depth_mm, COARSE.get(wall, 1.0))
    if any(e is not None for e in ends):
        after["sill"] = _weighed(sill, ends, wall)
    return after


def _ends_by_ears(
    rgb: NDArray[np.uint8], camera: Camera, sill: FoundSide, projection_mm: float, coarse: float
) -> list[SideEnd | None]:
    """Return where the arris lies at the sill's first and second end, mm outward of the line taken."""
    strip, shapes, length = sill.strip, line_shapes(sill), float(sill.strip.u_mm[-1])
    taken = line_taken(sill)[1]
    bases: list[Array] = [taken]
    for shape, weight in zip(shapes, whole_weights(sill), strict=True):
        if weight > BASE_WEIGHT and all(abs(shape[0] - b[0]) > APART_PX * strip.mm_per_px for b in bases):
            bases.append(shape)
    points: list[tuple[float, float, float] | None] = []
    for right in (False, True):
        told = []
        for shape in bases:
            at = float(shape[0] + (shape[1] if right else -shape[1]))
            slope = 2 * float(shape[1]) / length
            along = strip.direction + slope * strip.normal
            corner = strip.origin_mm + (length if right else 0.0) * strip.direction + at * strip.normal
            ear = read_ear(rgb, camera, corner, along / np.hypot(*along), strip.depth_mm, projection_mm, right=right)
            if ear is not None:
                told.append((ear, at, slope))
        points.append(_point(min(told, key=lambda t: t[0].scale_mm), length, right=right) if told else None)
    return _at_ends(points, taken, length, coarse)


def _point(told: tuple[Ear, float, float], length: float, *, right: bool) -> tuple[float, float, float]:
    """Return place along and across (mm in the strip) and scale mm of a turn."""
    ear, at, slope = told
    beyond = ear.beyond_mm if right else -ear.beyond_mm
    return (length if right else 0.0) + beyond, at + slope * beyond + ear.offset_mm, ear.scale_mm


def _at_ends(
    points: Sequence[tuple[float, float, float] | None], taken: Array, length: float, coarse: float
) -> list[SideEnd | None]:
    """Return the places of turns beyond the ends as places at the ends, outward of the line taken."""
    line = taken[0] + taken[1] * np.array([-1.0, 1.0])
    slope = 2 * float(taken[1]) / length
    first, second = points
    if first is not None and second is not None:
        slope = (second[1] - first[1]) / (second[0] - first[0])
    out: list[SideEnd | None] = []
    for point, end, at in zip(points, (0.0, length), line, strict=True):
        if point is None:
            out.append(None)
        else:
            out.append(SideEnd(point[1] + slope * (end - point[0]) - float(at), coarse * point[2], ASTRAY))
    return out


def _weighed(sill: FoundSide, ends: Sequence[SideEnd | None], wall: Wall) -> FoundSide:
    """Return the sill with its lines weighed by readings at its ends, and the arris that no line shows by them."""
    at, before, ghost = ends_beyond_mm(sill, bowed=False), whole_weights(sill), sill.ghost
    u = np.abs(line_shapes(sill)[:, 2])  # beyond the ends the line may go on straight or as it bends
    if ghost is not None:
        u[-1] = ghost.u_mm
    told = [(e, i) for i, e in enumerate(ends) if e is not None]
    seen = before * np.prod([e.density(at[:, i], u) for e, i in told], axis=0)
    near = APART_PX * sill.strip.mm_per_px
    grid = np.arange(-REACH_MM, REACH_MM + STEP_MM / 2, STEP_MM)
    known = at[before > BASE_WEIGHT].mean(axis=1)
    free = grid[(np.abs(grid[:, None] - known) > near).all(axis=1)]
    anywhere = np.arange(-CORE_MM, CORE_MM + STEP_MM / 2, STEP_MM)
    places, rest = (np.prod([e.density(x) for e, _ in told], axis=0) for x in (free, anywhere))
    share = UNSEEN_IF_SURE if ghost is None and float(before.max()) > SURE else UNSEEN
    unseen = share * float(before.sum()) * float(places.mean()) if len(free) else 0.0
    other = max(1 - OWED - float(before.sum()), 0.0) * float(rest.mean())
    told_of = float(seen.sum()) * (1 - share) + unseen
    if not told_of > 0:  # no line was likely at all, as with corners far off
        return sill
    total = told_of + other
    weights, p = seen * (1 - share) / total, unseen / total
    keep = min(1.0, (1 - ANOTHER_LINE) / (float(weights.sum()) + p))
    place = _told(ends, sill)
    return _with_unseen(sill, weights * keep, p * keep, place, wall)


def _told(ends: Sequence[SideEnd | None], sill: FoundSide) -> tuple[Array, float, float]:
    """Return shape (3,) of the arris that readings tell, u of its middle and its lever, mm, as in `Ghost`."""
    told, taken = [e for e in ends if e is not None], line_taken(sill)[1]
    offset = float(np.mean([e.offset_mm for e in told]))
    own = OF_SCALE * float(np.linalg.norm([e.scale_mm for e in told])) / len(told)
    u = float(np.hypot(own, U_COMMON_PX * sill.strip.mm_per_px))
    tilt = (told[1].offset_mm - told[0].offset_mm) / 2 if len(told) == 2 else 0.0
    shape = np.array([taken[0] + offset, taken[1] + tilt, 0.0])
    return shape, u, lever_mm(ends, float(sill.strip.u_mm[-1]))


def _with_unseen(sill: FoundSide, weights: Array, p: float, told: tuple[Array, float, float], wall: Wall) -> FoundSide:
    """Return the sill with weights (N,) and what no line shows: as known before, as told now, or both in one."""
    shape, u, lever = told
    ghost = sill.ghost
    if ghost is None:
        new = Ghost(shape, p, u, False, lever) if p > NO_RIVAL else None
        return with_weights("sill", sill, np.append(weights, p) if new is not None else weights, new, wall)
    own = float(weights[-1])
    if abs(ghost.shape[0] - shape[0]) < SAME * float(np.hypot(ghost.u_mm, u)):
        share = ghost.u_mm**2 / (ghost.u_mm**2 + u**2)
        both = share * shape + (1 - share) * ghost.shape
        joined = Ghost(both, own + p, float(np.sqrt(share)) * u, False, min(lever, ghost.lever_mm, key=abs))
        return with_weights("sill", sill, np.append(weights[:-1], own + p), joined, wall)
    rival = Ghost(shape, p, u, False, lever) if p > own else ghost
    return with_weights("sill", sill, np.append(weights[:-1], max(p, own)), rival, wall)
