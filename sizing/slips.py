"""Slips of the tape as hypotheses: what each would have done to the readings, and its prior (guesses).

Codes and facts only; the words stand in `messages`.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Any

from sizing.decision import LONGEST_MM, SHORTEST_MM

NONE = "none-of-these"
_AXES = (
    ("width_top", "width_middle", "width_bottom"),
    ("height_left", "height_middle", "height_right"),
    ("diagonal_down", "diagonal_up"),
)
_TURNED = dict(zip(_AXES[0] + _AXES[1], _AXES[1] + _AXES[0], strict=True))
# Ratios between inches, centimetres and millimetres: true = written x ratio.
RATIOS = (25.4, 1 / 25.4, 2.54, 1 / 2.54, 10.0, 0.1)
# What the number in front of a written length counts, mm: metres and feet have no two digits to swap.
_COUNTED_MM = (1.0, 10.0, 25.4, 304.8, 1000.0)
_WHOLE_FEET_MM = 300.0


@dataclass(frozen=True, slots=True)
class Slip:
    """A slip of fixed size: code, shift of the reading in mm, prior."""

    code: str
    shift_mm: float
    prior: float


@dataclass(frozen=True, slots=True)
class Priors:
    """Priors of all hypotheses: guesses, from one file."""

    slips: tuple[Slip, ...]
    clean: float
    none_of_these: float
    none_spread_mm: float
    suspect_spread_mm: float
    stations_swapped: float
    width_height_swapped: float
    digits_swapped: float
    wrong_unit: float


@dataclass(frozen=True, slots=True, eq=False)
class Hypothesis:
    """One explanation before it is weighed: code, prior, shift in mm of each reading that it explains."""

    slip: str
    prior: float
    shift_mm: dict[str, float]
    broad: bool = False
    facts: dict[str, str] = field(default_factory=dict)


def read_priors(table: Mapping[str, Any]) -> Priors:
    """Return the priors of a parsed slips table; a slip with `both_ways` shares its prior between + and -."""
    slips: list[Slip] = []
    for row in table["slip"]:
        both = bool(row.get("both_ways", False))
        signs = (1.0, -1.0) if both else (1.0,)
        slips += [Slip(row["code"], s * row["shift_mm"], row["prior"] / len(signs)) for s in signs]
    return Priors(
        slips=tuple(slips),
        clean=table["clean"]["prior"],
        none_of_these=table["none_of_these"]["prior"],
        none_spread_mm=table["none_of_these"]["spread_mm"],
        suspect_spread_mm=table["suspect"]["spread_mm"],
        stations_swapped=table["stations_swapped"]["prior"],
        width_height_swapped=table["width_height_swapped"]["prior"],
        digits_swapped=table["digits_swapped"]["prior"],
        wrong_unit=table["wrong_unit"]["prior"],
    )


@lru_cache(maxsize=1)
def load_priors() -> Priors:
    """Return the priors that come with the package (`data/slips.toml`, all guesses)."""
    return read_priors(tomllib.loads((files("sizing") / "data" / "slips.toml").read_text(encoding="utf-8")))


def swapped_digits_mm(reading_mm: float, written: str) -> dict[str, float]:
    """Return what was meant if two neighbouring digits of the whole part were swapped: digits -> shift in mm.

    Parameters
    ----------
    reading_mm : the reading, mm, positive.
    written : the same as written; its unit follows from the two.

    Returns
    -------
    dict
        Whole part as meant (text) -> shift of the reading, a multiple of 9 of the unit (facts.md section 7).

    Examples
    --------
    >>> swapped_digits_mm(1381.125, "54 3/8")
    {'45': 228.6}
    """
    found = re.match(r"\s*([1-9][0-9]+)", written)
    if found is None:
        return {}
    digits = found[1]
    ratio = math.log(reading_mm / int(digits))
    unit = min(_COUNTED_MM, key=lambda mm: abs(math.log(mm) - ratio))
    if unit > _WHOLE_FEET_MM:
        return {}
    meant: dict[str, float] = {}
    for i in range(len(digits) - 1):
        other = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
        if other != digits and other[0] != "0":
            meant[other] = round((int(digits) - int(other)) * unit, 6)
    return meant


def _swaps(name: str, readings_mm: Mapping[str, float], priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that readings stand in each other's boxes."""
    here = readings_mm[name]
    found: list[Hypothesis] = []
    for other in next(axis for axis in _AXES if name in axis):
        if other != name and abs(readings_mm.get(other, here) - here) > 1e-6:
            gap = here - readings_mm[other]
            found.append(
                Hypothesis(
                    "stations-swapped",
                    priors.stations_swapped,
                    {name: gap, other: -gap},
                    facts={"with": other},
                )
            )
    partner = _TURNED.get(name, "")
    if partner in readings_mm:
        gap = here - readings_mm[partner]
        alone = {name: gap, partner: -gap}
        pairs = [(n, readings_mm[n] - readings_mm[t]) for n, t in _TURNED.items() if {n, t} <= set(readings_mm)]
        sets = [(alone, "one")] + ([(dict(pairs), "all")] if len(pairs) > 2 else [])
        found += [
            Hypothesis(
                "width-height-swapped",
                priors.width_height_swapped,
                shift,
                facts={"with": partner, "extent": extent},
            )
            for shift, extent in sets
        ]
    return found


def hypotheses_of(name: str, readings_mm: Mapping[str, float], priors: Priors, written: str | None) -> list[Hypothesis]:
    """Return every hypothesis about one reading; the last two together are 'none-of-these'.

    For a length that no opening has only a wrong unit is weighed.
    """
    here = readings_mm[name]
    found = [
        Hypothesis("wrong-unit", priors.wrong_unit, {name: here - here * ratio})
        for ratio in RATIOS
        if SHORTEST_MM <= here * ratio <= LONGEST_MM
    ]
    if SHORTEST_MM <= here <= LONGEST_MM:
        found += [Hypothesis(s.code, s.prior, {name: s.shift_mm}) for s in priors.slips]
        found += [
            Hypothesis("digits-swapped", priors.digits_swapped, {name: shift}, facts={"meant": digits})
            for digits, shift in swapped_digits_mm(here, written or "").items()
        ]
        found += _swaps(name, readings_mm, priors)
    found.append(Hypothesis(NONE, priors.clean, {}))
    found.append(Hypothesis(NONE, priors.none_of_these, {}, broad=True))
    return found
