"""At what scale a sheet was printed, by bars or the outline of its paper: a mixture of cases, put as one normal.

Most sheets come out at 100 % within the contract's prior, some 'fit to page' at any smaller scale, a few at any other.
What was seen is weighed under each (Bayes); the mixture's mean and covariance go on (law of total variance). So bars
read to a millimetre, which know 150 mm no better than the prior does, join it, and a sheet at 97 % stays at 97 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, logsumexp

from vision.request import Array

U_PRINT_SCALE = 0.002  # contract: a guess, marked so; of either direction about their common scale
# Guesses: how often a sheet is printed 'fit to page', evenly between these scales, and how often at any other at all.
P_OTHER, OTHER = 0.1, (0.92, 0.998)
P_ANY, ANY = 0.005, (0.3, 3.0)


@dataclass(frozen=True, slots=True, eq=False)
class PrintedScale:
    """Relative correction across and along (2,), its covariance (2, 2), and the probability of another scale."""

    value: Array
    covariance: Array
    other: float

    @property
    def u(self) -> Array:
        """Standard uncertainties (2,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def printed_scale(seen: Array, u: Array) -> PrintedScale:
    """Return what is known of the print scale.

    Parameters
    ----------
    seen, u : (2,) scale minus 1 across and along as observed, and its standard uncertainty; infinite: not observed.
    """
    told = np.isfinite(u)
    if not told.any():  # the contract's prior alone
        return PrintedScale(np.zeros(2), np.eye(2) * U_PRINT_SCALE**2, P_OTHER + P_ANY)
    information = np.where(told, 1 / np.maximum(u, 1e-6) ** 2, 0.0)
    y = np.where(told, seen, 0.0)
    v = U_PRINT_SCALE**2 + np.maximum(u[told], 1e-6) ** 2
    share, means, covariances = [], [], []
    for weight, among in ((1 - P_OTHER - P_ANY, None), (P_OTHER, OTHER), (P_ANY, ANY)):
        prior = np.eye(2) / U_PRINT_SCALE**2
        if among is None:
            like = _log_normal(y[told], v)
        else:
            prior = prior - np.full((2, 2), 0.5) / U_PRINT_SCALE**2  # their common scale is free
            like = _evenly(y[told], v, (among[0] - 1, among[1] - 1))
        covariance = np.linalg.inv(prior + np.diag(information))
        share.append(np.log(weight) + like)
        means.append(covariance @ (information * y))
        covariances.append(covariance)
    p = np.exp(np.array(share) - logsumexp(share))
    mean = p @ np.array(means)
    apart = np.array(means) - mean
    covariance = np.einsum("k,kij->ij", p, np.array(covariances)) + np.einsum("k,ki,kj->ij", p, apart, apart)
    return PrintedScale(mean, covariance, float(p[1:].sum()))


def _evenly(y: Array, v: Array, among: tuple[float, float]) -> float:
    """Return the logarithm of the density of values y (N,), variances v, about one mean that is anywhere in a range."""
    variance = 1 / float((1 / v).sum())
    mean, u = variance * float((y / v).sum()), variance**0.5
    low, high = (among[0] - mean) / u, (among[1] - mean) / u
    if low > 0:  # the tail that keeps its digits
        low, high = -high, -low
    inside = float(log_ndtr(high) + np.log1p(-np.exp(log_ndtr(low) - log_ndtr(high))))
    about = _log_normal(y - mean, v)
    return about + 0.5 * float(np.log(2 * np.pi * variance)) + inside - float(np.log(among[1] - among[0]))


def _log_normal(apart: Array, v: Array) -> float:
    """Return the logarithm of the density of independent normal deviations (N,), variances v."""
    return -0.5 * float(np.sum(apart**2 / v + np.log(2 * np.pi * v)))
