"""The tolerance that readings are judged by, in words."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.exact_length import exact_length
from sizing.messages.one_line import one_line
from sizing.units import Unit

Limits = tuple[float, float]


def allowed(limits_mm: Limits, unit: Unit) -> str:
    """Return how far a reading may be under and over, mm, without harm.

    Examples
    --------
    >>> allowed((6.35, 6.35), "in"), allowed((6.35, 9.525), "in"), allowed((6.35, 6.35), "mm")
    ('1/4 in either way', '1/4 in under or 3/8 in over', '6.35 mm either way')
    """
    under, over = (exact_length(limit, unit) for limit in limits_mm)
    return f"{under} either way" if under == over else f"{under} under or {over} over"


def tolerance_says(width_mm: Limits, height_mm: Limits, diagonal_mm: Limits, unit: Unit) -> str:
    """Return the tolerance of all readings of an opening: (under, over) in mm of widths, heights and diagonals.

    Examples
    --------
    >>> tolerance_says((6.35, 6.35), (6.35, 6.35), (12.7, 12.7), "in")
    '1/4 in either way; diagonals 1/2 in either way'
    >>> tolerance_says((6.35, 9.525), (6.35, 6.35), (12.7, 12.7), "in")
    'widths 1/4 in under or 3/8 in over; heights 1/4 in either way; diagonals 1/2 in either way'
    """
    wide, high, across = (allowed(limits, unit) for limits in (width_mm, height_mm, diagonal_mm))
    sides = wide if wide == high else f"widths {wide}; heights {high}"
    return sides if across == sides else f"{sides}; diagonals {across}"


def tolerance_line(says: str, labels: Sequence[str]) -> str:
    """Return the line of the view on the tolerance in force; `labels` are the openings where others have another.

    Examples
    --------
    >>> tolerance_line("1/4 in either way", [])
    'Tolerance of a reading: 1/4 in either way.'
    >>> tolerance_line("6 mm either way", ["W1", "W2"])
    'Tolerance of a reading of W1, W2: 6 mm either way.'
    """
    of = f" of {', '.join(one_line(label) for label in labels)}" if labels else ""
    return f"Tolerance of a reading{of}: {says}."
