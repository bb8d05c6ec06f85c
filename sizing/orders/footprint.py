"""The ordered size as it will stand on the wall: true to scale, with what may be in its way.

Frame: that of `PhotoReport.wall_to_photo`, mm on the wall from the opening's top left corner, x along the head, y
down. The product is centred on the opening as traced, but for additions that the rule gives by side; what a made
size has over is shared evenly; hardware that the rule adds to the height stands above the head.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from sizing.jobs.job import Opening
from sizing.orders.inputs import allowance
from sizing.orders.obstacles import (
    EDGES,
    InTheWay,
    Rectangle,
    Room,
    Unplaced,
    Verdict,
    place_u_mm,
    placed_obstacles,
    rooms_beside,
)
from sizing.orders.order import Order
from sizing.orders.problems import Facts, OrderNote
from sizing.orders.rules import DIRECTIONS, Direction
from vision.pictures.footprint_view import wall_points
from vision.request import Array, Estimate, PhotoReport


@dataclass(frozen=True, slots=True, eq=False)
class Footprint:
    """The ordered size on the wall; `zone` is the room that must be free: product and the rule's free room.

    `hardware` is the strip of the product above the head that the rule adds, None without. `unplaced` are obstacles
    of which no place is known. `u_place_mm` is the standard uncertainty of the place of the product's
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
    unplaced: tuple[Unplaced, ...]
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
    """Why no footprint is drawn, as a code: `no-size`, `not-measured`, `fault` (and on what the program failed)."""

    code: str
    why: str = ""


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
    found, unplaced = placed_obstacles(opening, estimate, zone, hole)
    return Footprint(
        opening=hole,
        opening_mm=corners,
        ordered=ordered,
        panels=_panels(order, ordered, size),
        hardware=hardware,
        zone=zone,
        obstacles=found,
        rooms=rooms_beside(opening, estimate, hole, ordered),
        unplaced=unplaced,
        u_place_mm=max(float(np.hypot(*place_u_mm(estimate, d, reach / 2))) for d, reach in _reaches(ordered)),
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
    notes += [OrderNote(*unplaced_note(one)) for one in footprint.unplaced]
    return problems, notes


def unplaced_note(one: Unplaced) -> tuple[str, dict[str, float | str]]:
    """Return code and facts of the remark on an obstacle of which no place is known."""
    facts: dict[str, float | str] = {"what": one.what, "photo": one.photo}
    if one.photo_px is None:
        return "obstacle-not-placed", facts
    return "obstacle-outside-photo", facts | {"width_px": one.photo_px[0], "height_px": one.photo_px[1]}


def drawn_report(estimate: Estimate | None) -> PhotoReport | None:
    """Return the first photo's report that maps the wall; None where there is none."""
    reports = () if estimate is None else estimate.photos
    return next((r for r in reports if r.wall_to_photo is not None and r.corners_px is not None and _whole(r)), None)


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
            whole, first = float(allowance(order.rule, d, opening)), float(side.first)
            strip = whole - float(side.add) if d == "height" else strip
            first += strip if d == "height" else 0.0
            rest = whole
        start.append(at - first - (ordered - seen - rest) / 2)
    product = Rectangle(start[0], start[1], start[0] + size[0], start[1] + size[1])
    top = Rectangle(product.x0, product.y0, product.x1, product.y0 + strip) if strip > 0 else None
    return product, top


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


def _reaches(ordered: Rectangle) -> Sequence[tuple[Direction, float]]:
    return (("width", ordered.x1 - ordered.x0), ("height", ordered.y1 - ordered.y0))
