"""Propagation of uncertainty, first order: partial derivatives and the covariance they carry (JCGM 100:2008)."""

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
