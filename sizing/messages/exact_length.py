"""A size that is ordered or made, as exactly as it is known."""

from __future__ import annotations

from fractions import Fraction

from sizing.units import INCH_MM, Unit, format_length

# Sizes of a result are rounded to 0.01 mm: so near to a fraction they are that fraction.
_ROUNDED_MM = Fraction(6, 1_000)


def exact_length(length_mm: float | Fraction, unit: Unit) -> str:
    """Return a length that loses nothing by being written: a fraction to 1/32 in where it is one, else decimals.

    Examples
    --------
    >>> exact_length(1397.79375, "in"), exact_length(1406.0, "in"), exact_length(1406.525, "mm")
    ('55 1/32 in', '55.3543 in', '1406.525 mm')
    >>> exact_length(1057.28, "in")  # 41 5/8 in is 1057.275 mm
    '41 5/8 in'
    """
    exact = Fraction(repr(float(length_mm)))
    if unit == "in":
        nearest = round(exact / INCH_MM * 32) * INCH_MM / 32
        if abs(exact - nearest) < _ROUNDED_MM:
            return format_length(nearest, "in")
        return f"{float(exact / INCH_MM):.4f}".rstrip("0").rstrip(".") + " in"
    return f"{float(length_mm):.3f}".rstrip("0").rstrip(".") + " mm"
