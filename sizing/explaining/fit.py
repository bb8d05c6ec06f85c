"""Whether a hypothesis explains its readings at all: its weight says only that the others explain them less."""

from __future__ import annotations

import numpy as np
from scipy.special import chdtrc

from sizing.explaining.hypotheses import Weighable
from sizing.explaining.posterior import FlagTable, Posterior
from vision.request import Array

# Level of the test, as of the joint test of all readings (contract, Decision).
LEVEL = 0.001
# Sets that weigh less, as a share of all, are not tested: together they change no probability that is shown.
_LEAST_WEIGHT = 1e-4


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
        True where chi-square of the readings that the member bears on is beyond its 99.9 % point. 'Something else'
        explains nothing and is never refuted.

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
        own = what.touches[[k for k in members if not what.common[k]]].any(axis=0)
        for column, k in enumerate(posterior.members[row].tolist()):
            if k >= 0 and not what.none[k]:
                on = np.flatnonzero(what.touches[k] & ~own) if what.common[k] else np.flatnonzero(what.touches[k])
                free = what.first_mode[k][on] if what.common[k] else None
                found[row, column] = _beyond(residual[:, on], cov[np.ix_(on, on)], free)
    return found


def _mode_mm2(what: Weighable, several_mm2: dict[int, Array], k: int) -> Array:
    """Return what the hypothesis adds to the covariance (n, n), mm2."""
    one: Array = np.outer(what.first_mode[k], what.first_mode[k])
    return several_mm2.get(k, one)


def _beyond(residual: Array, cov: Array, free: Array | None) -> bool:
    """Return whether residuals (J, n) are all beyond chi-square of `cov` (n, n), one size along `free` (n,) fitted."""
    dof = residual.shape[1] - (free is not None)
    if dof < 1:
        return True  # a ratio or shift of all that is left of one reading: any would fit
    pulled = np.linalg.solve(cov, residual.T).T
    q = np.einsum("jn,jn->j", pulled, residual)
    if free is not None:
        q -= (pulled @ free) ** 2 / float(free @ np.linalg.solve(cov, free))
    return float(chdtrc(dof, q.min())) < LEVEL
