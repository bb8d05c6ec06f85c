"""Words of slips: what probably happened to a reading, in one sentence."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from sizing.messages.names import name_of, names_of
from sizing.messages.one_line import one_line
from sizing.messages.photo_figures import rounded
from sizing.units import INCH_MM, Unit, format_length

# Guess: words, not a level.
_PROBABLY = 0.8
# Slips that are one sentence whichever way the reading is off; the way is put in front, and the size.
_MARKS = {
    "ten-inches": "ten inches {way}: the tape was started at its 10 in mark, or the tens were misread",
    "hundred-mm": "100 mm {way}: the tape was started at its 100 mm mark, or the hundreds were misread",
    "ten-mm": "10 mm {way}: the tape was started at its 10 mm mark, or the tens were misread",
    "inch-added": "two inches {way}: the inch at the tape's start was added in place of taken off",
    "foot": "a foot {way}: a foot mark was miscounted",
    "half": "half an inch {way}: the wrong half-inch mark was read",
    "quarter": "a quarter of an inch {way}: the wrong quarter mark was read",
    "eighth": "an eighth of an inch {way}: the neighbouring mark was read",
    "sixteenth": "a sixteenth of an inch {way}: the neighbouring mark was read",
    "wrong-side": "{way}: the fraction was counted from the wrong side of its inch mark",
    "feet-and-inches": "{way}: feet and inches were written as one number",
    "inches-split": "{way}: an inch number was split into feet and inches",
    "case-length": "{way}: the length of the tape's case was left out",
    "digits-swapped": "two digits swapped in writing: {meant} was meant",
    "six-nine": "a 6 and a 9 taken for each other: {meant} was meant",
    "seen-from-inside": "taken from inside: left and right stand in each other's boxes",
    "one-shift": "all readings are off by one shift: the tape's end hook may be bent or stretched",
}
_UNITS = {"in": "inches", "cm": "centimetres", "mm": "millimetres"}
_SOUND = "the tape may be right: the photo's line or scale may be off instead"
_ONE_RATIO = "all readings are off by one ratio: before the tape suspect "
_SUSPECT = {
    "bars": "the sheet in the photo: are the bars those of this very sheet, and does it lie flat in the plane of the "
    "edges",
    "print": "the print: measure the sheet's bars",
    "page": "the page in the photo: measure it, and see that it lies flat in the plane of the edges",
    "object": "the reference in the photo: its declared size, and that it lies flat in the plane of the edges",
}


def slip_says(
    slip: str, shift_mm: float | None, corrected_mm: float | None, facts: Mapping[str, str], unit: Unit
) -> str:
    """Return one explanation in plain words: what happened, and which reading would then fit.

    Examples
    --------
    >>> slip_says("burned-inch", 25.4, 1381.1, {}, "in")
    'an inch too long: the tape was started at its 1 in mark and the inch was not taken off; 54 3/8 in would fit'
    """
    said = _cause(slip, shift_mm, facts, unit)
    if slip == "wrong-unit":
        size = None if corrected_mm is None else _size(corrected_mm, shift_mm, unit)
        return said if size is None else f"{said}: {size} would be an opening's size"
    return said if corrected_mm is None else f"{said}; {_size(corrected_mm, shift_mm, unit)} would fit"


def _size(corrected_mm: float, shift_mm: float | None, unit: Unit) -> str:
    """Return the size that would fit: in the marks of the reading where it is whole marks off, else as the photo's."""
    mark_mm = float(INCH_MM) / 32 if unit == "in" else 1.0
    marks = (shift_mm or 0.0) / mark_mm
    return format_length(corrected_mm, unit) if abs(marks - round(marks)) < 1e-6 else rounded(corrected_mm, unit)


def _cause(slip: str, shift_mm: float | None, facts: Mapping[str, str], unit: Unit) -> str:
    long = (shift_mm or 0.0) > 0
    way = "too long" if long else "too short"
    extent = {"all": ", on every reading", "axis": ", on every reading of this direction"}.get(
        facts.get("extent", ""), ""
    )
    between = [name_of(name) for name in facts.get("between", "").split()]
    if slip == "one-ratio":
        return _ONE_RATIO + _SUSPECT[facts.get("size_from", "object")]
    if slip in _MARKS:
        return _MARKS[slip].format(way=way, meant=facts.get("meant", "another number")) + extent
    turned = f": {' and '.join(between)}" if between else ""
    words = {
        "burned-inch": f"an inch {way}: "
        + (
            "the tape was started at its 1 in mark and the inch was not taken off"
            if long
            else "the inch at the tape's start was taken off twice, or without need"
        )
        + extent,
        "stations-swapped": f"written into each other's boxes{turned}",
        "width-height-swapped": "width and height swapped"
        + (" on the whole form" if facts.get("extent") == "all" else turned),
        "wrong-unit": _units(facts) + extent,
        "copied": "not measured at its place but copied: one number was written in every box of this direction",
        "another-line": f"measured to another line: {_lines(facts, unit)}",
        "another-opening": f"a reading of another opening of this job: {one_line(facts.get('opening', ''))}",
        "none-of-these": _SOUND if facts.get("reading") == "sound" else "another cause than the usual slips",
    }
    return words.get(slip, slip.replace("-", " "))


def _units(facts: Mapping[str, str]) -> str:
    """Return which unit a number seems to be in, and as which it was put down, where that is known."""
    meant, put_down = (_UNITS.get(facts.get(key, "")) for key in ("unit", "put_down_as"))
    return f"{meant} put down as {put_down}" if meant and put_down else "written in another unit than the job's"


def _lines(facts: Mapping[str, str], unit: Unit) -> str:
    """Return the lines that a tape may have gone to, with the millimetres of their names in the job's unit."""
    said = one_line(facts.get("lines", "trim, frame or sill"))
    inches = re.sub(r"\b(\d+) mm\b", lambda found: format_length(float(found[1]), "in"), said)
    return inches if unit == "in" else said


def likewise(shift_mm: float | None, corrected_mm: float | None, unit: Unit) -> str:
    """Return that the cause just said is that of this reading too, and which reading would then fit.

    Examples
    --------
    >>> likewise(25.4, 914.4, "in")
    'Likewise; 36 in would fit.'
    """
    return "Likewise." if corrected_mm is None else f"Likewise; {_size(corrected_mm, shift_mm, unit)} would fit."


def probably(says: str, probability: float, slip: str) -> str:
    """Return an explanation as a sentence that carries how sure it is."""
    if slip == "none-of-these":
        return says[0].upper() + says[1:] + "."
    lead = "Probably" if probability >= _PROBABLY else "Perhaps"
    return f"{lead} {says}."


def unexplained(names: Sequence[str], says: str) -> str:
    """Return once of several readings what is said where no usual slip explains them.

    Examples
    --------
    >>> unexplained(["width_top", "height_left"], "another cause than the usual slips")
    'width, top; height, left: another cause than the usual slips.'
    """
    return f"{names_of(names)}: {says}."
