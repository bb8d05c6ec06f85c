"""Slips of one reading: marks, digits, units; and slips of habit that run through several readings."""

from __future__ import annotations

import math
import re
from functools import lru_cache

from sizing.explaining.hypotheses import AXES, Hypothesis, Scene
from sizing.explaining.slips import NONE, Priors, Scale
from sizing.typed import SHAPE, plain
from sizing.units import INCH_MM, READING_FROM_MM, READING_TO_MM

_INCH_MM = float(INCH_MM)
# Ratios between inches, centimetres and millimetres: true = written x ratio.
RATIOS = (25.4, 1 / 25.4, 2.54, 1 / 2.54, 10.0, 0.1)
# What the number in front of a written length counts, mm: metres and feet have no two digits to swap.
_COUNTED_MM = (1.0, 10.0, 25.4, 304.8, 1000.0)
_WHOLE_FEET_MM = 300.0
# A fraction this close to a whole inch has no side to be counted from.
_NO_FRACTION_MM = 0.4
# Less than the finest mark of a common tape, 1/16 in, nobody counts down from the inch above (no source).
_LEAST_FRACTION_MM = 1.5
# Spread of what a length that no opening has may mean besides, mm (guess).
_ANY_SIZE_MM = 3000.0


@lru_cache(maxsize=64)
def _counted(reading_mm: float, written: str) -> tuple[str, float] | None:
    """Return the digits in front of a written length and what they count, mm; None without two digits."""
    found = re.match(r"\s*([1-9][0-9]+)", written)
    if found is None or reading_mm <= 0.0:
        return None
    ratio = math.log(reading_mm / int(found[1]))
    unit = min(_COUNTED_MM, key=lambda mm: abs(math.log(mm) - ratio))
    return None if unit > _WHOLE_FEET_MM else (found[1], unit)


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
    counted = _counted(reading_mm, written)
    if counted is None:
        return {}
    digits, unit = counted
    meant: dict[str, float] = {}
    for i in range(len(digits) - 1):
        other = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
        if other != digits and other[0] != "0":
            meant[other] = round((int(digits) - int(other)) * unit, 6)
    return meant


def six_nine_mm(reading_mm: float, written: str) -> dict[str, float]:
    """Return what was meant if a 6 and a 9 were taken for each other: digits -> shift in mm.

    Examples
    --------
    >>> six_nine_mm(69 * 25.4, "69")
    {'99': -762.0, '66': 76.2}
    """
    counted = _counted(reading_mm, written)
    if counted is None:
        return {}
    digits, unit = counted
    turned = {"6": "9", "9": "6"}
    others = [digits[:i] + turned[d] + digits[i + 1 :] for i, d in enumerate(digits) if d in turned]
    return {other: round((int(digits) - int(other)) * unit, 6) for other in others}


def wrong_side_mm(reading_mm: float) -> tuple[float, ...]:
    """Return the shifts in mm if the fraction of an inch was counted from the wrong side of its mark.

    Counted back from a mark and written as if on from it: 53 5/8 or 55 5/8 becomes 54 3/8; or counted back from the
    mark above and written with the inch below: 54 5/8 becomes 54 3/8.

    Examples
    --------
    >>> wrong_side_mm(54.375 * 25.4)
    (19.05, -31.75, -6.35)
    """
    part = reading_mm % _INCH_MM
    if not _NO_FRACTION_MM < part < _INCH_MM - _NO_FRACTION_MM:
        return ()
    shifts = [2.0 * part, 2.0 * (part - _INCH_MM)]
    rest = 2.0 * part - _INCH_MM
    if _LEAST_FRACTION_MM < part < _INCH_MM - _LEAST_FRACTION_MM and abs(rest) > _NO_FRACTION_MM:
        shifts.append(rest)
    return tuple(round(mm, 6) for mm in shifts)


def feet_and_inches_mm(reading_mm: float, written: str) -> float | None:
    """Return the shift in mm if feet and inches were written as one number, 5 ft 2 as 52; None where they cannot be.

    Examples
    --------
    >>> feet_and_inches_mm(52 * 25.4, "52")
    -254.0
    """
    counted = _counted(reading_mm, written)
    if counted is None or counted[1] != _INCH_MM or len(counted[0]) != 2:
        return None
    return round(-2.0 * int(counted[0][0]) * _INCH_MM, 6)


@lru_cache(maxsize=64)
def inches_split_mm(written: str) -> float | None:
    r"""Return the shift in mm if an inch number was split into feet and inches, 44 1/4 as 4 ft 4 1/4; None elsewhere.

    Ten inches were meant by each that was written as a foot: two inches too long each.

    Examples
    --------
    >>> inches_split_mm("4' 4 1/4\""), inches_split_mm("44 1/4")
    (203.2, None)
    """
    found = SHAPE.fullmatch(plain(written))
    # Whole feet, and inches of one digit: 4 ft 11 is no number of inches with its digits parted.
    if found is None or not re.fullmatch(r"[1-9][0-9]?", found["feet"] or ""):
        return None
    if re.match(r"[0-9](?![0-9/])", found["number"]) is None:
        return None
    return round(2.0 * int(found["feet"]) * _INCH_MM, 6)


def of_readings(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that touch one reading each and follow from what was read; `of_marks` has the others."""
    found: list[Hypothesis] = []
    for name, here in scene.readings_mm.items():
        sizes = [here * r for r in RATIOS if READING_FROM_MM <= here * r <= READING_TO_MM]
        found += [Hypothesis("wrong-unit", priors.wrong_unit, {name: here - size}) for size in sizes]
        if not READING_FROM_MM <= here <= READING_TO_MM:
            found.append(Hypothesis(NONE, priors.none_of_these, {name: 0.0}, ({name: _ANY_SIZE_MM},), sized=False))
            found += _of_digits(name, here, scene, priors)
            continue
        found += _of_one(name, here, scene, priors)
    return found + _inches_split(scene, priors) + _whole_form_in_another_unit(scene, priors)


def _whole_form_in_another_unit(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the ratios by which all readings, or all but the diagonals, may stand in another unit than was meant."""
    sides = scene.present(AXES[0] + AXES[1])
    found: list[Hypothesis] = []
    for names in dict.fromkeys((scene.names, sides)) if len(sides) > 1 else ():
        for ratio in RATIOS:
            meant = {name: scene.readings_mm[name] * ratio for name in names}
            if all(READING_FROM_MM <= mm <= READING_TO_MM for mm in meant.values()):
                shifts = {name: scene.readings_mm[name] - mm for name, mm in meant.items()}
                found.append(Hypothesis("wrong-unit", priors.wrong_unit_all, shifts, facts={"extent": "all"}))
    return found


def _inches_split(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return where inches may stand as feet and inches: in one box, likelier beside boxes in inches; in all alike."""
    code = "inches-split"
    shifts: dict[str, float] = {}
    found: list[Hypothesis] = []
    for axis in AXES:
        names = scene.present(axis)
        mine = {n: mm for n in names if (mm := inches_split_mm(scene.written.get(n, ""))) is not None}
        odds = priors.inches_split_alone if len(mine) == 1 < len(names) else priors.inches_split
        found += [Hypothesis(code, odds, {n: mm}) for n, mm in mine.items()]
        if 1 < len(mine) == len(names):
            found.append(Hypothesis(code, priors.inches_split_axis, mine, facts={"extent": "axis"}))
        shifts |= mine
    if 1 < len(shifts) == len(scene.names) and not any(set(axis) >= set(shifts) for axis in AXES):
        found.append(Hypothesis(code, priors.inches_split_all, shifts, facts={"extent": "all"}))
    return found


def of_marks(scene: Scene, priors: Priors) -> list[tuple[Hypothesis, ...]]:
    """Return, of each reading, the slips of fixed size and 'something else'; the same objects for every opening."""
    return [
        _fixed(name, scene.scales.get(name, "in"), priors)
        for name, here in scene.readings_mm.items()
        if READING_FROM_MM <= here <= READING_TO_MM
    ]


@lru_cache(maxsize=64)
def _fixed(name: str, scale: Scale, priors: Priors) -> tuple[Hypothesis, ...]:
    """Return the slips of fixed size of one reading, and 'something else'."""
    share = priors.none_of_these / len(priors.none_spreads_mm)
    none = [Hypothesis(NONE, share, {name: 0.0}, ({name: s},), sized=False) for s in priors.none_spreads_mm]
    marks = [
        Hypothesis(s.code, s.prior * (1.0 if s.scale == scale else priors.other_scale), {name: s.shift_mm})
        for s in priors.slips
    ]
    return tuple(h for h in (*none, *marks) if h.odds > 0.0)


def _of_one(name: str, here: float, scene: Scene, priors: Priors) -> list[Hypothesis]:
    scale = scene.scales.get(name, "in")
    written = scene.written.get(name, "")
    found = _of_digits(name, here, scene, priors)
    if scale == "in":
        found += [Hypothesis("wrong-side", priors.wrong_side, {name: mm}) for mm in wrong_side_mm(here)]
        feet = feet_and_inches_mm(here, written)
        if feet is not None:
            found.append(Hypothesis("feet-and-inches", priors.feet_and_inches, {name: feet}))
    return found


def _of_digits(name: str, here: float, scene: Scene, priors: Priors) -> list[Hypothesis]:
    written = scene.written.get(name, "")
    found: list[Hypothesis] = []
    for code, odds, meant in (
        ("digits-swapped", priors.digits_swapped, swapped_digits_mm(here, written)),
        ("six-nine", priors.six_nine, six_nine_mm(here, written)),
    ):
        found += [
            Hypothesis(code, odds, {name: mm}, facts={"meant": digits})
            for digits, mm in meant.items()
            if READING_FROM_MM <= here - mm <= READING_TO_MM
        ]
    return found


def of_habit(scene: Scene, priors: Priors) -> tuple[Hypothesis, ...]:
    """Return the slips of fixed size that run through all readings of a direction, or of the opening."""
    metric = sum(1 for n in scene.names if scene.scales.get(n) == "mm") * 2 > len(scene.names)
    return _habits(scene.names, "mm" if metric else "in", priors)


@lru_cache(maxsize=64)
def _habits(names: tuple[str, ...], scale: Scale, priors: Priors) -> tuple[Hypothesis, ...]:
    sets = [(tuple(n for n in axis if n in names), "axis") for axis in AXES] + [(names, "all")]
    # The sides without the diagonals: these are often taken by another hand.
    sides = tuple(n for n in AXES[0] + AXES[1] if n in names)
    if len(sides) < len(names):
        sets.append((sides, "all"))
    found: list[Hypothesis] = []
    for slip in priors.slips:
        usual = 1.0 if slip.scale == scale else priors.other_scale
        for touched, extent in sets:
            odds = (slip.axis if extent == "axis" else slip.all) * usual
            if odds > 0.0 and len(touched) > 1:
                found.append(
                    Hypothesis(slip.code, odds, dict.fromkeys(touched, slip.shift_mm), facts={"extent": extent})
                )
    return tuple(found)
