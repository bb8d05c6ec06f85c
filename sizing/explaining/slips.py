"""Slips of the tape and their priors (guesses), as they stand in one file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Literal

NONE = "none-of-these"
Scale = Literal["in", "mm"]


@dataclass(frozen=True, slots=True)
class Slip:
    """A slip of fixed size: shift of the reading in mm; odds for one reading, one direction, the whole opening."""

    code: str
    shift_mm: float
    prior: float
    axis: float = 0.0
    all: float = 0.0
    scale: Scale = "in"


@dataclass(frozen=True, slots=True, eq=False)
class Priors:
    """Odds of all hypotheses against 'no slip', and their spreads: guesses, from one file."""

    slips: tuple[Slip, ...]
    other_scale: float
    digits_swapped: float
    six_nine: float
    feet_and_inches: float
    inches_split: float
    inches_split_alone: float
    inches_split_axis: float
    inches_split_all: float
    wrong_side: float
    wrong_unit: float
    wrong_unit_all: float
    another_reading: float
    none_of_these: float
    none_spreads_mm: tuple[float, ...]
    stations_swapped: float
    width_height_swapped: float
    width_height_all: float
    seen_from_inside: float
    copied: float
    another_line: float
    another_line_one: float
    another_opening: float
    one_ratio: float
    one_ratio_spread: float
    one_shift: float
    one_shift_spread_mm: float
    none_axis: float
    none_all: float
    none_together_mm: float


def read_priors(table: Mapping[str, Any]) -> Priors:
    """Return the priors of a parsed slips table; a slip with `both_ways` shares its odds between + and -."""
    slips: list[Slip] = []
    for row in table["slip"]:
        signs = (1.0, -1.0) if row.get("both_ways", False) else (1.0,)
        one, axis, whole = (row.get(key, 0.0) / len(signs) for key in ("prior", "axis", "all"))
        scale: Scale = row.get("scale", "in")
        slips += [Slip(row["code"], sign * row["shift_mm"], one, axis, whole, scale) for sign in signs]
    simple = (
        "digits_swapped six_nine feet_and_inches inches_split wrong_side wrong_unit another_reading stations_swapped "
        "width_height_swapped seen_from_inside copied another_opening one_ratio one_shift none_of_these"
    )
    return Priors(
        slips=tuple(slips),
        other_scale=table["other_scale"]["factor"],
        none_spreads_mm=tuple(table["none_of_these"]["spreads_mm"]),
        inches_split_alone=table["inches_split"]["alone"],
        inches_split_axis=table["inches_split"]["axis"],
        inches_split_all=table["inches_split"]["all"],
        wrong_unit_all=table["wrong_unit"]["all"],
        width_height_all=table["width_height_swapped"]["all"],
        another_line=table["another_line"]["axis"],
        another_line_one=table["another_line"]["one"],
        one_ratio_spread=table["one_ratio"]["spread"],
        one_shift_spread_mm=table["one_shift"]["spread_mm"],
        none_axis=table["none_together"]["axis"],
        none_all=table["none_together"]["all"],
        none_together_mm=table["none_together"]["spread_mm"],
        **{name: table[name]["prior"] for name in simple.split()},
    )


@lru_cache(maxsize=1)
def load_priors() -> Priors:
    """Return the priors that come with the package (`data/slips.toml`, all guesses)."""
    return read_priors(tomllib.loads((files("sizing") / "data" / "slips.toml").read_text(encoding="utf-8")))
