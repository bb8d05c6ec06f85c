"""What `footprint` says of a job: lines for people, a JSON document, and its exit status."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sizing.exits import Exit
from sizing.json_values import rounded_mm
from sizing.messages import footprint as words
from sizing.messages import order as order_words
from sizing.orders.footprint import Footprint, NotDrawn, footprint_of, unplaced_note
from sizing.orders.obstacles import Rectangle, Verdict, overhang_mm
from sizing.outcome import JobResult, OpeningResult
from sizing.units import Unit
from vision.request import Estimate, NotMeasured

SCHEMA = "secondtape/footprint-1"
# Problems of an order that are about room.
_ABOUT_ROOM = frozenset({"no-room", "obstacle-in-the-way", "clearance-too-small"})
# Its remarks that are about what is drawn.
_ABOUT_PLACE = frozenset({"short-of-opening"})


@dataclass(frozen=True, slots=True, eq=False)
class OpeningFootprint:
    """The footprint of one opening, problems of its order that are about room, remarks that are about its place."""

    result: OpeningResult
    footprint: Footprint | NotDrawn
    problems: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """`in-the-way` also where the rule's free room is not there."""
        if self.problems:
            return "in-the-way"
        return "unproven" if isinstance(self.footprint, NotDrawn) else self.footprint.verdict


def job_footprints(result: JobResult, labels: Sequence[str] | None = None) -> tuple[OpeningFootprint, ...]:
    """Return the footprints of a job's openings, or of those named."""
    units: Unit = result.job.units if result.job is not None else "in"
    return tuple(_guarded(o, units) for o in result.openings if not labels or o.opening.label in labels)


def footprint_exit(result: JobResult, found: Sequence[OpeningFootprint]) -> Exit:
    """Return 1 where something is in the way; else 4 where job or photo could not be read; else 3 undecided; else 0."""
    verdicts = {one.verdict for one in found}
    if "in-the-way" in verdicts:
        return Exit.HOLD
    if result.error is not None or any(one.result.unreadable for one in found):
        return Exit.UNREADABLE
    return Exit.UNPROVEN if "unproven" in verdicts else Exit.DONE


def footprint_lines(one: OpeningFootprint, unit: Unit, *, alone: bool = True) -> list[str]:
    """Return the lines of one opening for people; not `alone`: without what problems and remarks of its order say."""
    label, found = one.result.opening.label, one.footprint
    if isinstance(found, NotDrawn):
        answer = one.result.answer
        why = found.why or (answer.why if isinstance(answer, NotMeasured) else "")
        return [
            words.not_drawn(label, found.code, why),
            *("  " + line for line in (*one.notes, *one.problems) if alone),
        ]
    size = found.ordered
    lines = [
        words.opening_heading(label, one.verdict, compared=_compared(one)),
        "  " + words.size_line(size.x1 - size.x0, size.y1 - size.y0, found.size_from, unit),
        "  " + words.overhang_line(overhang_mm(found.opening, size).items(), 2.0 * found.u_place_mm, unit),
    ]
    lines += [
        "  " + words.obstacle_line(o.what, o.edge, o.verdict, o.gap_mm, 2.0 * o.u_mm, unit)
        for o in found.obstacles
        if alone or o.verdict != "in-the-way"
    ]
    lines += [
        "  " + words.room_line(r.edge, r.verdict, r.needed_mm, r.there_mm, 2.0 * r.u_mm, unit)
        for r in found.rooms
        if alone or r.verdict != "in-the-way"
    ]
    lines += ["  " + words.problem_says(*unplaced_note(missed), unit) for missed in found.unplaced]
    if not _compared(one):
        lines.append("  " + words.none_known())
    return lines + ["  " + line for line in (*one.notes, *one.problems) if alone]


def footprint_document(one: OpeningFootprint, unit: Unit) -> dict[str, Any]:
    """Return the footprint of one opening as JSON values; mm on the wall from the opening's top left corner."""
    found = one.footprint
    document: dict[str, Any] = {"opening": one.result.opening.label, "verdict": one.verdict}
    if isinstance(found, NotDrawn):
        return document | {"drawn": False, "why_code": found.code, "says": footprint_lines(one, unit)[0]}
    return document | {
        "drawn": True,
        "size_from": found.size_from,
        "ordered_mm": _rectangle(found.ordered),
        "opening_mm": [[rounded_mm(v) for v in point] for point in found.opening_mm],
        "panels_mm": [_rectangle(panel) for panel in found.panels],
        "hardware_mm": None if found.hardware is None else _rectangle(found.hardware),
        "must_be_free_mm": _rectangle(found.zone),
        "overhang_mm": {edge: rounded_mm(v) for edge, v in overhang_mm(found.opening, found.ordered).items()},
        "overhang_U95_mm": rounded_mm(2.0 * found.u_place_mm),
        "obstacles": [
            {
                "what": o.what,
                "photo": o.photo,
                "outline_mm": [[rounded_mm(v) for v in point] for point in o.outline_mm],
                "edge": o.edge,
                "gap_mm": rounded_mm(o.gap_mm),
                "U95_mm": rounded_mm(2.0 * o.u_mm),
                "p_free": round(o.p_free, 4),
                "verdict": o.verdict,
            }
            for o in found.obstacles
        ],
        "rooms": [
            {
                "edge": r.edge,
                "needed_mm": rounded_mm(r.needed_mm),
                "there_mm": rounded_mm(r.there_mm),
                "U95_mm": rounded_mm(2.0 * r.u_mm),
                "p_free": round(r.p_free, 4),
                "verdict": r.verdict,
            }
            for r in found.rooms
        ],
        "not_placed": [{"what": o.what, "photo": o.photo} for o in found.unplaced],
        "problems": list(one.problems),
        "notes": list(one.notes),
        "says": footprint_lines(one, unit),
    }


def _guarded(result: OpeningResult, unit: Unit) -> OpeningFootprint:
    """Return the footprint of one opening; one that the program fails on stops no other."""
    try:
        one = _of_opening(result, unit)
        footprint_document(one, unit)  # what cannot be said is not drawn either
    except Exception as error:
        return OpeningFootprint(result, NotDrawn("fault", f"{type(error).__name__}: {str(error)[:200]}"), ())
    return one


def _of_opening(result: OpeningResult, unit: Unit) -> OpeningFootprint:
    answer = result.answer
    found = footprint_of(result.opening, result.order, answer if isinstance(answer, Estimate) else None)
    problems = () if result.order is None else result.order.problems
    said = tuple(order_words.problem_says(p.code, p.facts, unit) for p in problems if p.code in _ABOUT_ROOM)
    remarks = () if result.order is None else result.order.notes
    notes = tuple(order_words.problem_says(n.code, n.facts, unit) for n in remarks if n.code in _ABOUT_PLACE)
    return OpeningFootprint(result, found, said, notes)


def _compared(one: OpeningFootprint) -> bool:
    return bool(one.result.opening.obstacles or one.result.opening.clearances)


def _rectangle(one: Rectangle) -> list[float | None]:
    return [rounded_mm(v) for v in (one.x0, one.y0, one.x1, one.y1)]
