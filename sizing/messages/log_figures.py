"""Figures of the log as people write them: counts, differences with their sign and interval."""

from __future__ import annotations

import math
from collections.abc import Callable

from sizing.statistics.pooling import Interval
from sizing.units import INCH_MM, Unit, format_length


def counted(number: int, what: str) -> str:
    """Return how many of a thing there are.

    Examples
    --------
    >>> counted(1, "job"), counted(2, "job")
    ('1 job', '2 jobs')
    """
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def signed(length_mm: float, unit: Unit) -> str:
    """Return a difference with its sign.

    Examples
    --------
    >>> signed(-1.5875, "in"), signed(0.0, "mm"), signed(2.0, "mm")
    ('-1/16 in', '0.0 mm', '+2.0 mm')
    """
    text = format_length(abs(length_mm), unit)
    if text == format_length(0.0, unit):
        return text
    return ("-" if length_mm < 0.0 else "+") + text


def interval(found: Interval, unit: Unit, say: Callable[[float, Unit], str] = signed) -> str:
    """Return a difference with its 95 % interval, whose ends are rounded away from it."""
    step = float(INCH_MM) / 32.0 if unit == "in" else 0.1
    low, high = math.floor(found.low / step) * step, math.ceil(found.high / step) * step
    return f"{say(found.value, unit)} ({say(low, unit)} to {say(high, unit)})"


def pooled(found: Interval, unit: Unit, say: Callable[[float, Unit], str] = signed) -> str:
    """Return what many readings say together: finer than one of them is, so to 0.01 mm, beside inches too.

    Examples
    --------
    >>> pooled(Interval(-0.21, -0.334, -0.091), "in")
    '0 in (-1/32 in to 0 in), finer: -0.21 mm (-0.34 to -0.09)'
    >>> pooled(Interval(-0.29, -0.577, -0.002), "mm")
    '-0.29 mm (-0.58 to 0.00)'
    """
    sign = "+" if say is signed else ""
    low, high = math.floor(found.low * 100.0 + 1e-6) / 100.0, math.ceil(found.high * 100.0 - 1e-6) / 100.0
    value, least, most = (f"{x:{sign}.2f}" if x else "0.00" for x in (round(found.value, 2), low, high))
    fine = f"{value} mm ({least} to {most})"
    return fine if unit == "mm" else f"{interval(found, unit, say)}, finer: {fine}"
