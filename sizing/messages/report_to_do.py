"""Words of the report on what to do with an opening, and what to note of it."""

from __future__ import annotations

from sizing.messages.check_warnings import TAKE_A_PHOTO
from sizing.messages.names import name_of
from sizing.messages.one_line import file_name, one_line, sentence


def nothing_to_do() -> str:
    """Return what to do with an opening that may be ordered."""
    return "Nothing more: order the size by the readings."


def look_before_ordering() -> str:
    """Return what to do with an opening that may be ordered once its remarks have been looked at."""
    return "Look at what is noted below; then order the size by the readings."


def photo_unused(file: str, why: str) -> str:
    """Return that a photo gave nothing, and why."""
    said = one_line(why)
    return sentence(said if file_name(file) in said else f"{file_name(file)}: {said}")


def superseded(name: str, read: str) -> str:
    """Return that a later visit replaced a reading."""
    return f"Replaced by a later visit: {name_of(name)}, {read}."


def photo_to_take() -> str:
    """Return what to do with an opening that was not measured for what is said in its verdict."""
    return f"Do not order on this check: nothing was checked. {TAKE_A_PHOTO} Then run the check once more."
