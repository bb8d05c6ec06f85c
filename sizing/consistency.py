"""Readings of one opening against each other, without a photo: whether one opening can have them all.

Five sizes fix an opening of four straight sides; eight readings leave three conditions. The test finds that
something is wrong; it can seldom say which, so it names the group that cannot be told apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import chdtrc

from sizing.tape import Tape, mpe_mm, readings_cov_mm2
from vision.request import NINE, Array, Wall

if TYPE_CHECKING:
    from sizing.job import Opening

# Contract, Decision: level of the joint test.
LEVEL = 0.001
# design.md, The cross-check: test statistics that correlate above this cannot be told apart.
SAME = 0.95
# Contract, Measures: stations 2 in inside the corners.
_INSET_MM = 50.8
# Guess: how far a jamb or head bows in its middle. Larger: slips of the middle reading are missed.
_BOW_U_MM = 2.0
# Guess: how far into the corner a diagonal is held.
_CORNER_U_MM = 2.0


@dataclass(frozen=True, slots=True)
class Consistency:
    """Outcome of the joint test: chi-square, its conditions, p, and the group named when p is below 0.001.

    `tested` is False when the readings carry no condition; `residuals_mm` are reading minus adjusted reading.
    """

    tested: bool
    chi2: float
    dof: int
    p: float
    inconsistent: bool
    group: tuple[str, ...]
    w: Mapping[str, float]
    residuals_mm: Mapping[str, float]


def predict_readings_mm(shape_mm: Array) -> Array:
    """Return the eight readings (8,) of an opening of four straight sides.

    Parameters
    ----------
    shape_mm : (5,) mm: head and sill (across), left and right jamb (along the vertical), lean of the head to
        the right; head and sill slope by the same amount in opposite directions.

    Returns
    -------
    ndarray
        In the order of `NINE` without `out_of_square`.
    """
    head, sill, left, right, lean = shape_mm
    down = np.array([0.0, 1.0])
    top_left = np.array([0.5 * (lean - head), 0.25 * (right - left)])
    top_right = np.array([0.5 * (lean + head), 0.25 * (left - right)])
    bottom_left = np.array([0.5 * (-lean - sill), 0.0]) + (top_left[1] + left) * down
    bottom_right = np.array([0.5 * (-lean + sill), 0.0]) + (top_right[1] + right) * down

    def between(a: Array, b: Array, c: Array, d: Array, inset: float) -> float:
        """Length between points on a-b and c-d, `inset` mm from a and c, or halfway when negative."""
        at = [p + (q - p) * (0.5 if inset < 0 else inset / np.hypot(*(q - p))) for p, q in ((a, b), (c, d))]
        return float(np.hypot(*(at[1] - at[0])))

    return np.array(
        [
            between(top_left, bottom_left, top_right, bottom_right, _INSET_MM),
            between(top_left, bottom_left, top_right, bottom_right, -1.0),
            between(bottom_left, top_left, bottom_right, top_right, _INSET_MM),
            between(top_left, top_right, bottom_left, bottom_right, _INSET_MM),
            between(top_left, top_right, bottom_left, bottom_right, -1.0),
            between(top_right, top_left, bottom_right, bottom_left, _INSET_MM),
            np.hypot(*(bottom_right - top_left)),
            np.hypot(*(top_right - bottom_left)),
        ]
    )


def _design(shape_mm: Array, rows: list[int]) -> Array:
    """Return the Jacobian (n, 5) of the readings by central differences of 1 mm."""
    columns = []
    for k in range(5):
        step = np.zeros(5)
        step[k] = 1.0
        columns.append(0.5 * (predict_readings_mm(shape_mm + step) - predict_readings_mm(shape_mm - step))[rows])
    return np.column_stack(columns)


def _covariance(names: list[str], lengths_mm: Array, tape: Tape, graduation_mm: float | None, wall: Wall) -> Array:
    extra = [_BOW_U_MM if n.endswith("middle") else _CORNER_U_MM if n.startswith("diagonal") else 0.0 for n in names]
    cov: Array = readings_cov_mm2(lengths_mm, tape, graduation_mm, wall) + np.diag(np.square(extra))
    return cov


def check_readings(
    readings_mm: Mapping[str, float], tape: Tape, graduation_mm: float | None, wall: Wall
) -> Consistency:
    """Return whether one opening of four straight sides can have all these readings.

    Parameters
    ----------
    readings_mm : readings by name (the nine without `out_of_square`), mm, positive.
    tape, graduation_mm, wall : for the uncertainty of a reading (`tape`).

    Returns
    -------
    Consistency
        `inconsistent` when the joint chi-square test fails at 0.001; `group` then holds the reading of the
        largest w-statistic and all whose statistics correlate with it above 0.95.

    Notes
    -----
    Least squares with the readings as correlated observations (zero and scale of one tape are common),
    linearised at the median width and height. Readings that differ because the sides bow by more than a few
    mm fail too.

    References
    ----------
    Baarda 1968, w-test: w_i = (P v)_i / sqrt((P Q_v P)_ii). Level and grouping: design.md, *The cross-check*.
    """
    names = [n for n in NINE[:8] if n in readings_mm]
    rows = [NINE.index(n) for n in names]
    y = np.array([readings_mm[n] for n in names], dtype=np.float64)
    widths = [v for n, v in readings_mm.items() if n.startswith("width")]
    heights = [v for n, v in readings_mm.items() if n.startswith("height")]
    if not widths or not heights:
        # A direction without readings: any size does, its column then drops out by rank.
        widths, heights = widths or [1000.0], heights or [1000.0]
    w0, h0 = float(np.median(widths)), float(np.median(heights))
    shape = np.array([w0, w0, h0, h0, 0.0])
    if not names or min(w0, h0) < 4.0 * _INSET_MM:
        return Consistency(False, 0.0, 0, 1.0, False, (), {}, {})
    cov = _covariance(names, y, tape, graduation_mm, wall)
    factor = np.linalg.cholesky(cov)
    v = y - predict_readings_mm(shape)[rows]
    a = np.linalg.solve(factor, _design(shape, rows))
    rank = int(np.linalg.matrix_rank(a, tol=1e-6 * float(np.abs(a).max())))
    dof = len(names) - rank
    if dof == 0:
        return Consistency(False, 0.0, 0, 1.0, False, (), {}, {})
    u, _, _ = np.linalg.svd(a, full_matrices=True)
    null = u[:, rank:] @ u[:, rank:].T
    white = null @ np.linalg.solve(factor, v)
    chi2 = float(white @ white)
    p = float(chdtrc(dof, chi2))
    # P v and its covariance P Q_v P, with P = inv(cov).
    back = np.linalg.solve(factor.T, null)
    q = back @ back.T
    spread = np.sqrt(np.diag(q))
    free = spread > 1e-6 * float(spread.max())
    w = np.where(free, np.linalg.solve(factor.T, white) / np.where(free, spread, 1.0), 0.0)
    group: tuple[str, ...] = ()
    if p < LEVEL:
        worst = int(np.argmax(np.abs(w)))
        alike = np.abs(q[worst]) / np.where(free, spread * spread[worst], np.inf)
        group = tuple(n for n, r in zip(names, alike, strict=True) if r > SAME)
    return Consistency(
        True,
        chi2,
        dof,
        p,
        p < LEVEL,
        group,
        dict(zip(names, w.tolist(), strict=True)),
        dict(zip(names, (factor @ white).tolist(), strict=True)),
    )


def inconsistent_group(opening: Opening) -> tuple[str, ...]:
    """Return the readings that cannot be told apart when the joint test fails at 0.001; empty when it passes.

    Readings of several tapes are taken by the coarsest of them.
    """
    if not opening.readings:
        return ()
    readings_mm = {r.name: r.length.mm for r in opening.readings}
    longest = max(readings_mm.values())
    worst = max(opening.readings, key=lambda r: (mpe_mm(longest, r.tape), r.graduation_mm))
    return check_readings(readings_mm, worst.tape, worst.graduation_mm, opening.wall).group
