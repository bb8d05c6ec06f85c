"""The drawing beside a reading, as parts of its width: the same in PDF, HTML and page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sizing.report.contents import ReadingLine

# The scale ends at so many times the widest tolerance, or at the farthest interval, whichever is nearer: a slip of a
# foot must not squeeze the others to nothing.
_TOLERANCES = 6.0
_ROOM = 1.15
_LEAST_REACH_MM = 15.0


@dataclass(frozen=True, slots=True)
class Bar:
    """Places from 0 (left) to 1: tolerance band, interval and centre of the photo, and where the interval runs on."""

    band: tuple[float, float]
    interval: tuple[float, float] | None
    centre: float | None
    beyond: tuple[bool, bool]


def reach_mm(readings: Sequence[ReadingLine]) -> float:
    """Return how far the scale goes on either side of the reading, mm, for all readings of an opening.

    Notes
    -----
    Diagonals have wider tolerances; the widest counts.
    """
    widest = max((max(abs(r.band_mm[0]), abs(r.band_mm[1])) for r in readings), default=0.0)
    ends = [abs(v) for r in readings if r.interval_mm is not None for v in r.interval_mm]
    return max(_LEAST_REACH_MM, _ROOM * max(widest, min(max(ends, default=0.0), _TOLERANCES * widest)))


def bar_of(reading: ReadingLine, reach: float) -> Bar:
    """Return the drawing of one reading on a scale from -reach to +reach mm."""
    interval = reading.interval_mm
    if interval is None or reading.centre_mm is None:
        return Bar(_clipped(reading.band_mm, reach), None, None, (False, False))
    centre = _place(reading.centre_mm, reach)
    return Bar(
        band=_clipped(reading.band_mm, reach),
        interval=_clipped(interval, reach),
        centre=centre if 0.0 <= centre <= 1.0 else None,
        beyond=(interval[0] < -reach, interval[1] > reach),
    )


def _place(value_mm: float, reach: float) -> float:
    return 0.5 + 0.5 * value_mm / reach


def _clipped(ends_mm: tuple[float, float], reach: float) -> tuple[float, float]:
    low, high = (min(max(_place(v, reach), 0.0), 1.0) for v in ends_mm)
    return low, high
