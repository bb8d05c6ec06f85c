"""The ordered size as it will stand on the wall: true to scale, with what may be in its way.

Frame: that of `PhotoReport.wall_to_photo`, mm on the wall from the opening's top left corner, x along the head, y
down. The product is centred on the opening as traced, but for additions that the rule gives by side; what a made
size has over is shared evenly; hardware that the rule adds to the height stands above the head.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

import numpy as np
from scipy.special import ndtr

from sizing.decision import P_AGREES
from sizing.job import Obstacle, Opening
from sizing.mixture import P_DIFFERS
from sizing.order import Order
from sizing.orderinputs import allowance
from sizing.orderproblems import Facts, OrderNote
from sizing.rules import DIRECTIONS, Direction, SideRule
from sizing.tape import u_reading_mm
from vision.footprint_view import mm_per_px, standing_out_shift, wall_points
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


@dataclass(frozen=True, slots=True, eq=False)
class Footprint:
    """The ordered size on the wall; `zone` is the room that must be free: product and the rule's free room.

    `hardware` is the strip of the product above the head that the rule adds, None without. `unplaced` are obstacles
    outlined in photos that were not measured. `u_place_mm` is the standard uncertainty of the place of the product's
    sides on the wall, as far as the photo's measures go.
    """

    opening: Rectangle
    opening_mm: Array
    ordered: Rectangle
    panels: tuple[Rectangle, ...]
    hardware: Rectangle | None
    zone: Rectangle
    obstacles: tuple[InTheWay, ...]
    rooms: tuple[Room, ...]
    unplaced: tuple[Obstacle, ...]
    u_place_mm: float
    size_from: Literal["ordered", "rule"]

    @property
    def verdict(self) -> Verdict:
        """The worst of all obstacles and rooms."""
        found = {*(one.verdict for one in self.obstacles), *(one.verdict for one in self.rooms)}
        if "in-the-way" in found:
            return "in-the-way"
        return "unproven" if "unproven" in found or self.unplaced else "free"


@dataclass(frozen=True, slots=True)
class NotDrawn:
    """Why no footprint is drawn, as a code: `no-size`, `not-measured`."""

    code: str


def footprint_of(opening: Opening, order: Order | None, estimate: Estimate | None) -> Footprint | NotDrawn:
    """Return the ordered size of an opening on its wall.

    Parameters
    ----------
    opening : its obstacles, clearances and photos.
    order : with the size about to be ordered, else that by the rule.
    estimate : what the photos said; None without a photo that measures.
    """
    size, source = _size(order)
    if order is None or size is None:
        return NotDrawn("no-size")
    report = drawn_report(estimate)
    if estimate is None or report is None or report.wall_to_photo is None or report.corners_px is None:
        return NotDrawn("not-measured")
    corners = wall_points(report.wall_to_photo, report.corners_px)
    if not np.isfinite(corners).all():
        return NotDrawn("not-measured")
    hole = Rectangle(
        float(corners[[0, 3], 0].mean()),
        float(corners[[0, 1], 1].mean()),
        float(corners[[1, 2], 0].mean()),
        float(corners[[2, 3], 1].mean()),
    )
    ordered, hardware = _placed(hole, size, order, opening)
    free = {edge: float(order.rule.free.get(edge, 0)) if order.rule is not None else 0.0 for edge in EDGES}
    zone = ordered.around(hole.grown(**free))
    found, unplaced = _obstacles(opening, estimate, zone, hole)
    return Footprint(
        opening=hole,
        opening_mm=corners,
        ordered=ordered,
        panels=_panels(order, ordered, size),
        hardware=hardware,
        zone=zone,
        obstacles=found,
        rooms=_rooms(opening, estimate, hole, ordered),
        unplaced=unplaced,
        u_place_mm=max(float(np.hypot(*_u_at(estimate, d, reach / 2))) for d, reach in _reaches(ordered)),
        size_from=source,
    )


def footprint_notes(footprint: Footprint | NotDrawn) -> tuple[list[OrderNote], list[OrderNote]]:
    """Return the problems that a footprint shows, and remarks, as codes with facts."""
    if isinstance(footprint, NotDrawn):
        return [], []
    problems: list[OrderNote] = []
    notes: list[OrderNote] = []
    for thing in footprint.obstacles:
        facts: Facts = {"what": thing.what, "edge": thing.edge, "gap_mm": thing.gap_mm, "U95_mm": 2.0 * thing.u_mm}
        if thing.verdict == "in-the-way":
            problems.append(OrderNote("obstacle-in-the-way", facts))
        elif thing.verdict == "unproven":
            notes.append(OrderNote("obstacle-unsure", facts))
    for room in footprint.rooms:
        facts = {"edge": room.edge, "needed_mm": room.needed_mm, "there_mm": room.there_mm, "U95_mm": 2.0 * room.u_mm}
        if room.verdict == "in-the-way":
            problems.append(OrderNote("clearance-too-small", facts))
        elif room.verdict == "unproven":
            notes.append(OrderNote("clearance-unsure", facts))
    notes += [OrderNote("obstacle-not-placed", {"what": o.what, "photo": o.photo}) for o in footprint.unplaced]
    return problems, notes


def drawn_report(estimate: Estimate | None) -> PhotoReport | None:
    """Return the first photo's report that maps the wall; None where there is none."""
    reports = () if estimate is None else estimate.photos
    return next((r for r in reports if r.wall_to_photo is not None and r.corners_px is not None and _whole(r)), None)


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


def _whole(report: PhotoReport) -> bool:
    return report.corners_px is not None and bool(np.isfinite(report.corners_px).all())


def _size(order: Order | None) -> tuple[tuple[float, float] | None, Literal["ordered", "rule"]]:
    """Return width and height, mm, of what is about to be ordered, else by the rule; None where one is missing."""
    if order is None:
        return None, "rule"
    if order.ordered is not None and order.ordered.width is not None and order.ordered.height is not None:
        return (order.ordered.width.mm, order.ordered.height.mm), "ordered"
    width, height = (order.by_rule_mm.get(d) for d in DIRECTIONS)
    return (None if width is None or height is None else (float(width), float(height))), "rule"


def _placed(
    hole: Rectangle, size: tuple[float, float], order: Order, opening: Opening
) -> tuple[Rectangle, Rectangle | None]:
    """Return product and strip of hardware."""
    start, strip = [], 0.0
    for d, seen, ordered, at in zip(
        DIRECTIONS, (hole.x1 - hole.x0, hole.y1 - hole.y0), size, (hole.x0, hole.y0), strict=True
    ):
        first = rest = 0.0
        if order.rule is not None:
            side = order.rule.of(d)
            whole, first = float(allowance(order.rule, d, opening)), float(_first(side))
            strip = whole - float(side.add) if d == "height" else strip
            first += strip if d == "height" else 0.0
            rest = whole
        start.append(at - first - (ordered - seen - rest) / 2)
    product = Rectangle(start[0], start[1], start[0] + size[0], start[1] + size[1])
    top = Rectangle(product.x0, product.y0, product.x1, product.y0 + strip) if strip > 0 else None
    return product, top


def _first(side: SideRule) -> Fraction:
    return side.add / 2 if side.first is None else side.first


def _panels(order: Order, ordered: Rectangle, size: tuple[float, float]) -> tuple[Rectangle, ...]:
    """Return the panels, left to right; none where there is but one."""
    if order.rule is None or order.rule.panels is None:
        return ()
    parts = order.rule.panels.split(Fraction(repr(size[0]))) or ()
    if len(parts) < 2:
        return ()
    left, found = ordered.x0, []
    for part in parts:
        found.append(Rectangle(left, ordered.y0, left + float(part), ordered.y1))
        left += float(part + order.rule.panels.gap)
    return tuple(found)


def _obstacles(
    opening: Opening, estimate: Estimate, zone: Rectangle, hole: Rectangle
) -> tuple[tuple[InTheWay, ...], tuple[Obstacle, ...]]:
    paths = {entry.file: entry.path for entry in opening.photos}
    reports = {r.path: r for r in estimate.photos if r.wall_to_photo is not None}
    found: list[InTheWay] = []
    unplaced: list[Obstacle] = []
    for thing in opening.obstacles:
        path = paths.get(thing.photo)
        report = None if path is None else reports.get(path)
        placed = None if report is None else _in_the_way(thing, report, estimate, zone, hole)
        if placed is None:
            unplaced.append(thing)
        else:
            found.append(placed)
    return tuple(found), tuple(unplaced)


def _in_the_way(
    thing: Obstacle, report: PhotoReport, estimate: Estimate, zone: Rectangle, hole: Rectangle
) -> InTheWay | None:
    assert report.wall_to_photo is not None
    outline = wall_points(report.wall_to_photo, np.array(thing.outline_px, np.float64))
    if not np.isfinite(outline).all():
        return None
    gap, edge = gap_to(zone, outline)
    axis = 0 if edge in ("left", "right") else 1
    sign = -1.0 if edge in ("above", "left") else 1.0
    nearest = outline[int(np.argmin(sign * outline[:, axis]))]
    middle = np.array([hole.x0 + hole.x1, hole.y0 + hole.y1]) / 2
    click = CLICK_PX * mm_per_px(report.wall_to_photo, nearest)
    out = STANDS_OUT_MM / np.sqrt(3.0) * abs(standing_out_shift(report, nearest)[axis])
    direction: Direction = "width" if axis == 0 else "height"
    u = float(np.linalg.norm([click, out, *_u_at(estimate, direction, abs(float((nearest - middle)[axis])))]))
    p_free = float(ndtr(gap / u))
    return InTheWay(thing.what, thing.photo, outline, gap, u, edge, p_free, _verdict(p_free))


def _rooms(opening: Opening, estimate: Estimate, hole: Rectangle, ordered: Rectangle) -> tuple[Room, ...]:
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
        graduation = 1.5875 if tape is None else tape.graduation_mm
        by_tape = u_reading_mm(
            max(length.mm, _SHORTEST_MM), "unknown" if tape is None else tape.tape, graduation, opening.wall
        )
        u = float(np.linalg.norm([by_tape, *_u_at(estimate, across, half)]))
        p_free = float(ndtr((length.mm - needed) / u))
        found.append(Room(edge, needed, length.mm, u, p_free, _verdict(p_free)))
    return tuple(found)


def _verdict(p_free: float) -> Verdict:
    """Return the verdict by the same two probabilities as for readings (contract, *Decision*)."""
    if p_free >= P_AGREES:
        return "free"
    return "in-the-way" if p_free <= P_DIFFERS else "unproven"


def _u_at(estimate: Estimate, direction: Direction, from_middle_mm: float) -> tuple[float, float]:
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


def _reaches(ordered: Rectangle) -> Sequence[tuple[Direction, float]]:
    return (("width", ordered.x1 - ordered.x0), ("height", ordered.y1 - ordered.y0))
