"""Lengths as people write them, read exactly and written back; the one place that knows inches."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal


class LengthError(ValueError):
    """A length that cannot be used, with what was found and what is allowed."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length: mm as float and exact, the text as written, and its quarter-graduation note (+1 strong, -1 scant).

    `step_mm` is the worth of the last digit or fraction as written.
    """

    mm: float
    exact: Fraction
    as_written: str
    strong: Literal[-1, 0, 1] = 0
    step_mm: float = 1.0
