"""Words of a dispute: steps, evidence and what would decide; no person is named as a cause."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sizing.messages.chance import percent
from sizing.messages.exact_length import exact_length
from sizing.messages.names import name_of
from sizing.messages.one_line import one_line, place
from sizing.messages.photo_figures import about
from sizing.messages.tape_figure import tape_figure
from sizing.units import INCH_MM, Unit, format_length, format_uncertainty

NOTE = (
    "These are probabilities of steps, worked out from the numbers named here and from guessed rates of slips. They "
    "name no person, lay no blame and make no legal claim; what the figures mean for an agreement is for others to say."
)
_STEPS = {
    "reading": "one box was measured or written down wrongly",
    "readings": "all boxes were measured or written down off alike",
    "ordered": "another size was ordered than the rule gives",
    "made": "another size was made than ordered",
    "changed": "the opening has changed since",
    "ordered or made": "another size was ordered or made than the rule gives",
    "delivered": "the delivered piece was measured wrongly",
    "photo:before": "the photo from before shows another line or scale",
    "photo:after": "the photo from after shows another line or scale",
}
_OTHER_SET = "the other set of readings is off"
_SHORT = {
    "reading": "measuring or writing down (one box)",
    "readings": "measuring or writing down (all boxes)",
    "ordered": "ordering",
    "made": "making",
    "changed": "a change of the opening since",
}
_NO_FIGURE = {
    "no-readings": "no reading is on record",
    "no-photo-before": "no photo from before the order measures the opening",
    "no-photo-after": 'no photo from afterwards (when = "after") measures the opening',
    "no-order": "no ordered size is on record ([opening.ordered])",
    "no-rule": "no sizing rule is named that can be used",
    "no-size-by-rule": "the rule gives no size for these readings",
    "no-delivered": "no delivered size is on record ([opening.delivered])",
    "too-weak": "the evidence is too vague to show a usual slip",
}
_DECIDES = {
    "no-readings": "The readings as taken, from the field sheet.",
    "no-photo-before": "A photo from before the order with the opening and two sheets, if one exists.",
    "no-photo-after": 'A photo of the opening as it is now, with two sheets, listed with when = "after".',
    "no-order": "The size as it was ordered, from the order itself.",
    "no-rule": "The sizing rule that was in force when the order was made.",
    "no-size-by-rule": "The readings that the rule needs, or the rule that was in force.",
    "no-delivered": "The delivered piece measured by two people with two tapes.",
    "too-weak": "A second photo from another place with two sheets, or the opening measured again.",
}


def no_such_opening(label: str, known: Sequence[str]) -> str:
    """Return that a job has no such opening."""
    return f"no opening is labelled '{one_line(label)}'; the job has {', '.join(one_line(k) for k in known)}."


def step_says(steps: Sequence[str], station: str | None) -> str:
    """Return what happened in one clause; steps that the evidence cannot separate are joined.

    Examples
    --------
    >>> step_says(["reading"], "width_middle")
    'one box was measured or written down wrongly (width, middle)'
    >>> step_says(["reading", "reading:witness-1"], None)
    'one box was measured or written down wrongly, or the other set of readings is off'
    """
    if {"ordered", "made"} <= set(steps):
        steps = ["ordered or made", *(s for s in steps if s not in {"ordered", "made"})]
    says = ", or ".join(dict.fromkeys(_STEPS.get(s, _OTHER_SET) for s in steps))
    return f"{says} ({name_of(station)})" if station else says


def step_name(step: str) -> str:
    """Return the short name of a step."""
    return _SHORT.get(step, step)


def probability(p: float, low: float, high: float) -> str:
    """Return a probability with its range under other guesses."""
    if percent(low) == percent(high):
        return percent(p)
    return f"{percent(p)} ({percent(low)} to {percent(high)} under other guesses)"


def finding_line(says: str, chance: str, error: str | None) -> str:
    """Return one step with its probability, and the size of its error where it probably slipped."""
    return f"{chance}: {says}" + (f"; {error}." if error else ".")


def error_size(error_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the size of an error with its uncertainty."""
    word = "too long" if error_mm > 0 else "too short"
    return f"about {format_length(_rounded(abs(error_mm), unit), unit)} {word}, give or take {_u(U95_mm, unit)}"


def _rounded(value_mm: float, unit: Unit) -> float:
    return float(round(value_mm / INCH_MM * 16) * INCH_MM / 16) if unit == "in" else round(value_mm, 1)


def _u(U95_mm: float, unit: Unit) -> str:
    return format_uncertainty(U95_mm, unit)


def none_line(chance: str) -> str:
    """Return how probable it is that no step with a figure slipped."""
    return f"{chance}: none of the steps with a figure slipped."


def others_line(most: float, *, none: bool) -> str:
    """Return the line of several steps under 1 % each, at `most` so much under other guesses; `none` is one of them.

    Examples
    --------
    >>> others_line(0.004, none=False), others_line(0.021, none=False)
    ('under 1 % each: all others.', 'under 1 % each (up to 2 % under other guesses): all others.')
    >>> others_line(0.0, none=True)
    'under 1 % each: all others, and that none of the steps with a figure slipped.'
    """
    chance = "under 1 % each" + (
        "" if percent(most) == "under 1 %" else f" (up to {percent(most)} under other guesses)"
    )
    return f"{chance}: all others" + (", and that none of the steps with a figure slipped." if none else ".")


def direction_says(direction: str, slipped: Sequence[tuple[str, str]], none: str | None, *, sound: bool) -> str:
    """Return one clause on a direction: what probably slipped, each with its chance, or that nothing did.

    `none` is the chance that no step with a figure slipped, None where no step has one; `sound`: it is probable.

    Examples
    --------
    >>> direction_says("width", [], "over 99 %", sound=True)
    'width: no sign of a slip in the steps with a figure (over 99 %)'
    >>> direction_says("width", [], "40 %", sound=False)
    'width: it is not clear which step slipped, if any did (40 % that none with a figure did)'
    """
    direction = _line(direction)
    if none is None:
        return f"{direction}: no step has a figure"
    if sound:
        return f"{direction}: no sign of a slip in the steps with a figure ({none})"
    if not slipped:
        return f"{direction}: it is not clear which step slipped, if any did ({none} that none with a figure did)"
    return f"{direction}: " + ", and ".join(f"{says} ({chance})" for says, chance in slipped)


def opening_says(label: str, directions: Sequence[str], lacking: Sequence[str]) -> str:
    """Return one sentence on an opening; `lacking` are the steps that have no figure in one direction at least."""
    silent = f"; no figure for {', '.join(step_name(s) for s in lacking)}" if lacking else ""
    return f"{one_line(label)}: {'; '.join(directions)}{silent}."


def not_traced(label: str, why: str) -> str:
    """Return the sentence on an opening on which this program failed."""
    return f"{label} is not traced. {why}"


def read_evidence(name: str, tape: str, tape_mm: float, photo: tuple[float, float] | None, unit: Unit) -> str:
    """Return what tape and photo say at one station; `photo` is value and U95, mm.

    Examples
    --------
    >>> read_evidence("width_top", "24 1/4", 615.95, None, "in")
    'width, top: the tape said 24 1/4 in'
    """
    said = f"{name_of(name)}: the tape said {tape_figure(tape, tape_mm, unit)}"
    return said + (f", the photo from before {about(*photo, unit)}" if photo else "")


def visit_evidence(name: str, tape: str, tape_mm: float, visit: int, unit: Unit) -> str:
    """Return what another set of readings says at one station."""
    which = "the first readings" if visit == 0 else f"visit {visit}"
    return f"{name_of(name)}: {which} said {tape_figure(tape, tape_mm, unit)}"


def order_evidence(by_rule_mm: float, ordered_mm: float, visit: int, unit: Unit) -> str:
    """Return what the rule gives and what was ordered."""
    return f"{_by_rule(by_rule_mm, visit, unit)}; ordered was {exact_length(ordered_mm, unit)}"


def _by_rule(by_rule_mm: float, visit: int, unit: Unit) -> str:
    which = "the first readings" if visit == 0 else f"the readings as of visit {visit}"
    return f"by the rule {which} give {exact_length(by_rule_mm, unit)}"


def made_evidence(ordered_mm: float, delivered_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return what was ordered and what arrived."""
    return f"ordered was {exact_length(ordered_mm, unit)}; {_delivered(delivered_mm, U95_mm, unit)}"


def delivered_evidence(by_rule_mm: float, delivered_mm: float, U95_mm: float, visit: int, unit: Unit) -> str:
    """Return what the rule gives and what arrived, where no order is on record."""
    return f"{_by_rule(by_rule_mm, visit, unit)}; {_delivered(delivered_mm, U95_mm, unit)}"


def _delivered(delivered_mm: float, U95_mm: float, unit: Unit) -> str:
    return f"delivered measures {exact_length(delivered_mm, unit)}, give or take {_u(U95_mm, unit)}"


def changed_evidence(before: tuple[float, float] | None, after: tuple[float, float], where: str, unit: Unit) -> str:
    """Return what photos before and after say at one station."""
    first = f"the photo from before says {about(*before, unit)}, " if before else ""
    return f"{first}the photo from after says {about(*after, unit)} ({name_of(where)})"


def fit_evidence(fit_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return how the delivered size compares with what the rule gives for the opening as it is now.

    Examples
    --------
    >>> fit_evidence(25.4, 2.9, "in").split(", ")[1]
    'give or take 1/8 in.'
    """
    now, known = "for the opening as the later photo shows it", f"give or take {_u(U95_mm, unit)}"
    if abs(fit_mm) < 0.05:
        return f"Delivered is the size that the rule gives {now}, {known}."
    word = "larger" if fit_mm > 0 else "smaller"
    size = format_length(_rounded(abs(fit_mm), unit), unit)
    return f"Delivered is {size} {word} than the rule gives {now}, {known}."


def no_figure(step: str, code: str) -> str:
    """Return why a step has no figure."""
    return f"no figure for {step_name(step)}: {_NO_FIGURE[code]}."


def would_decide(code: str) -> str:
    """Return what evidence would give a step its figure."""
    return _DECIDES[code]


def paper_would_decide(files: Sequence[str]) -> str:
    """Return what parts measuring from writing down."""
    papers = f" ({', '.join(one_line(f) for f in files)})" if files else ""
    return (
        f"The field sheet{papers} beside the job file: the same number on both means that it came in on site, another "
        "number that it came in when it was typed."
    )


def pieces_would_decide() -> str:
    """Return what makes a figure on making firmer."""
    return "The delivered piece measured again by somebody else with another tape."


def photo_would_decide() -> str:
    """Return what parts a slip from a photo that misleads."""
    return "A further photo from another place, or the opening measured again by another crew."


def heading(job: str, record: str) -> str:
    """Return the heading of a dispute."""
    return f"{one_line(job)}: which step brought an error in (record {record})"


def part_heading(label: str, direction: str) -> str:
    """Return the heading of one direction of an opening, or of its diagonals."""
    return f"{one_line(label)}, {_line(direction)}"


def _line(direction: str) -> str:
    return "diagonals" if direction == "diagonal" else direction


def photo_silent(when: str, why: str) -> str:
    """Return that the photos from before or after say nothing."""
    return f"The photos from {when} do not measure it: {one_line(why)}"


def same_photo() -> str:
    """Return why photos from before and after that are one file show no change."""
    return "one of them is the same file as a photo from before, which can show no change; list the later photo."


def written(folder: Path) -> str:
    """Return where the record was written."""
    return f"Written to {place(folder)}"


def not_written(reason: str) -> str:
    """Return that the record could not be written."""
    return f"{one_line(reason)}. The record was not written; what is shown stands."
