"""Words of decisions, releases, comparisons with a typed order, and disputes."""

from __future__ import annotations

from datetime import UTC, datetime
from fractions import Fraction
from typing import TYPE_CHECKING

from sizing.messages.verdicts import one_line
from sizing.units import INCH_MM, Unit, format_length

if TYPE_CHECKING:
    from sizing.decisions import Decision

_TEXTS = {
    "by": "the name of who decides (--by)",
    "opening": "the opening's label (--opening)",
    "reason": "the reason (--reason)",
    "risk_accepted": "the risk that an override accepts, in words (--accept-risk)",
}
RELEASE_CAUTION = (
    "This releases sizes for making and nothing else. It certifies neither strength nor safety nor a code: escape "
    "openings, debris regions, fixings and local codes are for licensed practice to judge."
)
DISPUTE_CAUTION = (
    "These are probabilities of steps, from the numbers named here and from guessed rates of slips. They name no "
    "person, lay no blame and make no legal claim."
)


def exact_length(length_mm: float, unit: Unit) -> str:
    """Return a length that loses nothing by being written: a fraction to 1/32 in where it is one, else decimals.

    Examples
    --------
    >>> exact_length(1406.525, "in"), exact_length(1406.0, "in"), exact_length(1406.525, "mm")
    ('55 3/8 in', '55.3543 in', '1406.525 mm')
    """
    exact = Fraction(repr(float(length_mm)))
    if unit == "in":
        parts = exact / INCH_MM * 32
        if abs(parts - round(parts)) < Fraction(1, 10_000):
            return format_length(length_mm, "in")
        return f"{float(exact / INCH_MM):.4f}".rstrip("0").rstrip(".") + " in"
    return f"{length_mm:.3f}".rstrip("0").rstrip(".") + " mm"


def decided(decision: Decision, *, stale: bool) -> str:
    """Return the line of the view on what people decided."""
    what = {"send": "may be ordered", "hold": "stopped", "override": "ordered against the check"}[decision.decision]
    line = f"{one_line(decision.by)} decided on {day(decision.time)}: {what} ({one_line(decision.reason)})."
    if not stale:
        return line
    return f"Stale: {line} Readings, photos or order are others since then, so it counts for nothing; decide again."


def day(time: datetime) -> str:
    """Return a time for people, in UTC.

    Examples
    --------
    >>> day(datetime.fromisoformat("2026-05-04T12:30:00+00:00"))
    '2026-05-04 12:30 UTC'
    """
    return time.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


def text_missing(key: str) -> str:
    """Return that a text of a decision is missing."""
    return f"is empty: give {_TEXTS.get(key, key)}."


def text_too_long(most: int) -> str:
    """Return that a text of a decision is too long."""
    return f"is over {most} characters long: say it shorter."


def no_hash() -> str:
    """Return that a decision carries no hash of its inputs."""
    return "is not 64 hex digits: without the hash of its inputs a decision counts for nothing."


def cannot_append(reason: str) -> str:
    """Return that a decision could not be written."""
    return f"cannot be written ({reason or 'no reason given'}); nothing was recorded. Make the job's folder writable."


def cannot_read(reason: str) -> str:
    """Return that the decisions could not be read."""
    return f"cannot be read ({reason or 'no reason given'}). Put it right: it may hold a decision to stop."


def too_large(most: int) -> str:
    """Return that the file of decisions is too large."""
    return f"is over {most // 1_000_000} MB: this is no file of decisions."


def bad_line(says: str) -> str:
    """Return that one line of the decisions cannot be read; it is kept and counts for nothing."""
    return f"no decision: {one_line(says)}. The line is kept and counts for nothing; decide again."
