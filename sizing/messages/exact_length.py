"""A size that is ordered or made, as exactly as it is known."""

from __future__ import annotations

from fractions import Fraction

from sizing.units import INCH_MM, Unit, format_length


def exact_length(length_mm: float | Fraction, unit: Unit) -> str:
    """Return a length that loses nothing by being written: a fraction to 1/32 in where it is one, else decimals.

    Examples
    --------
    >>> exact_length(1397.79375, "in"), exact_length(1406.0, "in"), exact_length(1406.525, "mm")
    ('55 1/32 in', '55.3543 in', '1406.525 mm')
    """
    exact = Fraction(repr(float(length_mm)))
    if unit == "in":
        parts = exact / INCH_MM * 32
        if abs(parts - round(parts)) < Fraction(1, 1_000):
            return format_length(length_mm, "in")
        return f"{float(exact / INCH_MM):.4f}".rstrip("0").rstrip(".") + " in"
    return f"{float(length_mm):.3f}".rstrip("0").rstrip(".") + " mm"
