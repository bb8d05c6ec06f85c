"""What is said of many readings of one person, tape or day: figures with their intervals, and what was found."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from sizing.statistics.pooling import Interval

Kind = Literal["shift", "scatter", "slips", "trend"]
Nature = Literal["same-at-all-lengths", "grows-with-length", "cannot-tell"]
# The order of this program: fewer readings are counted and shown, and nothing is concluded from them.
FEWEST = 20
# A difference counts as found at this level of the whole table (Holm); common practice, no source.
LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Finding:
    """A difference that chance does not explain at `LEVEL` over the table: `p` as tested, `p_table` after Holm."""

    kind: Kind
    p: float
    p_table: float


@dataclass(frozen=True, slots=True)
class Together:
    """What the readings of one group say together; intervals hold 95 %, None where too little is known.

    `shift_mm`: mean of reading minus photo, slips left out; `beyond_mm`: the same beyond what the other groups have in
    common, units brought to one slope, None where fewer than two of them can be compared with; `excess_mm` without
    bringing them there. `slope_mm_per_m`: growth of the difference with the
    length. `scatter_mm`: standard deviation within an opening, the photo's own part in it. `trend_mm`: change in
    30 days. `slips` are readings away from this group's median by more than the default tolerance and U95.
    """

    group: str
    readings: int
    openings: int
    jobs: int
    first: date | None
    last: date | None
    slips: int
    slips_per_100: Interval
    shift_mm: Interval | None = None
    beyond_mm: Interval | None = None
    slope_mm_per_m: Interval | None = None
    scatter_mm: Interval | None = None
    trend_mm: Interval | None = None
    mean_length_mm: float = 0.0
    excess_mm: float | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def enough(self) -> bool:
        """Whether there are readings enough to conclude anything."""
        return self.readings >= FEWEST

    @property
    def nature(self) -> Nature:
        """Whether the shift is the same at all lengths (a hook), grows with them (a scale), or cannot be told."""
        slope = self.slope_mm_per_m
        if self.shift_mm is None or slope is None or not self.mean_length_mm:
            return "cannot-tell"
        shift_mm = self.shift_mm.value if self.excess_mm is None else self.excess_mm
        all_scale = shift_mm / (self.mean_length_mm / 1000.0)  # the slope that would explain the whole shift
        flat, scaled = slope.holds(0.0), slope.holds(all_scale)
        if flat and not scaled:
            return "same-at-all-lengths"
        return "grows-with-length" if scaled and not flat else "cannot-tell"
