"""Which unit a length seems to be in that was put down as if in another."""

from __future__ import annotations

import math

from sizing.typed import SHAPE, UNIT_OF, plain
from sizing.units import INCH_MM, LengthError, parse_length

_UNITS_MM = {"in": float(INCH_MM), "mm": 1.0, "cm": 10.0}
# The units are a factor of 2.5 apart or more; rounding is far less than this.
_SAME = 1.01


def units_taken(written: str, reading_mm: float, meant_mm: float | None) -> dict[str, str]:
    """Return `unit`, that in which the number written comes to what was meant, and `put_down_as`, that it was read in.

    Parameters
    ----------
    written, reading_mm : a reading as written, and what it came to, mm.
    meant_mm : what it would come to in the unit meant, mm; None where no size follows.

    Returns
    -------
    dict
        Empty where either is none of inches, centimetres and millimetres, or both are one.

    Examples
    --------
    >>> units_taken("90.6", 2301.24, 906.0)
    {'unit': 'cm', 'put_down_as': 'in'}
    """
    found = SHAPE.fullmatch(plain(written))
    if meant_mm is None or reading_mm <= 0.0 or found is None or found["feet"]:
        return {}
    named = UNIT_OF.get(found["unit"] or "")
    # A bare number is in the unit of the job: of inches and millimetres that which makes it what it came to.
    read_as = named or ("in" if _in_inches(written, reading_mm) else "mm")
    if read_as not in _UNITS_MM:
        return {}
    size_mm = _UNITS_MM[read_as] * meant_mm / reading_mm
    for unit, mm in _UNITS_MM.items():
        if unit != read_as and abs(math.log(size_mm / mm)) < math.log(_SAME):
            return {"unit": unit, "put_down_as": read_as}
    return {}


def _in_inches(written: str, reading_mm: float) -> bool:
    try:
        return abs(math.log(parse_length(written, "in").mm / reading_mm)) < math.log(_SAME)
    except LengthError:  # over 100 m if it were in inches
        return False
