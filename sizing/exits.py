"""Exit statuses of the command line; what a script may rely on."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum


class Exit(IntEnum):
    """Exit status of `secondtape`; the words of the contract in numbers."""

    DONE = 0
    """All openings may be sent; an estimate was measured."""
    HOLD = 1
    """At least one opening is on hold."""
    USAGE = 2
    """The command was typed wrongly, or asks for what this version cannot do."""
    UNPROVEN = 3
    """At least one opening is unproven; an estimate could not be measured."""
    UNREADABLE = 4
    """A job or a photo could not be read."""
    FAULT = 70
    """A mistake of this program (EX_SOFTWARE of sysexits.h); please report it with the trace."""
    NOT_WRITTEN = 74
    """The output could not be written (EX_IOERR of sysexits.h): a full disk, or one that fails."""
    INTERRUPTED = 130
    """Stopped by the user (128 + SIGINT, as shells do)."""


def overall(statuses: Iterable[Exit]) -> Exit:
    """Return the exit status of several jobs by those of each: 1 hold; else 4 unreadable; else 3 unproven; else 0.

    Examples
    --------
    >>> overall([Exit.DONE, Exit.UNPROVEN, Exit.UNREADABLE]).name, overall([]).name
    ('UNREADABLE', 'DONE')
    """
    found = set(statuses)
    return next((status for status in (Exit.HOLD, Exit.UNREADABLE, Exit.UNPROVEN) if status in found), Exit.DONE)
