"""Which size would be right, given all uncertainty: the opening drawn many times over and sized by the rule.

The draws follow photo and readings together: for every line that a side may mean one Gaussian of the photo,
updated by the readings in closed form, its weight by how well they fit. Only then points are laid, by a fixed
even sequence in place of chance, so that the same inputs give the same probabilities.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtri

from sizing.jobs.job import READINGS
from sizing.mixture import side_terms
from sizing.orders.rules import DIRECTIONS, STATIONS, Direction, Made, Rule, SideRule
from sizing.units import INCH_MM
from vision.request import NINE, SIDES, Array, Candidate

# By chance a probability would have a standard deviation of up to 0.5 / sqrt(N) = 0.004; the even sequence is
# good to 0.0005 (against scipy, for single widths and the largest of three correlated ones).
_DRAWS = 16_384
_FEWEST_DRAWS = 128
_LIGHTEST = 1e-6
# Sizes nearer than this are one: the noise of arithmetic in floats, far below any mark.
_SAME_MM = 1e-6
_EIGHT = len(READINGS)
# Above any size in 0.001 mm.
_BASE = 10**9


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Openings drawn: `values_mm` (N, 8) in the order of `READINGS`, NaN where nothing is known; `weights` (N,).

    `best_mm` (8,) and `best_cov_mm2` (8, 8) are the likeliest of the Gaussians that they come from.
    """

    values_mm: Array
    weights: Array
    best_mm: Array
    best_cov_mm2: Array


@dataclass(frozen=True, slots=True)
class SizeShare:
    """One made size and how probable it is that it is the right one; None where none is made."""

    width_mm: float | None
    height_mm: float | None
    probability: float


def photo_draws(values_mm: Array, cov_mm2: Array, candidates: Sequence[Candidate]) -> Draws:
    """Return openings drawn by the photo alone.

    Parameters
    ----------
    values_mm, cov_mm2 : (9,) and (9, 9), the nine measures with their covariance.
    candidates : competing edges of all sides, as in `sizing.mixture.mixture_of`.
    """
    return combined_draws(values_mm, cov_mm2, candidates, np.full(_EIGHT, np.nan), np.zeros((_EIGHT, _EIGHT)))


def combined_draws(
    values_mm: Array, cov_mm2: Array, candidates: Sequence[Candidate], readings_mm: Array, readings_cov_mm2: Array
) -> Draws:
    """Return openings drawn by photo and readings together.

    Parameters
    ----------
    values_mm, cov_mm2, candidates : of the photo.
    readings_mm : (8,) NaN where there is none, or one that must not be used.
    readings_cov_mm2 : (8, 8) covariance of the readings; rows of absent ones are not looked at.

    References
    ----------
    Update of a Gaussian by linear observations, and the evidence that weighs mixtures: Bishop, Pattern
    Recognition and Machine Learning (2006), 2.3.3, eqs. 2.113 to 2.117.
    """
    seen = np.flatnonzero(np.isfinite(readings_mm))
    logs, means, covs = _components(values_mm, cov_mm2, candidates)
    if seen.size:
        across = covs[:, seen]  # (M, k, 8)
        inner = across[:, :, seen] + readings_cov_mm2[np.ix_(seen, seen)]
        misfit = readings_mm[seen] - means[:, seen]
        solved = np.linalg.solve(inner, np.concatenate([across, misfit[:, :, None]], axis=2))
        gain, weighed = solved[:, :, :_EIGHT].swapaxes(1, 2), solved[:, :, _EIGHT]
        logs = logs - 0.5 * (np.einsum("mk,mk->m", misfit, weighed) + np.linalg.slogdet(inner)[1])
        means = means + np.einsum("mek,mk->me", gain, misfit)
        covs = covs - np.matmul(gain, across)
    return _drawn(logs, means, covs)


def reading_draws(readings_mm: Array, readings_cov_mm2: Array) -> Draws:
    """Return openings drawn by the readings alone; stations without a reading stay NaN."""
    seen = np.flatnonzero(np.isfinite(readings_mm))
    read = np.where(np.isfinite(readings_mm), readings_mm, 0.0)
    drawn = _drawn(np.zeros(1), read[None], readings_cov_mm2[None])
    unknown = np.setdiff1d(np.arange(_EIGHT), seen)
    drawn.values_mm[:, unknown] = np.nan
    drawn.best_mm[unknown] = np.nan
    return drawn


def wanted_mm(side: SideRule, stations_mm: Array, allowance_mm: float) -> Array:
    """Return the sizes (N,) before made ones are chosen, from stations (N, 3); NaN without the reading needed."""
    if side.reading == "middle":
        picked = stations_mm[:, 1]
    elif side.reading == "largest":
        picked = np.fmax(np.fmax(stations_mm[:, 0], stations_mm[:, 1]), stations_mm[:, 2])
    else:
        picked = np.fmin(np.fmin(stations_mm[:, 0], stations_mm[:, 1]), stations_mm[:, 2])
    return np.asarray(picked + allowance_mm, dtype=np.float64)


def chosen_mm(made: Made, wanted: Array) -> Array:
    """Return the made sizes (N,) for wanted ones; NaN where there is none. As `Made.chosen`, in floats."""
    sizes = wanted if made.any_size else _picked_mm(made, wanted)
    return np.where(sizes > 0, sizes, np.nan)


def _picked_mm(made: Made, wanted: Array) -> Array:
    near = {"nearest": 0.0, "next-up": -_SAME_MM, "next-down": _SAME_MM}[made.choice] + wanted
    if made.step is not None:
        step = float(made.step)
        count = {"nearest": np.floor((near + _SAME_MM) / step + 0.5), "next-up": np.ceil(near / step)}
        return np.asarray(count.get(made.choice, np.floor(near / step)) * step)
    sizes = np.array([float(size) for size in made.sizes])
    if made.choice == "nearest":
        at = np.searchsorted((sizes[1:] + sizes[:-1]) / 2.0, near + _SAME_MM, side="right")
    elif made.choice == "next-up":
        at = np.searchsorted(sizes, near)
    else:
        at = np.searchsorted(sizes, near, side="right") - 1
    there = (at >= 0) & (at < sizes.size) & np.isfinite(near)
    return np.where(there, sizes[np.clip(at, 0, sizes.size - 1)], np.nan)


def sized(rule: Rule, direction: Direction, values_mm: Array, allowance_mm: float) -> Array:
    """Return the made sizes (N,) of one direction for openings (N, 8) in the order of `READINGS`."""
    side = rule.of(direction)
    return chosen_mm(side.made, wanted_mm(side, values_mm[:, columns(direction)], allowance_mm))


def columns(direction: Direction) -> slice:
    """Return where the three stations of a direction stand among `READINGS`."""
    first = READINGS.index(STATIONS[direction][0])
    return slice(first, first + len(STATIONS[direction]))


def sizes_counted(rule: Rule, draws: Draws, allowances_mm: tuple[float, float]) -> Array:
    """Return the sizes (N, 2), width and height, by which the probabilities of draws are counted; NaN for none.

    A direction in which any size is made is counted by 1/16 in, or 1 mm by a metric rule.
    """
    each = zip(DIRECTIONS, allowances_mm, strict=True)
    return np.stack([counted(rule, d, sized(rule, d, draws.values_mm, a)) for d, a in each]).T


def size_shares(table: Array, weights: Array, least: float = 0.001) -> list[SizeShare]:
    """Return the pairs of made sizes of draws (N, 2), likeliest first, with probability; none under `least`."""
    # In 0.001 mm, with one value for 'none', so that NaN counts as equal to NaN; both in one number.
    keys = np.round(np.where(np.isfinite(table), table * 1000.0, -1.0)).astype(np.int64)
    found, inverse = np.unique((keys[:, 0] + 1) * _BASE + keys[:, 1] + 1, return_inverse=True)
    pairs = np.column_stack([found // _BASE - 1, found % _BASE - 1]) / 1000.0
    shares = np.bincount(inverse, weights=weights)
    order = sorted(range(len(pairs)), key=lambda i: (-round(float(shares[i]), 9), *pairs[i]))
    return [
        SizeShare(_or_none(pairs[i][0]), _or_none(pairs[i][1]), float(shares[i])) for i in order if shares[i] >= least
    ]


def share_of(sizes_mm: Array, weights: Array, size_mm: float) -> float:
    """Return the probability of one size among sizes drawn."""
    return float(weights[np.abs(sizes_mm - size_mm) < 0.01].sum())


def _or_none(size_mm: float) -> float | None:
    return None if size_mm < 0 else float(size_mm)


def counted(rule: Rule, direction: Direction, sizes_mm: Array) -> Array:
    """Return sizes (N,) by which probabilities are counted: made ones, else by 1/16 in, or 1 mm by a metric rule."""
    if not rule.of(direction).made.any_size:
        return sizes_mm
    step = float(INCH_MM) / 16 if rule.units == "in" else 1.0
    return np.asarray(np.round(sizes_mm / step) * step)


def _components(values_mm: Array, cov_mm2: Array, candidates: Sequence[Candidate]) -> tuple[Array, Array, Array]:
    """Return log weights (M,), means (M, 8), covariances (M, 8, 8) of all choices of a line on each side."""
    weight, mean, cov = np.ones(1), values_mm[None], cov_mm2[None]
    for side in SIDES:
        lines = side_terms(side, values_mm, candidates)
        shares, shifts, spreads = (np.array(v) for v in zip(*lines, strict=True))
        weight = np.outer(weight, shares).ravel()
        mean = (mean[:, None] + shifts).reshape(-1, len(NINE))
        cov = (cov[:, None] + spreads[:, :, None] * spreads[:, None, :]).reshape(-1, len(NINE), len(NINE))
        heavy = weight > _LIGHTEST
        weight, mean, cov = weight[heavy], mean[heavy], cov[heavy]
    return np.log(weight), mean[:, :_EIGHT], cov[:, :_EIGHT, :_EIGHT]


def _drawn(logs: Array, means: Array, covs: Array) -> Draws:
    """Return points laid by Gaussians of log weights (M,), means (M, 8) and covariances (M, 8, 8)."""
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    best = int(np.argmax(shares))
    heavy = np.flatnonzero(shares > _LIGHTEST)
    counts = np.clip(np.round(_DRAWS * shares[heavy]).astype(np.int64), _FEWEST_DRAWS, _DRAWS)
    # Station by station in memory: the rule looks at one after the other.
    values = np.empty((_EIGHT, int(counts.sum())))
    at = 0
    for count, k, root in zip(counts.tolist(), heavy.tolist(), _roots(covs[heavy]), strict=True):
        np.add(root @ _normals()[:, :count], means[k][:, None], out=values[:, at : at + count])
        at += count
    weights = np.repeat(shares[heavy] / counts, counts)
    return Draws(values.T, weights / weights.sum(), means[best].copy(), covs[best].copy())


@lru_cache(maxsize=1)
def _normals() -> Array:
    """Return points (8, N) of the standard normal distribution, spread evenly over it whatever their count.

    References
    ----------
    Additive recurrence with powers of the root of x^9 = x + 1 (M. Roberts, The unreasonable effectiveness of
    quasirandom sequences, 2018), through the inverse of the normal distribution.
    """
    root = 1.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (_EIGHT + 1))
    steps = root ** -np.arange(1.0, _EIGHT + 1.0)
    even = (0.5 + np.outer(np.arange(1.0, _DRAWS + 1.0), steps)) % 1.0
    points = np.ascontiguousarray(ndtri(np.clip(even, 1e-12, 1.0 - 1e-12)).T, np.float64)
    points.setflags(write=False)
    return points


def _roots(covs_mm2: Array) -> Array:
    """Return the lower triangles L (M, 8, 8), L L^T = cov; unlike roots by eigenvectors the same everywhere."""
    even = 0.5 * (covs_mm2 + covs_mm2.swapaxes(1, 2))
    floor = 1e-9 + 1e-10 * np.trace(even, axis1=1, axis2=2)
    return np.asarray(np.linalg.cholesky(even + floor[:, None, None] * np.eye(_EIGHT)), np.float64)
