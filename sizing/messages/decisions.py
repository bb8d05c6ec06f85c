"""Words of decisions: what was decided, why one cannot be recorded, and lines of their file that cannot be read."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from sizing.decided import Decision
from sizing.messages.one_line import one_line, place, sentence
from sizing.messages.verdicts import DECISIONS, VERDICTS

_TEXTS = {
    "by": "the name of who decides (--by)",
    "opening": "the opening's label (--opening)",
    "reason": "the reason (--reason)",
    "risk_accepted": "the risk that an override accepts, in words (--accept-risk)",
}


def decided(decision: Decision, *, stale: bool) -> str:
    """Return the line of the view on what people decided."""
    what = DECISIONS[decision.decision]
    line = f"{one_line(decision.by)} decided on {day(decision.time)}: {what} ({one_line(decision.reason).rstrip('.')})."
    if not stale:
        return line
    return f"Stale: {line} Readings, photos or order have changed since then, so it counts for nothing; decide again."


def day(time: datetime) -> str:
    """Return a time for people, in UTC.

    Examples
    --------
    >>> day(datetime.fromisoformat("2026-05-04T12:30:00+00:00"))
    '2026-05-04 12:30 UTC'
    """
    return time.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


def send_unsupported(label: str, verdict: str, why: str, step: str, *, at_desk: bool = False) -> str:
    """Return that a decision to send cannot be recorded against the check; `step` is what it says to do next."""
    against = "choose that, and say which risk is taken" if at_desk else "use --override with --accept-risk TEXT"
    steps = [step] if step else []
    steps.append(f"To order against the check {against}.")
    return (
        f"{one_line(label)}: {VERDICTS[verdict]}. {sentence(why)} A decision to send would count for nothing, and "
        f"nothing was recorded. {' '.join(steps)}"
    )


def recorded(decision: Decision, file: Path, line: int) -> str:
    """Return that a decision was recorded."""
    return f"{one_line(decision.opening)}: {decided(decision, stale=False)} Recorded as line {line} of {place(file)}."


def text_missing(key: str) -> str:
    """Return that a text of a decision is missing."""
    return f"is empty: give {_TEXTS.get(key, key)}."


def text_too_long(most: int) -> str:
    """Return that a text of a decision is too long."""
    return f"is over {most} characters long: say it shorter."


def no_text() -> str:
    """Return that a text of a decision holds what is no character."""
    return "holds half a character: type it again."


def no_regular_file() -> str:
    """Return that the decisions are no plain file."""
    return "is a link or no regular file: put the decisions themselves there, as one plain file."


def no_size_of_order() -> str:
    """Return that what is about to be ordered has no size."""
    return "of what is ordered is no length above 0: put it right in the job file, then decide."


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


def more_bad_lines(count: int) -> str:
    """Return how many more lines of the decisions cannot be read."""
    return f"{count} more lines are no decisions. They are kept and count for nothing; look whether this is the file."


def bad_line(says: str) -> str:
    """Return that one line of the decisions cannot be read; it is kept and counts for nothing."""
    return f"no decision: {one_line(says).rstrip('.')}. The line is kept and counts for nothing; decide again."
