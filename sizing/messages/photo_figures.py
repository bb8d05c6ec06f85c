"""Figures of a photo in words.

Always given as 'about', with their uncertainty, so that none is taken for a reading to order from.
"""

from __future__ import annotations

import math

from sizing.messages.names import name_of
from sizing.units import INCH_MM, Unit, format_length, format_uncertainty

_INCH_MM = float(INCH_MM)


def about(value_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return a photo's figure with its uncertainty, rounded as coarsely as that.

    Examples
    --------
    >>> about(1381.2, 2.4, "in"), about(-0.3, 0.8, "mm")
    ('about 54 3/8 in, give or take 1/8 in', 'about 0 mm, give or take 1 mm')
    """
    return f"about {rounded(value_mm, unit)}, give or take {_rounded_up(U95_mm, unit)}"


def rounded(value_mm: float, unit: Unit) -> str:
    """Return a photo's figure without its uncertainty, for where that stands beside it.

    Examples
    --------
    >>> rounded(842.2, "in"), rounded(842.2, "mm")
    ('33 3/16 in', '842 mm')
    """
    if unit == "in":  # a photo is never good to 1/32 in
        return format_length(round(value_mm / _INCH_MM * 16) * INCH_MM / 16, unit)
    return f"{round(value_mm)} mm"  # never -0


def _rounded_up(U95_mm: float, unit: Unit) -> str:
    return format_uncertainty(U95_mm, unit) if unit == "in" else f"{math.ceil(U95_mm - 1e-6)} mm"


def at_least(slip_mm: float, unit: Unit) -> str:
    """Return a smallest slip, rounded up: to 1/8 in, or to 1 mm.

    Examples
    --------
    >>> at_least(9.5, "in"), at_least(9.2, "mm")
    ('3/8 in', '10 mm')
    """
    if unit == "mm":
        return f"{math.ceil(slip_mm - 1e-6)} mm"
    return format_length(math.ceil(slip_mm / _INCH_MM * 8 - 0.01) * INCH_MM / 8, unit)


def picture_label(name: str, tape: str, photo_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the label of a measure in a picture, its lines parted by '|'; `tape` is the reading in words, if any.

    Examples
    --------
    >>> picture_label("width_top", "54 3/8 in", 1381.2, 2.4, "in")
    'width, top|tape 54 3/8 in|photo about 54 3/8 in ± 1/8 in'
    """
    said = f"|tape {tape}" if tape else ""
    return f"{name_of(name)}{said}|photo about {rounded(photo_mm, unit)} ± {_rounded_up(U95_mm, unit)}"
