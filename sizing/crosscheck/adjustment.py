"""Readings and photo's measures of one opening adjusted together, with their full covariance.

The opening is four lines with a bow each. Five sizes fix the lines; bows and roughness are random with a known spread
and stand in the covariance, shared by tape and photo, which meet the same edges.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from scipy.special import chdtrc

from vision.request import NINE, Array, Wall

# The ninth measure is the difference of two others: eight carry all (rank 8).
STATIONS = NINE[:8]
# What may be off of a photo: pairs of its lines that act alike, and the scale of all its measures.
OF_PHOTO = ("photo_jambs", "photo_head_or_sill", "photo_scale")
# Contract, Measures: stations 2 in inside the corners.
INSET_MM = 50.8
# design.md, The cross-check: one bow a side (a guess). Larger: slips of the middle reading are missed.
BOW_U_MM = 3.0
# design.md, first table: 0.7 mm for the roughness of brick at the two stations; guesses for the other walls. Larger:
# slips are missed without a photo; with one, tape and photo meet the same edge.
ROUGH_U_MM: Mapping[Wall, float] = MappingProxyType({"masonry": 0.7, "render": 0.4, "siding": 0.2, "panel": 0.2})
_DIAGONALS = (6, 7)
# Stations lie a little inside the corner `_FROM`, toward `_TO` (corners as in `predict_readings_mm`), half-way on
# every second of these sides, or in the corners; `_ENDS` are their two ends among those 8, 4 and 4 points.
_FROM, _TO = np.array([0, 2, 1, 3, 0, 1, 2, 3]), np.array([2, 0, 3, 1, 1, 0, 3, 2])
_ENDS = np.array([[0, 8, 1, 4, 10, 5, 12, 14], [2, 9, 3, 6, 11, 7, 15, 13]])
# Guess: how far into the corner a diagonal is held. Larger: slips of a diagonal are missed.
CORNER_U_MM = 2.0
# A smaller opening has no room for its stations.
LEAST_MM = 4.0 * INSET_MM
# Keeps a covariance of nearly perfect correlation invertible: 0.01 mm, below every other part.
FLOOR_MM2 = 1e-4
_RANK = 1e-6
_STEPS = 12
_STILL_MM = 1e-3
_MOVES_MM = np.vstack([np.zeros(5), np.eye(5), -np.eye(5)])


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """What is known of one opening: readings first, then the photo's measures.

    `names` (n,) of the stations, `values_mm` (n,), `cov_mm2` (n, n) with the bows in it; `readings` is how many
    of them are readings; `start_mm` (5,) is the shape to start from. `tested` (k,) names what may be off: each
    reading, and with a photo what may be off of it; the columns of `slips` (n, k) are their effects per mm.
    """

    names: tuple[str, ...]
    values_mm: Array
    cov_mm2: Array
    readings: int
    start_mm: Array
    tested: tuple[str, ...]
    slips: Array


@dataclass(frozen=True, slots=True, eq=False)
class Adjusted:
    """An adjustment: shape (5,) mm, chi-square of the residuals, degrees of freedom, and what tests need.

    `normal` (n, n) is P Q_v P, `weighted` (n,) is P v, with P the inverse covariance, v = observed less adjusted;
    `redundancy` (n,) is the diagonal of Q_v P and sums to `dof`. `slips_mm` and `u_slips_mm` (k,) are the amounts by
    which the values taken as slipped are off, and their standard uncertainties.
    """

    shape_mm: Array
    chi2: float
    dof: int
    p: float
    residuals_mm: Array
    weighted: Array
    normal: Array
    redundancy: Array
    slips_mm: Array
    u_slips_mm: Array


def predict_readings_mm(shape_mm: Array) -> Array:
    """Return the eight readings (..., 8) of an opening of four straight sides.

    Parameters
    ----------
    shape_mm : (..., 5) mm: head and sill (across), left and right jamb (along the vertical), lean of the head to
        the right; head and sill slope by the same amount in opposite directions.

    Returns
    -------
    ndarray
        In the order of `STATIONS`.
    """
    head, sill, left, right, lean = np.moveaxis(np.asarray(shape_mm, dtype=np.float64), -1, 0)
    # Points of the plane as complex numbers, x + i y, y down: corners top left, top right, bottom left, bottom right.
    drop = 0.25j * (right - left)
    corners = np.stack(
        [
            0.5 * (lean - head) + drop,
            0.5 * (lean + head) - drop,
            -0.5 * (lean + sill) + drop + 1j * left,
            0.5 * (sill - lean) - drop + 1j * right,
        ],
        axis=-1,
    )
    start, along = corners[..., _FROM], corners[..., _TO] - corners[..., _FROM]
    inside = start + along * (INSET_MM / np.abs(along))
    middle = start[..., ::2] + 0.5 * along[..., ::2]
    points = np.concatenate([inside, middle, corners], axis=-1)
    lengths: Array = np.abs(points[..., _ENDS[1]] - points[..., _ENDS[0]])
    return lengths


def bow_effects(shape_mm: Array, *, by_photo: bool = False) -> Array:
    """Return the effect (8, 2) of the bows on the eight stations: of the jambs on widths, of head and sill on heights.

    Parameters
    ----------
    shape_mm : (5,) the sizes of the lines through the corners.
    by_photo : whether the diagonals are the photo's.

    Notes
    -----
    A bow is a parabola, nil at the corners and one in the middle; both bows of a pair act alike, so their sum counts.
    The tape's diagonal runs from true corner to true corner, the photo's between the crossings of lines fitted through
    the bows (contract, *Measures*), which lie two thirds of a bow further out.
    """
    height, width = 0.5 * float(shape_mm[2] + shape_mm[3]), 0.5 * float(shape_mm[0] + shape_mm[1])
    effects = np.zeros((8, 2))
    for column, size in enumerate((height, width)):
        t = INSET_MM / size
        beside = 4.0 * t * (1.0 - t)
        effects[3 * column : 3 * column + 3, column] = (beside, 1.0, beside)
    if by_photo:
        effects[6:] = np.array([width, height]) * (2.0 / 3.0) / float(np.hypot(width, height))
    return effects


def observations(
    readings_mm: Mapping[str, float],
    cov_readings_mm2: Array,
    measures_mm: Array | None = None,
    cov_measures_mm2: Array | None = None,
    wall: Wall = "masonry",
) -> Observations | None:
    """Return readings and measures of one opening as observations with their joint covariance.

    Parameters
    ----------
    readings_mm : readings by name of station, mm.
    cov_readings_mm2 : (n, n) their covariance in that order, the tape's common parts in it, mm2.
    measures_mm, cov_measures_mm2 : the photo's nine (9,) and (9, 9), or the first eight; None without a photo.
    wall : for how far an edge at a station stands off its side, for tape and photo alike.

    Returns
    -------
    Observations or None
        None when no opening of that size has room for its stations, or nothing is given.

    Notes
    -----
    The ninth measure is left out: the covariance of the nine has rank 8. A diagonal of the tape has besides the
    uncertainty of how far into the corner it is held.
    """
    start = _start(readings_mm, measures_mm)
    if start is None:
        return None
    names = tuple(readings_mm)
    n, m = len(names), 0 if measures_mm is None else len(STATIONS)
    values = np.array([readings_mm[k] for k in names], dtype=np.float64)
    cov = np.zeros((n + m, n + m))
    corner = [CORNER_U_MM if k.startswith("diagonal") else 0.0 for k in names]
    cov[:n, :n] = cov_readings_mm2 + np.diag(np.square(corner))
    if measures_mm is not None and cov_measures_mm2 is not None:
        values = np.concatenate([values, measures_mm[:m]])
        cov[n:, n:] = cov_measures_mm2[:m, :m]
        names = (*names, *STATIONS)
    rows = np.array(_rows(names), dtype=np.intp)
    bows = np.vstack([bow_effects(start)[rows[:n]], bow_effects(start, by_photo=True)[rows[n:]]])
    same = (rows[:, None] == rows) & ~np.isin(rows, _DIAGONALS)
    cov += 2.0 * BOW_U_MM**2 * bows @ bows.T + ROUGH_U_MM[wall] ** 2 * same + FLOOR_MM2 * np.eye(n + m)
    tested = (*names[:n], *(OF_PHOTO if m else ()))
    slips = np.eye(n + m)[:, :n]
    if m:
        slips = np.hstack([slips, np.vstack([np.zeros((n, len(OF_PHOTO))), _photo_effects(start)])])
    return Observations(names, values, cov, n, start, tested, slips)


def adjust(observed: Observations, slips: Sequence[int] = (), start_mm: Array | None = None) -> Adjusted:
    """Return the least-squares adjustment of one opening; each of `slips` is freed, off by an unknown amount.

    Parameters
    ----------
    observed : readings and measures with their covariance.
    slips : columns of `observed.slips`; a reading has its row's number.
    start_mm : (5,) shape to start from in place of the one of `observed`.

    Notes
    -----
    Gauss-Newton with correlated observations. What the data leave open (no height given) drops out by rank. The
    shape converges from any start within a few hundred mm; a step is cut where a side would vanish.

    References
    ----------
    Generalised least squares, e.g. Teunissen, Adjustment theory: Q_v = C - A (A' P A)^-1 A', P = C^-1. Notation:
    Baarda 1968.
    """
    rows = _rows(observed.names)
    factor = np.linalg.cholesky(observed.cov_mm2)
    whiten = np.linalg.inv(factor)
    extra = observed.slips[:, list(slips)]
    shape = observed.start_mm if start_mm is None else start_mm
    for _ in range(_STEPS):
        predicted, jacobian = _linearised(shape)
        design = np.hstack([jacobian[rows], extra])
        left, sizes, right = np.linalg.svd(whiten @ design, full_matrices=False)
        rank = int(np.count_nonzero(sizes > _RANK * sizes[0]))
        left = left[:, :rank]
        white = whiten @ (observed.values_mm - predicted[rows])
        found = right[:rank].T @ ((left.T @ white) / sizes[:rank])
        step = found[:5]
        if np.abs(step).max() < _STILL_MM:
            break
        shape = shape + step
        shape[:4] = np.maximum(shape[:4], LEAST_MM)
    # Nil where the design reaches: the residual and its weight are what is left of them.
    null = np.eye(len(rows)) - left @ left.T
    back = whiten.T @ null
    normal = back @ back.T
    residual = null @ white
    chi2, dof = float(residual @ residual), len(rows) - rank
    p = float(chdtrc(dof, chi2)) if dof else 1.0
    redundancy = np.einsum("ij,ji->i", observed.cov_mm2, normal)
    u_slips = np.sqrt(np.sum(np.square(right[:rank, 5:] / sizes[:rank, None]), axis=0))
    return Adjusted(shape, chi2, dof, p, factor @ residual, back @ residual, normal, redundancy, found[5:], u_slips)


def _rows(names: Sequence[str]) -> list[int]:
    return [STATIONS.index(name) for name in names]


def _linearised(shape_mm: Array) -> tuple[Array, Array]:
    """Return the eight readings (8,) mm and their Jacobian (8, 5) by central differences of 1 mm."""
    moved = predict_readings_mm(shape_mm + _MOVES_MM)
    return moved[0], 0.5 * (moved[1:6] - moved[6:]).T


def _photo_effects(shape_mm: Array) -> Array:
    """Return the effects (8, 3) on the photo's measures: of a jamb, and of head or sill, seen further out; of scale.

    The scale's is one mm on the longest measure.
    """
    width, height = 0.5 * float(shape_mm[0] + shape_mm[1]), 0.5 * float(shape_mm[2] + shape_mm[3])
    effects = np.zeros((8, 3))
    effects[:3, 0] = effects[3:6, 1] = 1.0
    effects[6:, :2] = np.array([width, height]) / float(np.hypot(width, height))
    lengths = predict_readings_mm(shape_mm)
    effects[:, 2] = lengths / lengths.max()
    return effects


def _start(readings_mm: Mapping[str, float], measures_mm: Array | None) -> Array | None:
    """Return the shape to start from: the photo's, else a rectangle of the median width and height."""
    if measures_mm is not None:
        top, _, bottom, left, _, right, down, up = (float(v) for v in measures_mm[:8])
        lean = (up * up - down * down) / (2.0 * (top + bottom))
        shape = np.array([top, bottom, left, right, lean])
    elif not readings_mm:
        return None
    else:
        # A direction without readings: any size does, its column then drops out by rank.
        width, height = (
            float(np.median([v for n, v in readings_mm.items() if n.startswith(kind)] or [1000.0]))
            for kind in ("width", "height")
        )
        shape = np.array([width, width, height, height, 0.0])
    return shape if float(shape[:4].min()) >= LEAST_MM else None
