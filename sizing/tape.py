"""Tape models: how far a sound reading may be off, by class of the tape, graduation and wall."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from sizing.units import COMMON_GRADUATION_MM, INCH_MM
from vision.request import Array, Wall

Tape = Literal["class-1", "class-2", "class-3", "hb44", "laser", "unknown"]
TAPES: tuple[Tape, ...] = ("class-1", "class-2", "class-3", "hb44", "laser", "unknown")

_INCH_MM = float(INCH_MM)
_FOOT_MM = 12.0 * _INCH_MM
# Directive 2014/32/EU, annex X (MI-008), measures of length: a, b per started metre, c for the hook; mm.
_CLASSES = {"class-1": (0.1, 0.1, 0.1), "class-2": (0.3, 0.2, 0.2), "class-3": (0.6, 0.4, 0.3)}
# NIST Handbook 44 section 5.52, metal tapes: up to so many feet, so many inches.
_HB44 = ((6.0, 1 / 32), (30.0, 1 / 16), (55.0, 1 / 8), (80.0, 3 / 16), (100.0, 1 / 4))
# Guess: a handheld laser with its end piece. Larger: weaker explanations, nothing else.
_LASER_MM = 2.0
# Guesses (design.md, The cross-check): where the blade is laid, brick and render against trim.
_PLACING_MM: dict[Wall, float] = {"masonry": 0.8, "render": 0.8, "siding": 0.4, "panel": 0.4}
# Guess: the far end is held off the true line by up to this; the reading is then too long by h^2 / (2 L).
_END_OFF_MM = 25.0
# Guess: a blade held level sags in its middle by up to this part of its length (5 mm in 1 m).
_SAG_PART = 0.005


def mpe_mm(length_mm: float, tape: Tape) -> float:
    """Return the maximum permissible error of a tape with an end hook at `length_mm`, mm.

    Parameters
    ----------
    length_mm : length measured, mm, positive.
    tape : class of the tape. `unknown` is the worse of class III and Handbook 44, `laser` 2 mm (guesses).

    Returns
    -------
    float
        Half-width of the permitted interval, mm.

    References
    ----------
    Directive 2014/32/EU, annex X: +-(a + b L) mm, L rounded up to the next whole metre, plus c with a hook.
    NIST Handbook 44 section 5.52; above 100 ft pro rata (a guess).

    Examples
    --------
    >>> round(mpe_mm(1200.0, "class-2"), 6)
    0.9
    """
    if tape == "laser":
        return _LASER_MM
    if tape == "hb44":
        feet = length_mm / _FOOT_MM
        for limit, inches in _HB44:
            if feet <= limit + 1e-9:
                return inches * _INCH_MM
        return 0.25 * _INCH_MM * feet / 100.0
    if tape == "unknown":
        return max(mpe_mm(length_mm, "class-3"), mpe_mm(length_mm, "hb44"))
    a, b, c = _CLASSES[tape]
    return a + b * math.ceil(length_mm / 1000.0 - 1e-9) + c


def tilt_mm(length_mm: float, end_off_mm: float = _END_OFF_MM) -> float:
    """Return by how much a tape reads too long when its far end is off the line by `end_off_mm`, mm (Pythagoras)."""
    return math.hypot(length_mm, end_off_mm) - length_mm


def sag_mm(length_mm: float, sag_mm_at_middle: float | None = None) -> float:
    """Return by how much a tape that sags reads too long, 8 s^2 / (3 L), mm: a flat parabola of sag s.

    Without a sag the largest that is assumed counts.
    """
    s = _SAG_PART * length_mm if sag_mm_at_middle is None else sag_mm_at_middle
    return 8.0 * s * s / (3.0 * length_mm)


def too_long_mm(length_mm: float) -> float:
    """Return by how much a sound reading is too long on the average, by tilt and sag, mm.

    Offset and sag are taken as rectangular from none to the largest assumed: the mean of a square is a third.
    """
    return (tilt_mm(length_mm) + sag_mm(length_mm)) / 3.0


def reading_noise_mm(length_mm: float, graduation_mm: float | None, wall: Wall) -> float:
    """Return the standard uncertainty of one reading apart from the tape itself: mark, placing, tilt; mm."""
    mark = (COMMON_GRADUATION_MM if graduation_mm is None else graduation_mm) / math.sqrt(12.0)
    tilt = tilt_mm(length_mm) / math.sqrt(3.0)
    return math.hypot(mark, _PLACING_MM[wall], tilt)


def u_reading_mm(length_mm: float, tape: Tape, graduation_mm: float | None, wall: Wall) -> float:
    """Return the standard uncertainty of a sound reading, mm.

    Parameters
    ----------
    length_mm : the reading, mm, positive.
    tape : class of the tape.
    graduation_mm : finest mark read, mm; None is 1/16 in.
    wall : masonry and render place the blade worse than trim does.

    Returns
    -------
    float
        Root sum of squares of tape (MPE / sqrt 3), graduation (rectangular), placing and tilt.

    References
    ----------
    JCGM 100:2008, type B by rectangular distributions; facts.md section 2.
    """
    return math.hypot(mpe_mm(length_mm, tape) / math.sqrt(3.0), reading_noise_mm(length_mm, graduation_mm, wall))


def tape_parts_mm(lengths_mm: Array, tape: Tape) -> tuple[float, Array]:
    """Return the standard uncertainty of a tape's zero, mm, and that of its scale at each length (n,), mm.

    In squares they add up to the tape's whole at each length, MPE / sqrt 3.
    """
    full = np.array([mpe_mm(float(v), tape) for v in lengths_mm])
    zero = min((mpe_mm(1.0, tape), *full.tolist()))
    # What the length adds to the permitted error is laid to the scale of the blade.
    return zero / math.sqrt(3.0), np.sqrt((full**2 - zero**2) / 3.0)


def readings_cov_mm2(lengths_mm: Array, tape: Tape, graduation_mm: float | Sequence[float] | None, wall: Wall) -> Array:
    """Return the (n, n) covariance in mm2 of sound readings by one tape, whose zero and scale are common.

    `graduation_mm` is one for all, or one for each reading; None is 1/16 in.
    """
    zero, scale = tape_parts_mm(lengths_mm, tape)
    marks = list(graduation_mm) if isinstance(graduation_mm, Sequence) else [graduation_mm] * len(lengths_mm)
    own = np.array([reading_noise_mm(float(v), g, wall) for v, g in zip(lengths_mm, marks, strict=True)])
    cov: Array = zero**2 + np.outer(scale, scale) + np.diag(own**2)
    return cov
