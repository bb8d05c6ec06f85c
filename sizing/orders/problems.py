"""What is wrong with an order, as codes with facts; `sizing.messages.order` turns them into words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from scipy.special import ndtr

from sizing.conformance import P_DIFFERS
from sizing.decision import P_AGREES, Judgement
from sizing.jobs.job import Opening, Tolerance
from sizing.orders.counting import Counting
from sizing.orders.inputs import allowance, ordered_exact
from sizing.orders.rules import DIRECTIONS, STATIONS, Direction, Rule
from vision.request import NINE, Estimate

# Two sizes are the same when they differ by less: an order typed in whole mm against a rule in inches, half a
# mm. Below any step in which such things are made (common practice, no source: 1/16 in or 1 mm).
_SAME_MM = Fraction(1, 2)
# Likelier than not.
P_EVEN = 0.5
# What clearances count as not enough: to 0.01 mm, as values are given.
_EPSILON_MM = Fraction(1, 100)
_EDGES: Mapping[Direction, tuple[str, str]] = {"width": ("left", "right"), "height": ("above", "below")}
_DIAGONALS = ("diagonal_down", "diagonal_up")
# Readings that the limits of a rule compare.
_COMPARED: Mapping[str, tuple[str, str]] = {
    "out_of_square": _DIAGONALS,
    "taper_width": ("width_top", "width_bottom"),
    "taper_height": ("height_left", "height_right"),
}
# Problems of a size that follows from the readings of its direction; those of the second kind only where none is typed.
_OF_THE_RULE = frozenset({"not-by-rule", "wrong-reading", "no-made-size", "doubtful-reading"})
# Problems whose remedy is the size by the rule.
_NAMES_THE_SIZE = frozenset({"not-made", "not-by-rule", "wrong-reading"})
_OF_THE_SIZE = frozenset({"below-minimum", "above-maximum"})

Facts = Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class OrderNote:
    """One problem, or one remark, of an order: a code and the facts that its words need; lengths in mm."""

    code: str
    facts: Facts = field(default_factory=dict)


def size_problems(
    rule: Rule, direction: Direction, stations: list[Fraction | None], by_rule: Fraction | None, opening: Opening
) -> Iterator[OrderNote]:
    """Yield what is wrong with the size of one direction: not the rule's, not made, beyond the limits."""
    side, typed = rule.of(direction), ordered_exact(opening, direction)
    size = by_rule if typed is None else typed
    if typed is not None:
        facts: dict[str, float | str] = {"direction": direction, "ordered_mm": float(typed)}
        if by_rule is not None:
            facts["by_rule_mm"] = float(by_rule)
        if not side.made.holds(typed, _SAME_MM):
            yield OrderNote("not-made", facts)
        elif by_rule is not None and abs(typed - by_rule) > _SAME_MM:
            other = _from_another(rule, direction, stations, typed, opening)
            at = side.deciding(stations)
            if other is None or at is None:
                yield OrderNote("not-by-rule", facts)
            else:
                facts |= {"from": STATIONS[direction][other], "should": STATIONS[direction][at], "which": side.reading}
                yield OrderNote("wrong-reading", facts)
    if size is not None and side.minimum is not None and size < side.minimum - _EPSILON_MM:
        yield OrderNote("below-minimum", _over(direction, size, side.minimum))
    if size is not None and side.maximum is not None and size > side.maximum + _EPSILON_MM:
        yield OrderNote("above-maximum", _over(direction, size, side.maximum))


def _from_another(
    rule: Rule, direction: Direction, stations: list[Fraction | None], typed: Fraction, opening: Opening
) -> int | None:
    """Return the station whose reading would have given the size typed; None where none does."""
    side = rule.of(direction)
    for i, reading in enumerate(stations):
        made = None if reading is None else side.made.chosen(reading + allowance(rule, direction, opening))
        if made is not None and abs(made - typed) <= _SAME_MM:
            return i
    return None


def _over(direction: str, size: Fraction, limit: Fraction) -> Facts:
    return {"direction": direction, "size_mm": float(size), "limit_mm": float(limit)}


def limit_problems(rule: Rule, opening: Opening) -> Iterator[OrderNote]:
    """Yield where the readings are further off a rectangle than the rule allows."""
    found = {reading.name: reading.length.exact for reading in opening.readings}
    for code, (a, b) in _COMPARED.items():
        limit = rule.limits.get(code)
        if limit is not None and a in found and b in found and abs(found[a] - found[b]) > limit:
            facts = {"off_mm": float(abs(found[a] - found[b])), "limit_mm": float(limit)}
            yield OrderNote(code.replace("_", "-"), facts)


def room_problems(rule: Rule, opening: Opening) -> Iterator[OrderNote]:
    """Yield where less room is free beside the opening than the rule asks for; what nobody said is no problem."""
    for side, needed in rule.free.items():
        there = opening.clearances.get(side)
        if there is not None and there.exact < needed - _EPSILON_MM:
            facts: Facts = {"side": side, "there_mm": there.mm, "needed_mm": float(needed)}
            yield OrderNote("no-room", facts)


def uncovered(
    rule: Rule,
    direction: Direction,
    stations: list[Fraction | None],
    by_rule: Fraction | None,
    opening: Opening,
    tolerance: Tolerance,
) -> Iterator[OrderNote]:
    """Yield the edges at which a product that is meant to stand over the opening ends short of it, by the tape.

    It is placed as the footprint is drawn: what the rule adds by side, hardware above the head, and what the size
    lacks, or has over, shared evenly. What lies within the tolerance does no harm.
    """
    typed, whole = ordered_exact(opening, direction), allowance(rule, direction, opening)
    size, present = by_rule if typed is None else typed, [reading for reading in stations if reading is not None]
    inside = min(rule.of(d).add for d in DIRECTIONS) < 0 or whole <= 0
    if size is None or not present or inside:
        return
    side = rule.of(direction)
    first = side.first + whole - side.add
    before = first + (size - max(present) - whole) / 2
    for edge, over in zip(_EDGES[direction], (before, size - max(present) - before), strict=True):
        if -float(over) > tolerance.of(f"{direction}_middle")[0]:
            yield OrderNote("short-of-opening", {"edge": edge, "short_mm": float(-over)})


def panel_widths(rule: Rule, width: Fraction | None) -> tuple[tuple[Fraction, ...], list[OrderNote]]:
    """Return the widths of the panels, mm, and a problem where no split fits; nothing where the rule has none."""
    if rule.panels is None or width is None:
        return (), []
    parts = rule.panels.split(width)
    if parts is None:
        facts: Facts = {"size_mm": float(width), "limit_mm": float(rule.panels.widest)}
        return (), [OrderNote("no-split", facts)]
    return parts, []


def between_stations(
    rule: Rule, exact: Mapping[Direction, list[Fraction | None]], estimate: Estimate | None, tolerance: Tolerance
) -> Iterator[tuple[OrderNote, bool]]:
    """Yield where the photo sees the opening narrower, or wider, between the stations than at any of them.

    By as much would the deciding reading, sound where it was taken, be off there. It is judged as a reading is:
    a problem where that lies within the tolerance with at most 5 %, a remark up to 95 % where it is more than the
    photo's U95, or likelier than not beyond the tolerance. The uncertainty is that of a measure, although much of it
    is common to both places: rather a remark too little than a false hold.
    """
    for d in DIRECTIONS:
        side = rule.of(d)
        if estimate is None or side.reading == "middle" or side.deciding(exact[d]) is None:
            continue
        largest = side.reading == "largest"
        seen = estimate.further.get(f"{'widest' if largest else 'narrowest'}_{d}")
        if seen is None:
            continue
        stations = [float(estimate.values_mm[NINE.index(name)]) for name in STATIONS[d]]
        more_mm = seen.value_mm - max(stations) if largest else min(stations) - seen.value_mm
        under, over = tolerance.of(d)
        p = float(ndtr(((under if largest else over) - more_mm) / max(seen.u_mm, 1e-9)))
        if p < P_AGREES and (p < P_EVEN or more_mm > 2.0 * seen.u_mm):
            facts: Facts = {"direction": d, "more_mm": more_mm, "U95_mm": 2.0 * seen.u_mm}
            yield OrderNote("wide-between" if largest else "tight-between", facts), p <= P_DIFFERS


def doubtful_readings(
    deciding: Mapping[Direction, str | None], judgements: Mapping[str, Judgement], counting: Counting
) -> Iterator[tuple[OrderNote, bool]]:
    """Yield the deciding readings that the photo does not support: a problem where it differs, else a remark."""
    for d, name in deciding.items():
        judged = None if name is None else judgements.get(name)
        if name is None or judged is None or judged.verdict == "agrees" or not counting.counts.get(name, True):
            continue
        if judged.verdict == "differs" or judged.photo_mm is not None:
            facts: Facts = {"direction": d, "reading": name, "verdict": judged.verdict}
            yield OrderNote("doubtful-reading", facts), judged.verdict == "differs"


def in_doubt(problems: Sequence[OrderNote]) -> tuple[OrderNote, ...]:
    """Return the problems, those marked that name a size by the rule which comes from a reading in doubt."""
    doubtful = {p.facts["direction"] for p in problems if p.code == "doubtful-reading"}
    return tuple(
        replace(p, facts={**p.facts, "doubtful": "yes"})
        if p.code in _NAMES_THE_SIZE and p.facts["direction"] in doubtful
        else p
        for p in problems
    )


def hangs_on(problem: OrderNote, opening: Opening, readings: Collection[str]) -> bool:
    """Return whether a problem of the order may be gone once these readings are taken again."""
    code, compared = problem.code, _COMPARED.get(problem.code.replace("-", "_"))
    if compared is not None:
        return not set(compared).isdisjoint(readings)
    direction = "width" if code == "no-split" else problem.facts.get("direction")
    of_sizes = code in _OF_THE_SIZE and direction in DIRECTIONS and ordered_exact(opening, direction) is None
    if not (code in _OF_THE_RULE or code == "no-split" or of_sizes):
        return False
    return any(name.startswith(str(direction)) for name in readings)
