"""What the photo says of the error of a reading, as places in a small figure: tolerance band, interval, middle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# Of a figure 260 px wide, as its viewBox in the template says.
MIDDLE, HALF = 130.0, 118.0
# The figure shows at least so many tolerances each way, and at most the second number: what is beyond gets an arrow.
_LEAST, _MOST = 1.3, 2.5


@dataclass(frozen=True, slots=True)
class Error:
    """The error of a reading (reading minus opening) as the photo sees it, and its tolerance, mm; None: not seen."""

    error_mm: float | None
    U95_mm: float | None
    under_mm: float
    over_mm: float


@dataclass(frozen=True, slots=True)
class Interval:
    """Places along the figure: band from-to, bar from-to with its dot; None for what is not seen or out of range."""

    band: tuple[float, float]
    bar: tuple[float, float] | None = None
    dot: float | None = None
    below: bool = False
    above: bool = False


def intervals(errors: Sequence[Error]) -> list[Interval]:
    """Return the figures of several readings, all on one scale."""
    widest = max((max(e.under_mm, e.over_mm) for e in errors), default=1.0)
    reach = max((abs(e.error_mm) + (e.U95_mm or 0.0) for e in errors if e.error_mm is not None), default=0.0)
    half = min(max(1.1 * reach, _LEAST * widest), _MOST * widest)
    return [_interval(e, HALF / half) for e in errors]


def _interval(error: Error, px_per_mm: float) -> Interval:
    band = (_at(-error.under_mm * px_per_mm), _at(error.over_mm * px_per_mm))
    if error.error_mm is None or error.U95_mm is None:
        return Interval(band)
    low, high = ((error.error_mm + sign * error.U95_mm) * px_per_mm for sign in (-1, 1))
    dot = error.error_mm * px_per_mm
    seen = (_at(low), _at(high)) if low < HALF and high > -HALF else None
    return Interval(band, seen, _at(dot) if abs(dot) <= HALF else None, low < -HALF, high > HALF)


def _at(offset: float) -> float:
    return round(MIDDLE + min(max(offset, -HALF), HALF), 1)
