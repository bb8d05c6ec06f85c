"""A sizing rule as plain values: from the readings of an opening to the size to order, exactly.

Lengths are exact fractions of a millimetre, so that half-way between two made sizes is half-way on any machine.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from sizing.jobs.job import Tolerance
from sizing.orders.rule_tables import Choice, Confirm, Which
from sizing.units import Unit

Direction = Literal["width", "height"]
DIRECTIONS: tuple[Direction, ...] = ("width", "height")
# The readings of a direction; the second is the middle one.
STATIONS: Mapping[Direction, tuple[str, str, str]] = MappingProxyType(
    {
        "width": ("width_top", "width_middle", "width_bottom"),
        "height": ("height_left", "height_middle", "height_right"),
    }
)


@dataclass(frozen=True, slots=True)
class Made:
    """Which sizes are made: multiples of `step`, those of `sizes` (rising), or any; mm, exact."""

    step: Fraction | None = None
    sizes: tuple[Fraction, ...] = ()
    choice: Choice = "nearest"

    @property
    def any_size(self) -> bool:
        """Whether every size can be had."""
        return self.step is None and not self.sizes

    def chosen(self, size: Fraction) -> Fraction | None:
        """Return the made size for a wanted one; None where there is none above or below it, or none above 0.

        Of two equally near the larger is taken.

        Examples
        --------
        >>> Made(sizes=(Fraction(900), Fraction(1000))).chosen(Fraction(950))
        Fraction(1000, 1)
        """
        made = size if self.any_size else self._picked(size)
        return made if made is not None and made > 0 else None

    def _picked(self, size: Fraction) -> Fraction | None:
        below, above = self._around(size)
        if self.choice == "next-up":
            return above
        if self.choice == "next-down":
            return below
        if below is None or above is None:
            return above if below is None else below
        return above if above - size <= size - below else below

    def holds(self, size: Fraction, within: Fraction) -> bool:
        """Return whether a size is a made one to within `within` mm."""
        if self.any_size:
            return True
        return any(one is not None and abs(one - size) <= within for one in self._around(size))

    def _around(self, size: Fraction) -> tuple[Fraction | None, Fraction | None]:
        """Return the made sizes at or below, and at or above."""
        if self.step is not None:
            return floor(size / self.step) * self.step, ceil(size / self.step) * self.step
        at = bisect_left(self.sizes, size)
        above = self.sizes[at] if at < len(self.sizes) else None
        return (above if above == size else self.sizes[at - 1] if at else None), above


@dataclass(frozen=True, slots=True)
class SideRule:
    """How one direction of the order follows from its readings; mm, exact.

    `add` is the sum of both sides, `first` the part of it at the left jamb or the head. `hardware` is added too, less
    the room above, down to `hardware_least`.
    """

    reading: Which
    add: Fraction = Fraction(0)
    made: Made = field(default_factory=Made)
    minimum: Fraction | None = None
    maximum: Fraction | None = None
    hardware: Fraction = Fraction(0)
    hardware_least: Fraction = Fraction(0)
    first: Fraction = Fraction(0)

    def allowance(self, room_above: Fraction | None) -> Fraction:
        """Return what is added to the reading that counts; all of the hardware where the room is not known."""
        free = Fraction(0) if room_above is None else room_above
        return self.add + max(self.hardware - free, self.hardware_least)

    def wanted(self, readings: Sequence[Fraction | None], room_above: Fraction | None = None) -> Fraction | None:
        """Return the size before a made one is chosen; None without the reading that it needs.

        Parameters
        ----------
        readings : of the three stations in their order, mm; None where there is none.
        room_above : free above the opening, mm; None where nobody said.
        """
        at = self.deciding(readings)
        reading = None if at is None else readings[at]
        return None if reading is None else reading + self.allowance(room_above)

    def deciding(self, readings: Sequence[Fraction | None]) -> int | None:
        """Return which station's reading counts, the first of equal ones; None where it is not there."""
        if self.reading == "middle":
            return None if readings[1] is None else 1
        present = [(reading, i) for i, reading in enumerate(readings) if reading is not None]
        if not present:
            return None
        best = (max if self.reading == "largest" else min)(reading for reading, _ in present)
        return next(i for reading, i in present if reading == best)


@dataclass(frozen=True, slots=True)
class Panels:
    """Panels side by side: each no wider than `widest`, `gap` between two; splits by shares, the first that fits."""

    widest: Fraction
    narrowest: Fraction
    gap: Fraction
    splits: tuple[tuple[int, ...], ...]

    def split(self, width: Fraction) -> tuple[Fraction, ...] | None:
        """Return the widths of the panels, left to right; None where no split fits.

        Examples
        --------
        >>> [int(w) for w in Panels(Fraction(900), Fraction(0), Fraction(4), ((1,), (1, 1))).split(Fraction(1404))]
        [700, 700]
        """
        for shares in self.splits:
            clear = width - self.gap * (len(shares) - 1)
            parts = tuple(clear * share / sum(shares) for share in shares)
            if self.narrowest <= min(parts) and max(parts) <= self.widest:
                return parts
        return None


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """A sizing rule with the file that says it and the SHA-256 of that file.

    `free` (room that must stay free, by side) and `limits` (out_of_square, taper_width, taper_height) in mm;
    `tolerance` holds fields of `Tolerance` by name.
    """

    id: str
    title: str
    file: Path
    sha256: str
    units: Unit
    width: SideRule
    height: SideRule
    free: Mapping[str, Fraction] = field(default_factory=dict)
    limits: Mapping[str, Fraction] = field(default_factory=dict)
    tolerance: Mapping[str, float] = field(default_factory=dict)
    panels: Panels | None = None
    confirm: tuple[Confirm, ...] = ()
    note: str = ""

    def of(self, direction: Direction) -> SideRule:
        """Return the part on widths or heights."""
        return self.width if direction == "width" else self.height


def tolerance_in_force(given: Tolerance, explicit: Mapping[str, float], rule: Rule | None) -> Tolerance:
    """Return the tolerance that holds for an opening.

    What the job says itself (`explicit`, by field) comes first, then the rule, then the default: a job is
    written for one house, a rule for many.
    """
    if rule is None:
        return given
    fields = {name: getattr(given, name) for name in Tolerance.__dataclass_fields__}
    return Tolerance(**(fields | dict(rule.tolerance) | dict(explicit)))
