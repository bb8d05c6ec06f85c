"""Words of overviews on what people decided about an opening, and in which releases it went out before."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.decided import Decision
from sizing.messages.one_line import one_line

_SHORT = {
    "send": "To be ordered, by {by}",
    "hold": "Stopped by {by}",
    "override": "Ordered against the check, by {by}",
}


def in_short(decision: Decision, *, stale: bool) -> str:
    """Return a decision as a table has room for it; a stale one says that it counts for nothing."""
    said = _SHORT[decision.decision].format(by=one_line(decision.by))
    return f"Stale, counts for nothing: {said[0].lower()}{said[1:]}" if stale else said


def stopped_step(by: str) -> str:
    """Return what to do with an opening that a person stopped.

    Examples
    --------
    >>> stopped_step("B. Office")
    'Stopped by B. Office: do not order until decided anew.'
    """
    return f"Stopped by {one_line(by)}: do not order until decided anew."


def by_the_check(verdict_words: str, why: str) -> str:
    """Return what the check says of an opening that a person stopped."""
    return f"By the check: {verdict_words}. {why}".strip()


def settle(reason: str) -> str:
    """Return what to do next with an opening that a person stopped for a reason.

    Examples
    --------
    >>> settle("crew to look again.")
    'Settle what it was stopped for (crew to look again); then decide anew, at the desk or with `secondtape decide`.'
    """
    said = one_line(reason).rstrip(".")
    return f"Settle what it was stopped for ({said}); then decide anew, at the desk or with `secondtape decide`."


def stopped_headline(stopped: int, total: int) -> str:
    """Return the headline of a job that the check lets go and people do not.

    Examples
    --------
    >>> stopped_headline(1, 3)
    'Stopped by a person: 1 of 3 openings must not be ordered until decided anew.'
    """
    if total == 1:
        return "Stopped by a person: this opening must not be ordered until decided anew."
    return f"Stopped by a person: {stopped} of {total} openings must not be ordered until decided anew."


def people_decided(stopped: Sequence[str], overridden: Sequence[str]) -> str:
    """Return in one line what people decided otherwise than the check says; nothing where nothing.

    Examples
    --------
    >>> people_decided(["W4"], ["W2", "W3"])
    'That is the check alone; people decided otherwise: stopped W4; ordered against the check W2, W3.'
    """
    named = (("stopped", stopped), ("ordered against the check", overridden))
    parts = [f"{what} {', '.join(one_line(label) for label in labels)}" for what, labels in named if labels]
    return f"That is the check alone; people decided otherwise: {'; '.join(parts)}." if parts else ""


def released_in(numbers: Sequence[str]) -> str:
    """Return the earlier releases that an opening is in; nothing without any.

    Examples
    --------
    >>> released_in(["05a42a409751"]), released_in(["05a42a409751", "7f5e3c212d35"])
    ('Already in release 05a42a409751', 'Already in releases 05a42a409751, 7f5e3c212d35')
    """
    if not numbers:
        return ""
    return f"Already in release{'s' if len(numbers) > 1 else ''} {', '.join(one_line(n) for n in numbers)}"
