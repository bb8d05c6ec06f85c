"""Whether a hypothesis explains its readings at all: its weight says only that the others explain them less."""

from __future__ import annotations

import numpy as np
from scipy.special import chdtrc

from sizing.explaining.hypotheses import Weighable
from sizing.explaining.posterior import Flags, FlagTable, Posterior
from vision.request import Array

# Level of the test, as of the joint test of all readings (contract, Decision).
LEVEL = 0.001
# Sets that weigh less, as a share of all, are not tested: together they change no probability that is shown.
_LEAST_WEIGHT = 1e-4
# What is said to be common to all readings is not where more of them than this are off by something else (taste).
_LEFT_TO_OTHERS = 1


def refuted(posterior: Posterior, what: Weighable, difference_mm: Array, cov_mm2: Array, edges_mm: Array) -> FlagTable:
    """Return which members (M, depth) of the sets leave their own readings unexplained.

    Parameters
    ----------
    posterior : the sets, see `posterior_of`; `what` their hypotheses.
    difference_mm, cov_mm2 : (n,) reading minus measure, mm, and (n, n) its covariance without slips, mm2.
    edges_mm : (J, n) shifts of the candidate edges; that which fits best counts.

    Returns
    -------
    (M, depth) array of bool
        True where chi-square of the readings that the member bears on is beyond its 99.9 % point; of a ratio or shift
        of all readings also where nothing else explains more than one of them. 'Something else' is never refuted.

    Notes
    -----
    Prior predictive check (Box 1980, J. R. Statist. Soc. A 143, 383): under the hypothesis, its spreads counted in
    the covariance, r' C^-1 r has one degree of freedom a reading. The size of a shift or ratio common to all
    readings has a guess for its spread only: it is taken as free, and costs one degree.
    """
    found = np.zeros(posterior.members.shape, dtype=np.bool_)
    modes_mm2 = {int(k): m for k, m in zip(what.several, what.several_mm2, strict=True)}
    for row in np.flatnonzero(posterior.weights > _LEAST_WEIGHT).tolist():
        members = [int(k) for k in posterior.members[row] if k >= 0]
        residual = difference_mm - edges_mm - what.shift_mm[members].sum(axis=0)
        cov = cov_mm2 + sum((_mode_mm2(what, modes_mm2, k) for k in members), np.zeros_like(cov_mm2))
        own = [k for k in members if not what.common[k]]
        unfit = {k for k in own if not what.none[k] and _beyond(residual, cov, what.touches[k])}
        left = what.touches[[k for k in own if what.none[k] or k in unfit]].any(axis=0).sum()
        rest: Flags = np.logical_not(what.touches[own].any(axis=0))
        unfit |= {
            k
            for k in members
            if what.common[k] and (left > _LEFT_TO_OTHERS or _beyond(residual, cov, rest, what.first_mode[k]))
        }
        found[row] = np.isin(posterior.members[row], list(unfit))
    return found


def _mode_mm2(what: Weighable, several_mm2: dict[int, Array], k: int) -> Array:
    """Return what the hypothesis adds to the covariance (n, n), mm2."""
    one: Array = np.outer(what.first_mode[k], what.first_mode[k])
    return several_mm2.get(k, one)


def _beyond(residual: Array, cov: Array, on: Flags, free: Array | None = None) -> bool:
    """Return whether residuals (J, n) of the readings `on` are all beyond chi-square, one size along `free` fitted."""
    dof = int(on.sum()) - (free is not None)
    if dof < 1:
        return True  # a ratio or shift of all that is left of one reading: any would fit
    r, c = residual[:, on], cov[np.ix_(on, on)]
    pulled = np.linalg.solve(c, r.T).T
    q = np.einsum("jn,jn->j", pulled, r)
    if free is not None:
        q -= (pulled @ free[on]) ** 2 / float(free[on] @ np.linalg.solve(c, free[on]))
    return float(chdtrc(dof, q.min())) < LEVEL
