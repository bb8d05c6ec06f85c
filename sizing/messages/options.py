"""Words for options of commands that do not fit, or not together."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.one_line import one_line


def bad_page(page: str) -> str:
    """Return that a paper is not known."""
    return f"--page: '{one_line(page)}' is not known; use letter or a4."


def unknown_opening(label: str, known: Sequence[str]) -> str:
    """Return that a job has no such opening."""
    listed = ", ".join(one_line(k) for k in known)
    return f"--opening: no opening is labelled '{one_line(label)}'; the job has {listed}."


def one_job_for_openings() -> str:
    """Return that openings can be named for one job only."""
    return "--opening: name one JOB with it, as labels are those of one job."


def one_choice() -> str:
    """Return that a decision is one of three."""
    return "Choose one of --send, --hold and --override."


def reason_without_name() -> str:
    """Return that a reason needs a name."""
    return "--reason: give --by NAME too; a decision needs both."
