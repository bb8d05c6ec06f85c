"""A reading of the tape in words: as a length, and as it was put down."""

from __future__ import annotations

from sizing.messages.one_line import one_line
from sizing.typed import SHAPE, UNIT_OF, plain
from sizing.units import INCH_MM, Unit, format_length


def typed_figure(as_written: str, value_mm: float, unit: Unit) -> str:
    """Return a reading as a length of the job's unit: a decimal of that unit, and what 1/32 in does not show, as typed.

    Examples
    --------
    >>> typed_figure("54 6/16", 1381.125, "in"), typed_figure("90.6", 2301.24, "in"), typed_figure("1381", 1381, "mm")
    ('54 3/8 in', '90.6 in', '1381 mm')
    """
    number = _in_unit(as_written, unit)
    said = format_length(value_mm, unit)
    if not number or (number.replace(" ", "").isdigit() and unit == "in"):
        return said
    shown_mm = float(round(value_mm / INCH_MM * 32) * INCH_MM / 32)
    exact = "." not in number and "," not in number and abs(shown_mm - value_mm) < 1e-6
    return said if unit == "in" and exact else f"{number} {unit}"


def tape_figure(as_written: str, value_mm: float, unit: Unit) -> str:
    """Return a reading: as `typed_figure`, and as it was written where that is in other units or words.

    Examples
    --------
    >>> tape_figure('54-3/8"', 1381.125, "in"), tape_figure("138.1 cm", 1381.0, "mm")
    ('54 3/8 in', '1381.0 mm (138.1 cm)')
    """
    said, written = typed_figure(as_written, value_mm, unit), one_line(as_written)
    odd = any(c.isalpha() or c in "'+" for c in written) or written.endswith("-")
    return f"{said} ({written})" if odd and not _in_unit(as_written, unit) else said


def _in_unit(as_written: str, unit: Unit) -> str:
    """Return the number of a length written in the job's unit alone, without its word; else nothing."""
    found = SHAPE.fullmatch(plain(as_written))
    if found is None or found["feet"] or found["mark"] or found["after"]:
        return ""
    return found["number"].replace("-", " ") if UNIT_OF.get(found["unit"] or unit) == unit else ""
