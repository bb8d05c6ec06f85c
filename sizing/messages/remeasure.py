"""Words for the crew that measures again: what was read and what to look out for, never the number to find."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from sizing.messages.names import name_of
from sizing.messages.one_line import one_line

_HOOK = "Start at the tape's end hook, not at a printed mark, and add or take off nothing."
_MARK = "Read the whole number first, then the fraction, counted up from the whole mark below; have it read back."
_WRITE = "Say the number aloud as it is written, digit by digit, and have it read back."
_BOX = "Check the name of the box before writing: top, middle and bottom; left, middle and right."
# What to look out for by the suspected slip; absent: `_CARE`.
_LOOK_OUT: Mapping[str, str] = {
    "burned-inch": _HOOK,
    "inch-added": _HOOK,
    "ten-inches": _HOOK + " Read the tens again at the far end.",
    "hundred-mm": _HOOK + " Read the hundreds again at the far end.",
    "ten-mm": _HOOK + " Read the tens again at the far end.",
    "foot": "Count whole inches along the blade, not feet from a foot mark.",
    "half": _MARK,
    "quarter": _MARK,
    "eighth": _MARK,
    "sixteenth": _MARK,
    "wrong-side": _MARK,
    "feet-and-inches": "Write inches only, or feet and inches with their marks.",
    "inches-split": "Write inches only, their digits together.",
    "digits-swapped": _WRITE,
    "six-nine": "Hold the tape the right way up; " + _WRITE[0].lower() + _WRITE[1:],
    "stations-swapped": _BOX,
    "width-height-swapped": "Widths run across, heights run up: check the name of the box before writing.",
    "seen-from-inside": "Stand outside: left and right are as seen from outside.",
    "case-length": "Bend the blade into the corner or use two tapes; if the case counts, add the length printed on it.",
    "wrong-unit": "Read one scale of the tape only, and write the unit beside the number.",
    "copied": "Measure at each place of its own, and write each number at once; do not copy.",
    "another-line": "Measure between the front edges of the wall's opening, not to trim, frame or another line of "
    "the sill.",
    "another-opening": "Make sure which opening this is: compare with the photo and the label.",
    "one-shift": "Check the tape's end hook for bends and play; take another tape.",
    "one-ratio": "Measure the sheet's bars or the reference card too, and write down what it measures.",
}
_CARE = "Lay the blade straight between the front edges, at the place named, and read it twice."
LADDER = "Above reach: a ladder on firm ground with somebody at its foot, or leave it. Glass: no pressure on panes."


def look_out(slip: str | None) -> str:
    """Return what to look out for when a reading is taken again, by the slip that is suspected.

    Examples
    --------
    >>> look_out("six-nine")
    'Hold the tape the right way up; say the number aloud as it is written, digit by digit, and have it read back.'
    """
    return _LOOK_OUT.get(slip or "", _CARE)


def item(name: str, read: str) -> str:
    """Return what was read at one place.

    Examples
    --------
    >>> item("width_top", "54 3/8 in")
    'width, top: 54 3/8 in was read.'
    """
    return f"{name_of(name)}: {read} was read."


def items(read: Sequence[str], watch: str) -> list[str]:
    """Return the lines of readings of which one thing is to be looked out for: it stands with one, below several.

    Examples
    --------
    >>> items(["one."], "Read it twice."), items(["one.", "two."], "Read it twice.")
    (['- one. Read it twice.'], ['- one.', '- two.', 'At each of these: Read it twice.'])
    """
    if len(read) == 1:
        return [f"- {read[0]} {watch}"]
    return [*(f"- {line}" for line in read), f"At each of these: {watch}"]


def request(label: str, items: Sequence[str], *, job: str = "", on: date | None = None, high: bool = True) -> str:
    """Return the text for the crew on one opening; nothing where nothing is to be measured again.

    Examples
    --------
    >>> request("W1", ["- ..."], job="larch 1", on=date(2026, 5, 4)).splitlines()[0]
    'Job larch 1, measured on 2026-05-04'
    """
    if not items:
        return ""
    of_job = ", ".join([*([f"Job {one_line(job)}"] if job else []), *([f"measured on {on}"] if on else [])])
    lines = [of_job] if of_job else []
    lines += [f"Please measure again at {one_line(label)}, without looking at the numbers below while you read:"]
    return "\n".join([*lines, *items, *([LADDER] if high else [])])


def in_view(lines: Sequence[str]) -> str:
    """Return the short line of the view on what to tell the crew."""
    return f"For the crew: {' '.join(dict.fromkeys(lines))}" if lines else ""
