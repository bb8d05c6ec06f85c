"""Words of intake: a typed length said back, what a spreadsheet's cell holds, how sure a proposal is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from sizing.messages.names import name_of, names_of
from sizing.messages.one_line import one_line
from sizing.units import INCH_MM, READING_FROM_MM, READING_TO_MM, Length, Unit, format_length

_SMALL = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_PARTS = {
    2: "half", 3: "third", 4: "quarter", 5: "fifth", 6: "sixth", 8: "eighth", 10: "tenth", 12: "twelfth",
    16: "sixteenth", 32: "thirty-second", 64: "sixty-fourth",
}  # fmt: skip


_SIDES = ("head", "sill", "left", "right")
_FIELD = (
    r"(?:width|height|diagonal|ordered)\.\w+|check_bar(?:\.(?:across|along))?|quantity|wall|rule|note|"
    rf"edge_offset(?:\.(?:{'|'.join(_SIDES)}))?"
)
_PLACE = re.compile(rf'(?:opening\[\d+\] "(?P<label>[^"]*)"\.)?(?P<code>{_FIELD})(?:\.value)?')
# The fields of the form of an opening whose key says too little, as they are named there.
_FORM = {
    "check_bar": "printed 150 mm bar as measured",
    "check_bar.across": "printed 150 mm bar as measured",
    "check_bar.along": "printed 200 mm bar as measured",
    "edge_offset": "edges stand in front of the sheets by",
    **{f"edge_offset.{side}": f"{side} stands in front by" for side in _SIDES},
}


def field_name(key: str) -> str:
    """Return the plain name of a field of a form.

    Examples
    --------
    >>> field_name("diagonal.up"), field_name("edge_offset")
    ('diagonal, bottom left to top right', 'edges stand in front of the sheets by')
    """
    return _FORM.get(key) or name_of(key.replace(".", "_"))


def place_name(where: str) -> str:
    """Return the place of a problem in words where it is a field of an opening, else as it is.

    Examples
    --------
    >>> place_name('opening[1] "W2".width.top')
    'W2, width, top'
    >>> place_name('opening[1] "W2".check_bar')
    'W2, printed 150 mm bar as measured'
    >>> place_name('opening[0] "W2".edge_offset.sill'), place_name("edge_offset")
    ('W2, sill stands in front by', 'edges stand in front of the sheets by')
    """
    found = _PLACE.fullmatch(where)
    if not found:
        return where
    name = field_name(found["code"])
    return f"{found['label']}, {name}" if found["label"] else name


def number_words(number: int) -> str:
    """Return a whole number below a million in words.

    Examples
    --------
    >>> number_words(54), number_words(1381)
    ('fifty-four', 'one thousand three hundred eighty-one')
    """
    if number >= 1000:
        rest = number % 1000
        return number_words(number // 1000) + " thousand" + (f" {number_words(rest)}" if rest else "")
    if number >= 100:
        rest = number % 100
        return _SMALL[number // 100] + " hundred" + (f" {number_words(rest)}" if rest else "")
    if number >= 20:
        rest = number % 10
        return _TENS[number // 10 - 2] + (f"-{_SMALL[rest]}" if rest else "")
    return _SMALL[number]


def length_words(length: Length, unit: Unit) -> str:
    """Return a length as it was understood, in words, and in the other unit to compare.

    Examples
    --------
    >>> from sizing.units import parse_length
    >>> length_words(parse_length("54 3/8", "in"), "in")
    'fifty-four and three eighths inches (1381.1 mm)'
    >>> length_words(parse_length("1381", "mm"), "mm")
    'one thousand three hundred eighty-one millimetres (54 3/8 in)'
    """
    one = INCH_MM if unit == "in" else Fraction(1)
    other = format_length(length.exact, "mm" if unit == "in" else "in")
    number = length.exact / one
    whole, part = divmod(number, 1)
    words = [number_words(int(whole))] if whole or not part else []
    if part and part.denominator in _PARTS and unit == "in":
        plural = "halves" if part.denominator == 2 else _PARTS[part.denominator] + "s"
        words.append(f"{_SMALL[part.numerator]} {plural}" if part.numerator in range(2, 20) else "")
        if part.numerator == 1:
            words[-1] = f"one {_PARTS[part.denominator]}"
        elif part.numerator >= 20:
            words[-1] = f"{number_words(part.numerator)} {plural}"
    elif part:
        words = [f"{float(number):.3f}".rstrip("0").rstrip(".")]
    name = {"in": ("inch", "inches"), "mm": ("millimetre", "millimetres")}[unit][number != 1]
    about = {1: ", strong", -1: ", scant", 0: ""}[length.strong]
    says = f"{' and '.join(words)} {name}{about} ({other})"
    if not READING_FROM_MM <= length.exact <= READING_TO_MM:
        says += ": no size of an opening; check the unit"
    return says


def proposed_by_fit(label: str, probability: float, off: Sequence[str] = ()) -> str:
    """Return what a proposal by fit says, with how sure it is; `off` are readings that the photo does not bear out.

    Examples
    --------
    >>> proposed_by_fit("W1", 0.9987)
    'fits the readings of W1 (probability over 99 %)'
    >>> proposed_by_fit("W1", 0.93, ["width_top", "width_middle"])
    'fits the readings of W1 (probability about 93 %), all but width, top; width, middle'
    """
    percent = int(probability * 100)
    sure = f"(probability {'over 99' if percent >= 99 else f'about {percent}'} %)"
    return f"fits the readings of {label} {sure}" + (f", all but {names_of(off)}" if off else "")


def proposed_roughly(label: str, probability: float, off: Sequence[str] = ()) -> str:
    """Return what a proposal says that rests on an outline which nobody confirmed."""
    rough = "by an outline found that may not be the edge the tape touched; point at its corners to be sure"
    return f"{proposed_by_fit(label, probability, off)}, {rough}"


def fits_its_own(label: str, probability: float, off: Sequence[str] = ()) -> str:
    """Return that a photo fits the opening that it is given to, with how sure it is."""
    said = proposed_by_fit(label, probability, off)
    return f"{said}, as it is given" + ("; the check says what is likely" if off else "")


def fits_another(label: str, own: str, probability: float, off: Sequence[str] = ()) -> str:
    """Return that a photo fits another opening than the one that it is given to."""
    return f"{proposed_by_fit(label, probability, off)}, though it is given to {own}: look again which one it shows"


def fits_not_its_own(own: str) -> str:
    """Return that a photo fits neither its own opening nor another."""
    return f"fits neither the readings of {own} nor those of another opening: the check says which readings differ"


def point_to_compare() -> str:
    """Return what is missing for a photo to be compared with the readings."""
    return (
        "it must be pointed at first: give the photo to the opening that you think it shows and place the "
        "four corners on that opening's page; it then says at once whose readings fit"
    )


def readings_to_compare(labels: Sequence[str], least: int) -> str:
    """Return which openings a photo can be compared with, and what is missing where there are none."""
    if labels:
        those = ", ".join(labels)
        return f"Measures each photo and compares it with the readings of {those}; nothing is assigned by it."
    return f"Nothing to compare with yet: type at least {least} readings of an opening, then photos can be compared."


def proposed_by_time(label: str, beside: str, gap_s: float) -> str:
    """Return what a proposal by time says: what it rests on, and that it is a guess."""
    if beside:
        seconds = round(gap_s)
        apart = "at the same time as" if seconds == 0 else f"{seconds} s from"
        return f"taken {apart} {beside}, which is at {label}; a guess by the time only"
    return f"the photos fall into as many groups by time as there are openings; in that order it is {label}: a guess"


def panel_says(letter: str, fields: Sequence[str], *, legible: bool) -> str:
    """Return what stands on the write-in panel of a sheet, by the fields in which there is writing.

    Examples
    --------
    >>> panel_says("A", (), legible=True), panel_says("B", ("job", "opening"), legible=True)
    ('Sheet A: nothing readable is written on it.', 'Sheet B: something is written under job and opening.')
    """
    if not fields:
        return f"Sheet {letter}: nothing readable is written on it."
    where = ", ".join(fields[:-1]) + " and " + fields[-1] if len(fields) > 1 else fields[0]
    small = "" if legible else ", too small in this photo to be read with certainty"
    return f"Sheet {letter}: something is written under {where}{small}."


def fits_several(labels: list[str]) -> str:
    """Return that sizes cannot tell between openings."""
    return f"fits {' and '.join(labels)} alike: their sizes cannot tell which it shows"


def fits_none() -> str:
    """Return that a photo was measured and fits no typed opening."""
    return "fits no opening whose readings are typed"


def not_compared(why: str) -> str:
    """Return that a photo could not be measured, with the reason."""
    return f"could not be measured, so its size says nothing: {why}"


def rules_not_found(names: Sequence[str]) -> str:
    """Return that sizing rules of the last check are not seen by this desk; nothing where there are none.

    Examples
    --------
    >>> rules_not_found(["shade"]).split(":")[0]
    "The sizing rule shade of the last check is not found from this desk's folder"
    """
    if not names:
        return ""
    one = len(names) == 1
    return (
        f"The sizing rule{'' if one else 's'} {', '.join(one_line(n) for n in names)} of the last check "
        f"{'is' if one else 'are'} not found from this desk's folder: it looks in folders named rules beside the job, "
        "above it up to its own folder, and in your config folder. Put the file there, or start the desk on the folder "
        "that holds it."
    )
