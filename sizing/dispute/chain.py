"""One direction of an opening, or its diagonals, as the chain of a dispute: what was read, seen, ordered, made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from sizing.decided import Decision
from sizing.jobs.job import Opening, Reading
from sizing.orders.inputs import room_above
from sizing.orders.rules import STATIONS, Direction, Rule
from sizing.tape import u_reading_mm
from vision.request import NINE, Array, Estimate

Line = Direction | Literal["diagonal"]
STATIONS_OF: Mapping[Line, tuple[str, ...]] = MappingProxyType(
    {"width": STATIONS["width"], "height": STATIONS["height"], "diagonal": ("diagonal_down", "diagonal_up")}
)
# More sets of readings than this that did not lead to the order are left out, oldest first (time of computing).
MOST_WITNESSES = 2
# Sizes that print alike are the same (contract: values to 0.01 mm).
_SAME_MM = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One direction of one opening: what stands in the chain from opening to delivered piece, mm; None where not given.

    `boxes` are the readings that the order was made from, at visit `order_visit`; `witnesses` other sets of readings of
    the direction. `before`, `after`: values (n,) and covariance (n, n) at the stations.
    """

    direction: Line
    boxes: tuple[Reading, ...]
    order_visit: int
    witnesses: tuple[tuple[Reading, ...], ...] = ()
    before: tuple[Array, Array] | None = None
    after: tuple[Array, Array] | None = None
    ordered_mm: float | None = None
    by_rule_mm: float | None = None
    delivered_mm: float | None = None
    u_delivered_mm: float = 0.0
    left_out: int = 0
    ordered_from: str = "job"


def trace_of(
    opening: Opening,
    direction: Direction,
    rule: Rule | None,
    before: Estimate | None,
    after: Estimate | None,
    decisions: Sequence[Decision] = (),
) -> Trace:
    """Return one direction of an opening as the chain of a dispute.

    Parameters
    ----------
    opening : Opening
    direction : "width" or "height"
    rule : the rule in force, None without one that can be used.
    before, after : what photos from before the order and from afterwards say.
    decisions : on this opening, oldest first; the size of the last that released it is taken for the ordered one
        where the job gives none.

    Notes
    -----
    The order was made from the readings in force at some visit. That is taken to be the last visit whose readings
    give the ordered size by the rule (without an order the delivered one, as far as that is known); where none does,
    or there is no rule, the last visit.
    """
    ordered, ordered_from = _size_mm(opening.ordered, direction), "job"
    if ordered is None:
        ordered, ordered_from = _decided_mm(decisions, direction)
    delivered = _size_mm(opening.delivered, direction)
    states = [_in_force(opening, direction, visit.number) for visit in opening.visits] or [()]
    sizes = [_by_rule(rule, direction, state, opening) for state in states]
    tape = opening.delivered.tape if opening.delivered is not None else None
    u_delivered = 0.0 if delivered is None else u_reading_mm(delivered, tape or "unknown", None, "panel")
    known, near = (ordered, _SAME_MM) if ordered is not None else (delivered, 2.0 * u_delivered)
    fitting = [i for i, s in enumerate(sizes) if s is not None and known is not None and abs(s - known) <= near]
    at = fitting[-1] if fitting else len(states) - 1
    others = _other_sets(opening, direction, states[at])
    return Trace(
        direction=direction,
        boxes=states[at],
        order_visit=at,
        witnesses=tuple(others[-MOST_WITNESSES:]),
        before=_at_stations(before, direction),
        after=_at_stations(after, direction),
        ordered_mm=ordered,
        by_rule_mm=sizes[at],
        delivered_mm=delivered,
        u_delivered_mm=u_delivered,
        left_out=max(len(others) - MOST_WITNESSES, 0),
        ordered_from=ordered_from,
    )


def diagonals_of(opening: Opening, before: Estimate | None, after: Estimate | None) -> Trace | None:
    """Return the two diagonals as a chain that ends with the readings in force; None where neither was read.

    No size is ordered or made by them.
    """
    last = len(opening.visits) - 1
    boxes = _in_force(opening, "diagonal", opening.visits[last].number) if opening.visits else ()
    if not boxes:
        return None
    others = _other_sets(opening, "diagonal", boxes)
    return Trace(
        direction="diagonal",
        boxes=boxes,
        order_visit=last,
        witnesses=tuple(others[-MOST_WITNESSES:]),
        before=_at_stations(before, "diagonal"),
        after=_at_stations(after, "diagonal"),
        left_out=max(len(others) - MOST_WITNESSES, 0),
    )


def size_by_rule_mm(
    rule: Rule | None, direction: Direction, stations_mm: Sequence[float], opening: Opening
) -> float | None:
    """Return what the rule gives for lengths at the three stations, mm; None without a rule or a made size."""
    if rule is None:
        return None
    side = rule.of(direction)
    room = room_above(opening) if direction == "height" else None
    wanted = side.wanted([Fraction(repr(round(float(v), 3))) for v in stations_mm], room)
    chosen = None if wanted is None else side.made.chosen(wanted)
    return None if chosen is None else float(chosen)


def _in_force(opening: Opening, direction: Line, visit: int) -> tuple[Reading, ...]:
    now: dict[str, Reading] = {}
    for later in opening.visits:
        if later.number <= visit:
            now.update({r.name: r for r in later.readings if r.name in STATIONS_OF[direction]})
    return tuple(now[name] for name in STATIONS_OF[direction] if name in now)


def _other_sets(opening: Opening, direction: Line, chain: Sequence[Reading]) -> list[tuple[Reading, ...]]:
    """Return the readings of a direction, by visit, that are not those of the chain."""
    used = {id(r) for r in chain}
    sets = (
        tuple(r for r in visit.readings if r.name in STATIONS_OF[direction] and id(r) not in used)
        for visit in opening.visits
    )
    return [found for found in sets if found]


def _by_rule(rule: Rule | None, direction: Direction, state: Sequence[Reading], opening: Opening) -> float | None:
    if rule is None:
        return None
    found = {r.name: r.length.exact for r in state}
    side = rule.of(direction)
    wanted = side.wanted(
        [found.get(name) for name in STATIONS[direction]], room_above(opening) if direction == "height" else None
    )
    chosen = None if wanted is None else side.made.chosen(wanted)
    return None if chosen is None else float(chosen)


def _decided_mm(decisions: Sequence[Decision], direction: Direction) -> tuple[float | None, str]:
    for decision in reversed(decisions):
        size = decision.width_mm if direction == "width" else decision.height_mm
        if decision.decision != "hold" and size is not None:
            return size, f"decisions.jsonl, line {decision.line}"
    return None, "job"


def _size_mm(size: Any, direction: Direction) -> float | None:  # noqa: ANN401 -- Size or None
    length = None if size is None else getattr(size, direction)
    return None if length is None else float(length.mm)


def _at_stations(answer: Estimate | None, direction: Line) -> tuple[Array, Array] | None:
    if answer is None:
        return None
    at = [NINE.index(name) for name in STATIONS_OF[direction]]
    # Stations of one photo are almost one figure: a hundredth of a mm keeps the matrix invertible.
    return answer.values_mm[at], answer.cov_mm2[np.ix_(at, at)] + 1e-4 * np.eye(len(at))
