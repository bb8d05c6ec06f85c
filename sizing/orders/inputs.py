"""What a rule needs of an opening: its readings at the stations, its room above, what is about to be ordered."""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction

import numpy as np

from sizing.jobs.job import READINGS, Opening
from sizing.orders.rules import STATIONS, Direction, Rule
from vision.request import Array


def exact_stations(opening: Opening, direction: Direction) -> list[Fraction | None]:
    """Return the readings of the three stations of a direction, mm; None where there is none."""
    found = {reading.name: reading.length.exact for reading in opening.readings}
    return [found.get(name) for name in STATIONS[direction]]


def read_mm(opening: Opening, without: Collection[str] = ()) -> Array:
    """Return the readings (8,) in the order of `READINGS`, mm; NaN where there is none or it is left out."""
    found = {reading.name: reading.length.mm for reading in opening.readings if reading.name not in without}
    return np.array([found.get(name, np.nan) for name in READINGS])


def room_above(opening: Opening) -> Fraction | None:
    """Return the room that is free above the opening, mm; None where nobody said."""
    length = opening.clearances.get("above")
    return None if length is None else length.exact


def allowance(rule: Rule, direction: Direction, opening: Opening) -> Fraction:
    """Return what the rule adds to the reading that counts, mm."""
    return rule.of(direction).allowance(room_above(opening) if direction == "height" else None)


def ordered_exact(opening: Opening, direction: Direction) -> Fraction | None:
    """Return what is about to be ordered in one direction, mm."""
    length = None if opening.ordered is None else getattr(opening.ordered, direction)
    return None if length is None else length.exact
