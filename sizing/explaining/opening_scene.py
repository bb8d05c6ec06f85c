"""An opening as the scene in which its readings are explained, with what is known of measures and tape."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sizing.explaining.hypotheses import Other, Scene, SizeFrom
from sizing.explaining.slips import Scale
from sizing.explaining.without_photo import vague_measures
from sizing.jobs.job import Opening, Reading
from sizing.tape import readings_cov_mm2
from sizing.units import INCH_MM
from vision.request import NINE, Array, Estimate

# A length written in steps that are no part of an inch was read from a metric scale: 1/64 in.
_STEP_MM = float(INCH_MM) / 64


def scene_of(opening: Opening, estimate: Estimate | None, others: Sequence[Other]) -> tuple[Scene, Array] | None:
    """Return the scene with the covariance (n, n) of its measures; None where nothing is known of the opening."""
    readings = {r.name: r for r in opening.readings}
    lengths = {n: r.length.mm for n, r in readings.items()}
    if estimate is not None:
        values, cov = estimate.values_mm, estimate.cov_mm2
    else:
        vague = vague_measures(lengths)
        if vague is None:
            return None
        values, cov = vague
    scene = Scene(
        lengths,
        dict(zip(NINE, values.tolist(), strict=True)),
        {n: r.length.as_written for n, r in readings.items()},
        {n: _scale_of(r) for n, r in readings.items()},
        max(r.graduation_mm for r in readings.values()),
        () if estimate is None else estimate.faces,
        tuple(others),
        _size_from(opening),
    )
    rows = [NINE.index(n) for n in scene.names]
    return scene, cov[np.ix_(rows, rows)]


def _size_from(opening: Opening) -> SizeFrom:
    kind, bar = opening.seen_reference.kind, opening.check_bar
    if kind == "sheet":
        return "print" if bar.across is None and bar.along is None else "bars"
    return "page" if kind in ("letter", "a4") else "object"


def _scale_of(reading: Reading) -> Scale:
    parts = reading.length.step_mm / _STEP_MM
    return "in" if abs(parts - round(parts)) < 1e-6 and parts > 0.5 else "mm"


def tape_cov_of(readings: Sequence[Reading], scene: Scene, opening: Opening) -> Array:
    """Return the (n, n) covariance of sound readings in mm2; zero and scale are common to those of one visit.

    The photo's lengths stand for the readings', which may have slipped.
    """
    cov = np.zeros((len(readings), len(readings)))
    groups: dict[tuple[str, int, float], list[int]] = {}
    for i, r in enumerate(readings):
        groups.setdefault((r.tape, r.visit, r.graduation_mm), []).append(i)
    for rows in groups.values():
        lengths = np.array([scene.photo_mm[readings[i].name] for i in rows])
        first = readings[rows[0]]
        cov[np.ix_(rows, rows)] = readings_cov_mm2(lengths, first.tape, first.graduation_mm, opening.wall)
    return cov
