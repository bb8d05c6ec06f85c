"""Obstacles and room beside an opening, held against what the product needs of the wall.

Frame: that of `sizing.orders.footprint`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from scipy.special import ndtr

from sizing.conformance import P_DIFFERS
from sizing.decision import P_AGREES
from sizing.jobs.job import Obstacle, Opening
from sizing.orders.rules import Direction
from sizing.tape import u_reading_mm
from sizing.units import COMMON_GRADUATION_MM
from vision.photo.reading import at_read_size
from vision.pictures.footprint_view import mm_per_px, standing_out_shift, wall_points
from vision.request import NINE, PARTS, Array, Estimate, PhotoReport

Verdict = Literal["free", "in-the-way", "unproven"]
Edge = Literal["above", "below", "left", "right"]
EDGES: tuple[Edge, ...] = ("above", "below", "left", "right")

# Contract: bare corners carry a click of 3 px; an obstacle is outlined in the same way.
CLICK_PX = 3.0
# Guess: what is outlined stands out from the wall, or back, by up to this; it is seen shifted by as much as it is
# seen from the side. Larger: more obstacles are left to a look on site.
STANDS_OUT_MM = 100.0
# The tape model's tilt is that of a blade across an opening; short room is read as well as this length (guess).
_SHORTEST_MM = 1000.0


@dataclass(frozen=True, slots=True)
class Rectangle:
    """An upright rectangle on the wall, mm."""

    x0: float
    y0: float
    x1: float
    y1: float

    def corners(self) -> Array:
        """Return the corners (4, 2), top left first, clockwise."""
        return np.array([[self.x0, self.y0], [self.x1, self.y0], [self.x1, self.y1], [self.x0, self.y1]])

    def grown(self, above: float, below: float, left: float, right: float) -> Rectangle:
        """Return the rectangle with so much more on each side, mm."""
        return Rectangle(self.x0 - left, self.y0 - above, self.x1 + right, self.y1 + below)

    def around(self, other: Rectangle) -> Rectangle:
        """Return the least rectangle that holds both."""
        return Rectangle(min(self.x0, other.x0), min(self.y0, other.y0), max(self.x1, other.x1), max(self.y1, other.y1))


@dataclass(frozen=True, slots=True, eq=False)
class InTheWay:
    """One obstacle on the wall: outline (N, 2) mm, gap to the room needed (negative: overlap) with u, at which edge.

    `p_free` is the probability that it leaves the room free; `photo` is that in which it was outlined.
    """

    what: str
    photo: str
    outline_mm: Array
    gap_mm: float
    u_mm: float
    edge: Edge
    p_free: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Room:
    """Room at one edge of the opening: needed by the product, there as the tape said, and the verdict on it."""

    edge: Edge
    needed_mm: float
    there_mm: float
    u_mm: float
    p_free: float
    verdict: Verdict


def gap_to(zone: Rectangle, outline_mm: Array) -> tuple[float, Edge]:
    """Return the gap between a rectangle and an outline (N, 2) mm, and at which edge; negative where they overlap.

    Notes
    -----
    The largest of the four outward distances of the outline from the rectangle's sides: exact beside a side, too
    small beyond a corner and for outlines with a dent, never too large. An overlap is the least way out.
    """
    out: Mapping[Edge, float] = MappingProxyType(
        {
            "above": zone.y0 - float(outline_mm[:, 1].max()),
            "below": float(outline_mm[:, 1].min()) - zone.y1,
            "left": zone.x0 - float(outline_mm[:, 0].max()),
            "right": float(outline_mm[:, 0].min()) - zone.x1,
        }
    )
    edge = max(EDGES, key=out.__getitem__)
    return out[edge], edge


def overhang_mm(hole: Rectangle, ordered: Rectangle) -> dict[Edge, float]:
    """Return by how much the product stands over the opening at each edge, mm; negative where it stays inside."""
    return {
        "above": hole.y0 - ordered.y0,
        "below": ordered.y1 - hole.y1,
        "left": hole.x0 - ordered.x0,
        "right": ordered.x1 - hole.x1,
    }


def place_u_mm(estimate: Estimate, direction: Direction, from_middle_mm: float) -> tuple[float, float]:
    """Return u of a place on the wall so far from the opening's middle, and of that middle, mm.

    Notes
    -----
    Of the middle width (height) w the sides' own part t moves the middle by t / 2, when both err alike and apart;
    all else is a matter of scale and grows with the distance.
    """
    i = NINE.index(f"{direction}_middle")
    w, u = float(estimate.values_mm[i]), float(np.sqrt(max(estimate.cov_mm2[i, i], 0.0)))
    own = [estimate.budget_mm[i, PARTS.index(part)] for part in ("edge_trace", "edge_choice", "station")]
    traced = min(float(np.linalg.norm(own)), u)
    return float(np.sqrt(max(u**2 - traced**2, 0.0))) / w * from_middle_mm, traced / 2


@dataclass(frozen=True, slots=True)
class Unplaced:
    """An obstacle whose place is not known: its photo was not measured, or has only `photo_px` and not the outline."""

    what: str
    photo: str
    photo_px: tuple[int, int] | None = None


def placed_obstacles(
    opening: Opening, estimate: Estimate, zone: Rectangle, hole: Rectangle
) -> tuple[tuple[InTheWay, ...], tuple[Unplaced, ...]]:
    """Return an opening's obstacles held against the room needed, and those of which no place is known."""
    paths = {entry.file: entry.path for entry in opening.photos}
    reports = {r.path: r for r in estimate.photos if r.wall_to_photo is not None}
    found: list[InTheWay] = []
    unplaced: list[Unplaced] = []
    for thing in opening.obstacles:
        path = paths.get(thing.photo)
        report = None if path is None else reports.get(path)
        placed = None if report is None else _in_the_way(thing, report, estimate, zone, hole)
        if report is not None and (size_px := _misses(thing, report)) is not None:
            unplaced.append(Unplaced(thing.what, thing.photo, size_px))
        elif placed is None:
            unplaced.append(Unplaced(thing.what, thing.photo))
        else:
            found.append(placed)
    return tuple(found), tuple(unplaced)


def _misses(thing: Obstacle, report: PhotoReport) -> tuple[int, int] | None:
    """Return the photo's size px where an outline lies wholly outside of it: given in pixels of another one."""
    size_px = report.size_px if report.reduced == 1 else report.whole_px
    outline = np.asarray(thing.outline_px)
    missed = (outline.max(axis=0) < -0.5).any() or (outline.min(axis=0) > np.array(size_px) - 0.5).any()
    return size_px if missed else None


def _in_the_way(
    thing: Obstacle, report: PhotoReport, estimate: Estimate, zone: Rectangle, hole: Rectangle
) -> InTheWay | None:
    assert report.wall_to_photo is not None
    outline = wall_points(report.wall_to_photo, at_read_size(thing.outline_px, report.reduced))
    if not np.isfinite(outline).all():
        return None
    gap, edge = gap_to(zone, outline)
    axis = 0 if edge in ("left", "right") else 1
    sign = -1.0 if edge in ("above", "left") else 1.0
    nearest = outline[int(np.argmin(sign * outline[:, axis]))]
    middle = np.array([hole.x0 + hole.x1, hole.y0 + hole.y1]) / 2
    click = CLICK_PX / report.reduced * mm_per_px(report.wall_to_photo, nearest)
    out = STANDS_OUT_MM / np.sqrt(3.0) * abs(standing_out_shift(report, nearest)[axis])
    direction: Direction = "width" if axis == 0 else "height"
    u = float(np.linalg.norm([click, out, *place_u_mm(estimate, direction, abs(float((nearest - middle)[axis])))]))
    p_free = float(ndtr(gap / u))
    return InTheWay(thing.what, thing.photo, outline, gap, u, edge, p_free, _verdict(p_free))


def rooms_beside(opening: Opening, estimate: Estimate, hole: Rectangle, ordered: Rectangle) -> tuple[Room, ...]:
    """Return the room that the tape found beside the opening against what the product takes of it.

    The free room that the rule asks for is compared by `orderproblems.room_problems`, with or without a photo.
    """
    tape = opening.readings[0] if opening.readings else None
    found = []
    for edge, needed in overhang_mm(hole, ordered).items():
        length = opening.clearances.get(edge)
        if length is None or needed <= 0:
            continue
        across: Direction = "width" if edge in ("left", "right") else "height"
        half = (hole.x1 - hole.x0 if across == "width" else hole.y1 - hole.y0) / 2
        graduation = COMMON_GRADUATION_MM if tape is None else tape.graduation_mm
        by_tape = u_reading_mm(
            max(length.mm, _SHORTEST_MM), "unknown" if tape is None else tape.tape, graduation, opening.wall
        )
        u = float(np.linalg.norm([by_tape, *place_u_mm(estimate, across, half)]))
        p_free = float(ndtr((length.mm - needed) / u))
        found.append(Room(edge, needed, length.mm, u, p_free, _verdict(p_free)))
    return tuple(found)


def _verdict(p_free: float) -> Verdict:
    """Return the verdict by the same two probabilities as for readings (contract, *Decision*)."""
    if p_free >= P_AGREES:
        return "free"
    return "in-the-way" if p_free <= P_DIFFERS else "unproven"
