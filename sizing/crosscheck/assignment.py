"""Readings and photos of one job put together anew: which belong to which opening, and photos used twice.

What fits another opening better is said, never moved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from sizing.crosscheck.adjustment import STATIONS
from sizing.crosscheck.consistency import CrossCheck, cov_in_corners_mm2, expected_lengths_mm, sound_readings
from sizing.jobs.job import Opening
from vision.request import Array, Estimate

# By so much likelier, times the number of openings, another opening must be. A sound opening passes the bound with
# probability below 1 / 1000 (Markov's inequality on the likelihood ratio).
_ODDS = 1000.0
# Openings that fit nearly as well are named too: within a factor of 100 (taste).
_AS_WELL = math.log(100.0)
# Fewer readings name no opening.
LEAST_READINGS = 3
# Guess: one reading in fifty slips, by anything up to a few hundred mm. At most so many of an opening.
_SLIP = 0.02
_SLIP_SPREAD_MM = 300.0
_MOST_SLIPS = 3
# With more readings than may slip beyond so many u no photo is another's: not worth the arithmetic.
_FAR, _HOPELESS = 10.0, -1e12
# Below this a lighter edge of the photo is not tried.
_LIGHTEST = 0.01

Entry = tuple[Opening, Estimate, CrossCheck | None]


@dataclass(frozen=True, slots=True)
class Misplaced:
    """An opening whose readings fit the photo of another: the best first, then those that fit nearly as well.

    `exchanged`: the readings of the best fit this one's photo in turn. `log_odds` is the logarithm of how much
    likelier the readings are with the other photo than with their own.
    """

    label: str
    fits: tuple[str, ...]
    exchanged: bool
    log_odds: float


def misplaced(openings: Sequence[Entry]) -> tuple[Misplaced, ...]:
    """Return the openings whose readings fit the photo of another opening of the job better than their own.

    Parameters
    ----------
    openings : those with a photo's measures; only readings that fail the joint test with their own photo count.

    Notes
    -----
    All are assigned jointly: the sum of log likelihoods (full covariance of tape and photo, edges' candidates summed
    over, up to three slips allowed) is made largest, each opening that moves paying the log odds ln(1000 n). Readings
    left in place because others took the photo may still be a copy of that opening's.

    References
    ----------
    Linear sum assignment: `scipy.optimize.linear_sum_assignment`.
    """
    rows = [
        i
        for i, (opening, _, check) in enumerate(openings)
        if check is not None and check.snooped.rejected and len(sound_readings(opening)) >= LEAST_READINGS
    ]
    if not rows or len(openings) < 2:
        return ()
    said = {i: _said(openings[i][0]) for i in rows}
    score = np.array([[_log_likelihood(said[i], e, own=i == j) for j, (_, e, _) in enumerate(openings)] for i in rows])
    bound = math.log(_ODDS * len(openings))
    stay = np.zeros_like(score)
    stay[range(len(rows)), rows] = bound
    from scipy.optimize import linear_sum_assignment

    _, chosen = linear_sum_assignment(score + stay, maximize=True)
    at = dict(zip(rows, (int(j) for j in chosen), strict=True))
    found = []
    for n, i in enumerate(rows):
        gain = score[n] - score[n, i]
        best = at[i] if at[i] != i else int(np.argmax(gain))
        if best == i or gain[best] <= bound:
            continue
        near = [int(j) for j in np.argsort(-gain) if gain[j] > max(bound, gain[best] - _AS_WELL) and j not in {i, best}]
        labels = tuple(openings[j][0].label for j in (best, *near))
        found.append(Misplaced(openings[i][0].label, labels, at.get(best) == i, float(gain[best])))
    return tuple(found)


def log_likelihood_of(opening: Opening, estimate: Estimate) -> float | None:
    """Return the log likelihood of an opening's readings (mm) with a photo that may not be its own.

    None where too few readings name no opening; as low as can be where more are far off than may have slipped.
    """
    said = _said(opening)
    return _log_likelihood(said, estimate, own=False) if len(said.rows) >= LEAST_READINGS else None


@dataclass(frozen=True, slots=True, eq=False)
class _Said:
    """Readings of one opening: rows of the stations, values less tilt and sag (n,) mm, covariance (n, n) mm2."""

    rows: list[int]
    values_mm: Array
    cov_mm2: Array


def _said(opening: Opening) -> _Said:
    readings = sound_readings(opening)
    return _Said(
        [STATIONS.index(r.name) for r in readings],
        np.array(list(expected_lengths_mm(readings).values())),
        cov_in_corners_mm2(readings, opening),
    )


def _log_likelihood(said: _Said, estimate: Estimate, *, own: bool) -> float:
    """Return the log likelihood of an opening's readings with the measures of a photo, over its edges.

    Of a photo not its `own` only where no more readings are far off than may have slipped.
    """
    rows, edges = said.rows, _edges(estimate)
    difference = said.values_mm - estimate.values_mm[rows]
    cov = said.cov_mm2 + estimate.cov_mm2[np.ix_(rows, rows)]
    reach = _FAR * np.sqrt(np.diag(cov)) + np.max([np.abs(shift[rows]) for _, shift in edges], axis=0)
    if not own and np.count_nonzero(np.abs(difference) > reach) > _MOST_SLIPS:
        return _HOPELESS
    precision = np.asarray(np.linalg.inv(cov), dtype=np.float64)
    constant = -0.5 * (float(np.linalg.slogdet(cov)[1]) + len(rows) * math.log(2.0 * math.pi))
    return float(logsumexp([w + constant + _best_slips(difference - shift[rows], precision) for w, shift in edges]))


def _edges(estimate: Estimate) -> list[tuple[float, Array]]:
    """Return log weight and shift (9,) of the edges as traced, and of each candidate in place of one."""
    rivals = [c for c in estimate.candidates if abs(c.shift_mm) > 1e-9 and c.weight >= _LIGHTEST]
    traced = max(1.0 - sum(c.weight for c in rivals), _LIGHTEST)
    return [
        (math.log(traced), np.zeros(9)),
        *((math.log(c.weight), np.asarray(c.shift_nine_mm, dtype=np.float64)) for c in rivals),
    ]


def _best_slips(difference_mm: Array, precision: Array) -> float:
    """Return the largest log density over up to three readings taken out as slips, less that of the constant.

    Taking out one observation lowers chi-square by w^2 and adds the logarithm of its diagonal of the precision to
    that of the determinant; what is left has the Schur complement for its precision.
    """
    taken = math.log(_SLIP / (2.0 * _SLIP_SPREAD_MM))
    weighted = precision @ difference_mm
    best = density = -0.5 * float(difference_mm @ weighted)
    for _ in range(min(_MOST_SLIPS, len(difference_mm) // 2)):
        diagonal = np.diag(precision)
        w2 = np.where(diagonal > 1e-9, weighted**2 / np.maximum(diagonal, 1e-9), 0.0)
        k = int(np.argmax(w2))
        density += 0.5 * (float(w2[k]) - math.log(diagonal[k]) + math.log(2.0 * math.pi)) + taken
        best = max(best, density)
        weighted = weighted - precision[:, k] * (weighted[k] / diagonal[k])
        precision = precision - np.outer(precision[:, k], precision[k]) / diagonal[k]
    return best
