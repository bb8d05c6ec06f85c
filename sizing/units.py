"""Lengths as people write them, read exactly and written back; the one place that knows inches.

The point is always a decimal point; a comma is one only where a unit follows. Text that can be read in two
ways is refused with both ways named, because a length guessed wrongly is a thing made wrongly.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal, NoReturn

from sizing.typed import SHAPE, UNIT_OF, plain

Unit = Literal["in", "mm"]

# International inch, 25.4 mm exactly (NIST SP 811, appendix B).
INCH_MM = Fraction(127, 5)
# Contract, *Job file*: over 100 m is an error; over 8 m or under 100 mm a reading in the wrong unit.
LONGEST_MM = 100_000
READING_FROM_MM, READING_TO_MM = 100, 8_000  # such a reading `differs`
LONGEST_TEXT = 60
# Finest common mark, NIST Handbook 44 sec. 10.3: 1/16 in or 1 mm.
GRADUATION_MM: dict[Unit, Fraction] = {"in": INCH_MM / 16, "mm": Fraction(1)}
COMMON_GRADUATION_MM = float(GRADUATION_MM["in"])  # taken where nothing says which
# What tapes and people divide by; anything else is a slip of the finger (common practice, no source).
DENOMINATORS = frozenset({2, 3, 4, 5, 6, 8, 10, 12, 16, 32, 64, 100, 128})

_UNIT_MM = {"in": INCH_MM, "ft": 12 * INCH_MM, "mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000)}
_MARKS: dict[str, Literal[-1, 1]] = {"strong": 1, "+": 1, "scant": -1, "-": -1}

_FRACTION = re.compile(r"(?:([0-9]+)[ -])?([0-9]+) ?/ ?([0-9]+)")
_ALLOWED = "write a length like 54 3/8, 4' 6 3/8\", 54.375 in, 1381 mm or 138.1 cm"


class LengthError(ValueError):
    """A length that cannot be used, with what was found and what is allowed."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length: mm as float and exact, the text as written, and +1 for strong, -1 for scant.

    A strong or scant length includes its quarter graduation. `step_mm` is the worth of the last digit, or of
    one part of the fraction, as written.
    """

    mm: float
    exact: Fraction
    as_written: str
    strong: Literal[-1, 0, 1] = 0
    step_mm: float = 1.0


def parse_length(value: object, unit: Unit, *, graduation_mm: float | Fraction | None = None) -> Length:
    r"""Return the length that a number or text says, exactly.

    Parameters
    ----------
    value : str, int or float
        A number in `unit`, or text in the grammar of the contract, *Job file*.
    unit : "in" or "mm"
        What a bare number means.
    graduation_mm : float or Fraction, optional
        Finest mark read, mm, of which 'strong' and 'scant' are a quarter; absent 1/16 in, or 1 mm where the
        length is metric.

    Raises
    ------
    LengthError
        Not a length, negative, over 100 m, or to be read in two ways, which are named.

    Examples
    --------
    >>> parse_length("4'-6 3/8\"", "mm").mm
    1381.125
    >>> parse_length("54 3/8 strong", "in").exact / INCH_MM
    Fraction(3481, 64)
    """
    length = _number_length(value, unit) if _is_number(value) else _text_length(value, unit, graduation_mm)
    if length.exact < 0:
        raise LengthError(f"{_quoted(value)} is negative: a length is 0 or more")
    return length


def parse_signed_length(value: object, unit: Unit, *, graduation_mm: float | Fraction | None = None) -> Length:
    """Return a length that may be negative, as edge offsets are; otherwise as `parse_length`.

    Examples
    --------
    >>> parse_signed_length("-3/4", "in").mm
    -19.05
    """
    if _is_number(value):
        return _number_length(value, unit)
    if isinstance(value, str) and (sign := _plain(value)[:1]) in ("+", "-"):
        size = _text_length(_plain(value)[1:], unit, graduation_mm)
        exact = -size.exact if sign == "-" else size.exact
        return Length(float(exact), exact, " ".join(value.split()), size.strong, size.step_mm)
    return parse_length(value, unit, graduation_mm=graduation_mm)


def format_length(length_mm: float | Fraction, unit: Unit) -> str:
    """Return a length for people: inches with a fraction to 1/32, or mm with one decimal.

    Examples
    --------
    >>> format_length(1381.125, "in"), format_length(1381.125, "mm")
    ('54 3/8 in', '1381.1 mm')
    """
    exact = _exact(length_mm)
    return _inches(round(exact / INCH_MM * 32), 32) if unit == "in" else _tenths(round(exact * 10))


def format_uncertainty(u_mm: float | Fraction, unit: Unit) -> str:
    """Return an uncertainty for people, rounded up to 1/16 in or to 0.1 mm; LengthError when it is negative.

    Examples
    --------
    >>> format_uncertainty(1.8, "in"), format_uncertainty(1.81, "mm")
    ('1/8 in', '1.9 mm')
    """
    exact = _exact(u_mm)
    if exact < 0:
        raise LengthError(f"an uncertainty of {u_mm} mm: it cannot be negative")
    # A millionth of a mm less: arithmetic in floats must not push 1/16 in up to 1/8 in.
    exact -= Fraction(1, 1_000_000)
    return _inches(math.ceil(exact / INCH_MM * 16), 16) if unit == "in" else _tenths(math.ceil(exact * 10))


def _exact(value: float | Fraction) -> Fraction:
    if isinstance(value, Fraction):
        return value
    if not math.isfinite(value):
        raise LengthError(f"{value} is not a length")
    return Fraction(repr(float(value)))


def _inches(count: int, parts: int) -> str:
    whole, rest = divmod(abs(count), parts)
    words = [str(whole)] if whole or not rest else []
    if rest:
        words.append(str(Fraction(rest, parts)))
    return ("-" if count < 0 else "") + " ".join(words) + " in"


def _tenths(count: int) -> str:
    whole, tenth = divmod(abs(count), 10)
    return f"{'-' if count < 0 else ''}{whole}.{tenth} mm"


def _quoted(value: object) -> str:
    text = value.strip() if isinstance(value, str) else str(value) if _is_number(value) else type(value).__name__
    return repr(text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 3] + "...")


def _is_number(value: object) -> bool:
    # An integer too long to print is caught here, before anything tries to print it.
    if isinstance(value, int) and abs(value) > 10**LONGEST_TEXT:
        raise LengthError("a number of more than 60 digits is over 100 m")
    return isinstance(value, int | float) and not isinstance(value, bool)


def _number_length(value: object, unit: Unit) -> Length:
    text = str(value)
    number = Decimal(text)
    if not number.is_finite():
        raise LengthError(f"{text!r} is not a length; {_ALLOWED}")
    step = Fraction(10) ** int(number.as_tuple().exponent)
    return _length(Fraction(number), step, _UNIT_MM[unit], text, 0, Fraction(0))


def _length(
    number: Fraction,
    step: Fraction,
    unit_mm: Fraction,
    text: str,
    strong: Literal[-1, 0, 1],
    graduation: Fraction,
) -> Length:
    exact = number * unit_mm + strong * graduation / 4
    if abs(exact) > LONGEST_MM:
        raise LengthError(f"{_quoted(text)} is over 100 m: check the unit")
    return Length(float(exact), exact, " ".join(text.split()), strong, float(step * unit_mm))


def _plain(text: str) -> str:
    short = plain(text) if len(text) <= 10 * LONGEST_TEXT else text
    if len(short) > LONGEST_TEXT:
        raise LengthError(f"{_quoted(text)} is too long for a length; {_ALLOWED}")
    return short


def _text_length(value: object, unit: Unit, graduation_mm: float | Fraction | None) -> Length:
    if not isinstance(value, str):
        raise LengthError(f"{_quoted(value)} is not a length; {_ALLOWED}")
    text = _plain(value)
    if text.startswith("-"):
        raise LengthError(f"{_quoted(value)} is negative: a length is 0 or more")
    if text.startswith("+"):
        _two_ways(value, text[1:].strip(), f"{text[1:].strip()} strong")
    shape = SHAPE.fullmatch(text)
    if shape is None or (shape["mark"] and shape["after"]):
        raise LengthError(f"{_quoted(value)} is not a length; {_ALLOWED}")
    written = UNIT_OF[shape["unit"]] if shape["unit"] else None
    unit_mm = _UNIT_MM[written or ("in" if shape["feet"] else unit)]
    number, step = _number(value, shape["number"], unit_mm, bare=not written, feet=shape["feet"])
    if shape["feet"]:
        number += _feet(value, shape["feet"], number, written)
    elif not written and unit == "mm" and "/" in text:
        _two_ways(value, f"{text} mm", f"{text} in")
    elif written == "ft" and shape["after"] == "-":
        _two_ways(value, f"{shape['number']} ft scant", f"{shape['number']} ft and inches that are missing")
    if (mark := shape["mark"] or shape["after"]) is None:
        return _length(number, step, unit_mm, value, 0, Fraction(0))
    metric = written in ("mm", "cm", "m") or (written is None and not shape["feet"] and unit == "mm")
    graduation = GRADUATION_MM["mm" if metric else "in"] if graduation_mm is None else _exact(graduation_mm)
    return _length(number, step, unit_mm, value, _MARKS[mark], graduation)


def _feet(value: str, feet: str, inches: Fraction, written: str | None) -> Fraction:
    if written not in (None, "in") or not feet.isdigit():
        raise LengthError(f"{_quoted(value)} is not a length: whole feet, then inches, like 4' 6 3/8\"")
    if inches >= 12:
        total = int(feet) * 12 + inches
        _two_ways(value, _inches(int(total * 128), 128), f"{feet} ft and less than 12 in")
    return Fraction(int(feet) * 12)


def _number(
    value: str, number: str, unit_mm: Fraction, *, bare: bool, feet: str | None = None
) -> tuple[Fraction, Fraction]:
    """Return the value of a number's text and the worth of its last digit, both in its unit; `feet` stand before it."""
    if number.isdigit():
        return Fraction(number), Fraction(1)
    if re.fullmatch(r"[0-9]*\.[0-9]+", number):
        return Fraction(number), Fraction(1, 10 ** len(number.partition(".")[2]))
    before = f"{feet}' " if feet else ""
    if match := re.fullmatch(r"([0-9]+),([0-9]+)", number):
        return _comma(value, match[1], match[2], unit_mm, bare=bare, feet=before)
    if match := _FRACTION.fullmatch(number):
        return _mixed(value, match[1], match[2], match[3], before)
    return _refuse(value, number, before)


def _comma(
    value: str, whole: str, decimals: str, unit_mm: Fraction, *, bare: bool, feet: str
) -> tuple[Fraction, Fraction]:
    thousands = len(decimals) == 3 and len(whole) <= 3 and whole[0] != "0"
    # 1381 m is no length of an opening, so 1,381 m has one reading left.
    if thousands and (bare or int(whole + decimals) * unit_mm <= LONGEST_MM):
        _two_ways(value, f"{feet}{whole}.{decimals}", f"{feet}{whole}{decimals}")
    if bare:
        _two_ways(value, f"{feet}{whole}.{decimals}", f"{feet}{whole} and {decimals}")
    return Fraction(f"{whole}.{decimals}"), Fraction(1, 10 ** len(decimals))


def _mixed(value: str, whole: str | None, top: str, bottom: str, feet: str) -> tuple[Fraction, Fraction]:
    over, under = int(top), int(bottom)
    if under not in DENOMINATORS:
        raise LengthError(f"{_quoted(value)}: no tape is divided into parts of 1/{bottom}; {_ALLOWED}")
    if over >= under:
        size = int(whole or 0) + Fraction(over, under)
        mark = '"' if feet else ""
        splits = [f"{feet}{top[:i]} {top[i:]}/{bottom}{mark}" for i in range(1, len(top)) if 0 < int(top[i:]) < under]
        other = splits[-1] if splits and not whole else "a slip in the fraction"
        _two_ways(value, feet + _inches(int(size * under), under).removesuffix(" in") + mark, other)
    return int(whole or 0) + Fraction(over, under), Fraction(1, under)


def _refuse(value: str, number: str, feet: str) -> NoReturn:
    """Name both readings of the commonest texts that have two; `feet` stand before each."""
    mark = '"' if feet else ""
    if match := re.fullmatch(r"([0-9]+) ?- ?([0-9]+ ?/ ?[0-9]+)", number):
        _two_ways(value, f"{feet}{match[1]} {match[2]}{mark}", f"{feet}{match[1]} less {match[2]}{mark}")
    if not feet and (match := re.fullmatch(r"([0-9]+)[ -]+([0-9]+)[ -]+([0-9]+)", number)):
        _two_ways(value, f"{match[1]}' {match[2]} {match[3]}/8\"", f"{match[1]}' {match[2]} {match[3]}/16\"")
    if not feet and (match := re.fullmatch(r"([0-9]+)[ -]+([0-9]+)[ -]+([0-9]+ ?/ ?[0-9]+)", number)):
        _two_ways(value, f"{match[1]}' {match[2]} {match[3]}\"", f"{match[1]}{match[2]} {match[3]}")
    if match := re.fullmatch(r"([0-9]+) ?([ -]) ?([0-9])([0-9]*)", number):
        second, under = match[3] + match[4], match[4] or "8"
        sized = int(under) in DENOMINATORS and int(match[3]) < int(under)
        one = f"{match[1]} {match[3]}/{under}" if sized else f"{match[1]} and {second}"
        if feet:
            other = f"{match[1]} less {second}" if match[2] == "-" else match[1] + second
            _two_ways(value, f"{feet}{one}{mark}", f"{feet}{other}{mark}")
        _two_ways(value, one, f"{match[1]}' {second}\"" if match[2] == "-" else match[1] + second)
    raise LengthError(f"{_quoted(value)} is not a length; {_ALLOWED}")


def _two_ways(value: str, one: str, other: str) -> NoReturn:
    raise LengthError(f"{_quoted(value)} can be read as {one} or as {other}: write which is meant, with its unit")
