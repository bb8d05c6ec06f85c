"""Readings held to the photos of the same openings, and what those of one unit say: mean, spread, growth with length.

A unit is what repeats independently: a job, or for a single day an opening.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from sizing.statistics.pooling import Interval, combine
from vision.request import Array

# Guess: a spread of fewer residuals than this says nothing of its own.
FEWEST_RESIDUALS = 3
# Guess: lengths of one unit spread less than this show no growth with the length, m2.
_LEAST_SPREAD_M2 = 0.01


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading and its photo: lengths in mm, `u_mm` standard uncertainty of the difference; keys of its places."""

    by: str
    tape: str
    job: str
    opening: str
    name: str
    on: date | None
    tape_mm: float
    difference_mm: float
    u_mm: float


def parted(rows: Iterable[Compared], key: Callable[[Compared], str]) -> Mapping[str, list[Compared]]:
    """Return the readings by a key, in the order in which the keys come."""
    parts: dict[str, list[Compared]] = defaultdict(list)
    for row in rows:
        parts[key(row)].append(row)
    return parts


def mean_of(rows: Sequence[Compared]) -> tuple[float, float]:
    """Return mean difference of a unit and its u, mm: photos of two openings err apart, readings of one together."""
    openings = len({r.opening for r in rows})
    u = float(np.sqrt(np.mean([r.u_mm**2 for r in rows]) / openings))
    return float(np.mean([r.difference_mm for r in rows])), u


def residuals_of(rows: Sequence[Compared]) -> tuple[Array, int]:
    """Return the differences less their opening's mean, mm, and the degrees of freedom."""
    parts = [np.array([r.difference_mm for r in part]) for part in parted(rows, lambda r: r.opening).values()]
    return np.concatenate([p - p.mean() for p in parts]), sum(len(p) - 1 for p in parts)


def slope_within(rows: Sequence[Compared]) -> float:
    """Return the growth of the difference with the length within openings, mm per m; NaN where lengths are alike."""
    x_m, y_mm = list[Array](), list[Array]()
    for part in parted(rows, lambda r: r.opening).values():
        length, d = np.array([r.tape_mm / 1000.0 for r in part]), np.array([r.difference_mm for r in part])
        x_m.append(length - length.mean())
        y_mm.append(d - d.mean())
    x, y = np.concatenate(x_m), np.concatenate(y_mm)
    return float(x @ y / (x @ x)) if x @ x > _LEAST_SPREAD_M2 else float("nan")


def spread_within(rows: Sequence[Compared]) -> float | None:
    """Return the variance within openings, mm2; None where too few residuals are left."""
    residuals, dof = residuals_of(rows)
    return float(residuals @ residuals) / dof if dof >= FEWEST_RESIDUALS else None


def slope_over_units(rows: Sequence[Compared], unit: Callable[[Compared], str]) -> Interval | None:
    """Return the growth of the difference with the length, mm per metre, from the slopes within units."""
    slopes, u = [], []
    for part in parted(rows, unit).values():
        x, y = np.array([r.tape_mm / 1000.0 for r in part]), np.array([r.difference_mm for r in part])
        spread = float(np.sum((x - x.mean()) ** 2))
        if len(part) < 2 * FEWEST_RESIDUALS or spread < _LEAST_SPREAD_M2:
            continue
        (slope, _), cov = np.polyfit(x - x.mean(), y, 1, cov=True)  # SciPy's costs twenty times as much
        slopes.append(float(slope))
        u.append(max(float(np.sqrt(cov[0, 0])), 1e-6))
    return combine(np.array(slopes), np.array(u)).interval if len(slopes) > 1 else None
