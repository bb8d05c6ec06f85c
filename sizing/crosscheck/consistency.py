"""The cross-check of one opening: its readings and the photo's measures, tested together.

Two questions are kept apart: whether a number may be ordered from is judged by the photo alone (`decision`); what
does not fit, and what cannot be told apart, is found here. Nothing here moves the verdict of a reading.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from sizing.crosscheck.adjustment import CORNER_U_MM, STATIONS, Observations, adjust, observations
from sizing.crosscheck.snooping import LEVEL, Snooped, snoop
from sizing.jobs.job import Opening, Reading
from sizing.tape import Tape, readings_cov_mm2, too_long_mm
from sizing.units import READING_FROM_MM, READING_TO_MM
from vision.request import Array, Candidate, Estimate, NotMeasured

# Lighter edges explain nothing (guess: the least that `mixture` gives to another line).
_LIGHTEST = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class CrossCheck:
    """What readings and measures say of each other: the tests, and whether a photo took part.

    `edge` is set where they fit only if the photo's edge is another of its candidates; the tests are then those
    with it.
    """

    snooped: Snooped
    with_photo: bool
    edge: Candidate | None = None


def tape_of(reading: Reading) -> tuple[Tape, str | None]:
    """Return what stands for the tape itself: its class and who used it (a crew carries one tape of a class)."""
    return reading.tape, reading.by


def sound_readings(opening: Opening) -> list[Reading]:
    """Return the readings that an opening can have at all; others `differ` whatever the rest says."""
    return [r for r in opening.readings if READING_FROM_MM <= r.length.mm <= READING_TO_MM and r.name in STATIONS]


def expected_lengths_mm(readings: list[Reading]) -> dict[str, float]:
    """Return readings by name less what tilt and sag add on the average, mm."""
    return {r.name: r.length.mm - too_long_mm(r.length.mm) for r in readings}


def cov_of_readings_mm2(readings: list[Reading], opening: Opening) -> Array:
    """Return the covariance (n, n) mm2 of readings, zero and scale common to those of one tape."""
    cov = np.zeros((len(readings), len(readings)))
    for tape in dict.fromkeys(tape_of(r) for r in readings):
        rows = [i for i, r in enumerate(readings) if tape_of(r) == tape]
        mine = [readings[i] for i in rows]
        lengths = np.array([r.length.mm for r in mine])
        marks = [r.graduation_mm for r in mine]
        cov[np.ix_(rows, rows)] = readings_cov_mm2(lengths, tape[0], marks, opening.wall)
    return cov


def cov_in_corners_mm2(readings: list[Reading], opening: Opening) -> Array:
    """Return `cov_of_readings_mm2` with how far into the corner a diagonal is held."""
    corner = [CORNER_U_MM**2 if r.name.startswith("diagonal") else 0.0 for r in readings]
    return cov_of_readings_mm2(readings, opening) + np.diag(corner)


def cross_check(opening: Opening, answer: Estimate | NotMeasured | None = None) -> CrossCheck | None:
    """Return the tests of an opening's readings with the photo's measures, or against each other without.

    Parameters
    ----------
    opening : its readings in force, wall and tapes.
    answer : what the photo says; without measures the readings stand alone and a slip can be found, not placed.

    Returns
    -------
    CrossCheck or None
        None when there is nothing to test: no readings, or too small an opening for its stations.

    Notes
    -----
    Where the joint test fails with the edges as traced and passes with one other candidate of the photo that is
    likelier (weight times likelihood), the tests are made with that one, and it is named.
    """
    estimate = answer if isinstance(answer, Estimate) else None
    readings = sound_readings(opening)
    if not readings:
        return None
    traced = _observed(readings, opening, estimate, np.zeros(8))
    if traced is None:
        return None
    found = snoop(traced)
    if estimate is None or not found.rejected:
        return CrossCheck(found, estimate is not None)
    rivals = [c for c in estimate.candidates if abs(c.shift_mm) > 1e-9 and c.weight >= _LIGHTEST]
    best, edge, least = traced, None, found.chi2
    for c in rivals:
        rest = max(1.0 - sum(o.weight for o in rivals if o.side == c.side), _LIGHTEST)
        observed = _observed(readings, opening, estimate, np.asarray(c.shift_nine_mm, dtype=np.float64)[:8])
        if observed is None:
            continue
        with_edge = adjust(observed)
        cost = with_edge.chi2 - 2.0 * np.log(c.weight / rest)
        if with_edge.p >= LEVEL and cost < least:
            best, edge, least = observed, c, cost
    return CrossCheck(found if edge is None else snoop(best), True, edge)


def inconsistent_group(check: CrossCheck | None) -> tuple[str, ...]:
    """Return the readings that cannot be told apart when the joint test fails at 0.001; empty when it passes."""
    return check.snooped.worst if check is not None and check.snooped.rejected else ()


def cross_check_without(
    opening: Opening, answer: Estimate | NotMeasured | None, names: Collection[str]
) -> CrossCheck | None:
    """Return the tests of the other readings: what stands out besides those that are wrong anyway."""
    return cross_check(replace(opening, readings=tuple(r for r in opening.readings if r.name not in names)), answer)


def _observed(
    readings: list[Reading], opening: Opening, estimate: Estimate | None, shift_mm: Array
) -> Observations | None:
    return observations(
        expected_lengths_mm(readings),
        cov_of_readings_mm2(readings, opening),
        None if estimate is None else estimate.values_mm[:8] + shift_mm,
        None if estimate is None else estimate.cov_mm2[:8, :8],
        opening.wall,
    )


__all__ = [
    "LEVEL",
    "CrossCheck",
    "cov_of_readings_mm2",
    "cross_check",
    "cross_check_without",
    "expected_lengths_mm",
    "inconsistent_group",
    "sound_readings",
    "tape_of",
]
