"""Words for a question that the log cannot answer: a name, day or choice that does not fit."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.logged import Logged
from sizing.messages.one_line import one_line


def nothing_found() -> str:
    """Say that no check fits what was asked."""
    return "No check in the log fits this. Checks made before the log began come in by `secondtape log rebuild FOLDER`."


def unknown_run(name: str) -> str:
    """Say that no check is meant by a name."""
    return f"{one_line(name)}: the log knows no such job or run; `secondtape log list` shows those that it knows."


def several_runs(name: str, found: Sequence[Logged]) -> str:
    """Say that a name may mean several checks."""
    runs = ", ".join(f"{x.run} ({one_line(x.job)}, {x.day}, {one_line(x.path)})" for x in found)
    return f"{one_line(name)} may mean several checks: {runs}. Name one by its run, or by the run's folder."


def bad_day(option: str, text: str) -> str:
    """Say that a day is not written as one."""
    return f"{option} {one_line(text)!r} is no day; write it like 2026-05-04."


def no_text(option: str, text: str) -> str:
    """Say that what was typed holds bytes that are no text."""
    return f"{option} {one_line(text)!r} holds signs that are no text (UTF-8); type the part that is."


def bad_choice(option: str, text: str, known: Sequence[str]) -> str:
    """Say that an option takes other words."""
    return f"{option} {one_line(text)!r} is not one of {', '.join(known)}."
