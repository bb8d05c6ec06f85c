"""Propagation of uncertainty: first order (JCGM 100:2008) and by Monte Carlo (JCGM 101:2008)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from vision.request import Array


def jacobian(function: Callable[[Array], Array], x: ArrayLike, steps: ArrayLike) -> Array:
    """Return the partial derivatives (M, N) of `function` at `x`, by central differences.

    Parameters
    ----------
    function : takes (N,), returns (M,).
    x : (N,) where.
    steps : (N,) or one number, in the units of `x`: small against the curvature, large against rounding.
    """
    at = np.asarray(x, float)
    columns = []
    for i, h in enumerate(np.broadcast_to(np.asarray(steps, float), at.shape)):
        ahead, behind = at.copy(), at.copy()
        ahead[i] += h
        behind[i] -= h
        columns.append((np.asarray(function(ahead), float) - function(behind)) / (2 * h))
    return np.stack(columns, axis=1)


def carried(j: Array, cov: ArrayLike) -> Array:
    """Return the covariance (M, M) of what depends on quantities of covariance (N, N) by J (M, N): JCGM 100, 5.2.2."""
    return np.asarray(j @ np.asarray(cov, float) @ j.T)


def propagate(
    function: Callable[[Array], Array], x: ArrayLike, cov: ArrayLike, steps: ArrayLike
) -> tuple[Array, Array]:
    """Return y = function(x) (M,) and its covariance (M, M): the law of propagation, JCGM 100, 5.2.2.

    Notes
    -----
    First order: fails where the function bends within a few standard uncertainties; `monte_carlo` tells.
    """
    j = jacobian(function, x, steps)
    return np.asarray(function(np.asarray(x, float)), float), carried(j, cov)


def monte_carlo(
    function: Callable[[Array], Array],
    x: ArrayLike,
    cov: ArrayLike,
    rng: np.random.Generator,
    trials: int,
    *,
    columns: bool = False,
) -> tuple[Array, Array, Array]:
    """Return mean (M,), covariance (M, M) and all draws (trials, M) of function(x) (JCGM 101, 6.4.8 and 7).

    Parameters
    ----------
    function : takes (N,), returns (M,); with `columns` takes (N, trials) and returns (M, trials), for speed.
    x, cov : means (N,) and covariance (N, N) of the inputs, jointly normal; other
        distributions are functions of these.
    rng : the source of chance.
    trials : number of draws; JCGM 101, 7.2 wants 100 / (1 - p) and more for an interval of coverage p.
    """
    draws = rng.multivariate_normal(np.asarray(x, float), np.asarray(cov, float), trials, method="eigh")
    results = function(draws.T) if columns else np.array([function(d) for d in draws]).T
    values = np.asarray(results, float).T
    return values.mean(0), np.atleast_2d(np.cov(values, rowvar=False)), values


def expanded(u: ArrayLike, k: float = 2.0) -> Array:
    """Return the expanded uncertainty U = k u (JCGM 100, 6.2.1); k = 2 covers about 95 %.

    Examples
    --------
    >>> float(expanded(0.4))
    0.8
    """
    return np.asarray(k * np.asarray(u, float))


def welch_satterthwaite(parts: ArrayLike, dof: ArrayLike) -> float:
    """Return the effective degrees of freedom of independent parts u_i(y) with `dof` each (JCGM 100, G.4.1).

    Infinite degrees of freedom are allowed.

    Examples
    --------
    >>> round(welch_satterthwaite([25.0, 9.7], [18, 25.6]), 2)
    23.45
    """
    u, nu = np.asarray(parts, float), np.asarray(dof, float)
    with np.errstate(divide="ignore"):
        return float((u**2).sum() ** 2 / (u**4 / nu).sum())
