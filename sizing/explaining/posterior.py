"""Sets of hypotheses weighed together: several slips in one opening, by a search that keeps the best sets.

Every hypothesis moves the mean of a joint Gaussian, and may widen it by modes of its own, so each set has a
likelihood in closed form (Woodbury's identity for the modes).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sizing.explaining.hypotheses import Weighable
from vision.request import Array

Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]
FlagTable = np.ndarray[tuple[int, int], np.dtype[np.bool_]]
Index = np.ndarray[tuple[int], np.dtype[np.int64]]
Table = np.ndarray[tuple[int, int], np.dtype[np.int64]]
Tags = np.ndarray[tuple[int], np.dtype[np.uint64]]

# Sets that are enlarged in one round: the best, and the best of each choice of readings. Fewer: rare sets are missed.
_BEST, _ENLARGED = 6, 12
# Of the best sets, those that are tried again with one member left out.
_RETRIED = 3
# A set this near (log) to a perfect fit without odds leaves nothing to explain: four slips or so.
_CLEAR = 30.0
# Once the case is clear, sets this near (log) to the best are enlarged: a further slip costs more than that.
_NEAR = 3.0
# Sets lighter than the best by this (log) are dropped: a thousandth of a per mille in all.
_LIGHTEST = 16.0
# Rounds without a better set before the search ends.
_PATIENCE = 2
# Keeps a bordered covariance positive definite, whatever the residuals; the border's factor does not depend on it.
_BORDER = 1e30
# Tags of sets, so that each is weighed once.
_SEED = 20_240_101


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Sets of hypotheses that matter: members (M, depth) by index, -1 for none, and weights (M,) summing to 1."""

    members: Table
    weights: Array

    def of_reading(self, touches: Flags, common: Flags, refuted: FlagTable) -> Array:
        """Return the probability (H + 2,) that each hypothesis holds of one reading.

        The last but one: that the one which would hold explains nothing; the last: that none does.

        `touches` (H,): those that bear on the reading; `common` (H,): those that move all and give way to one of
        its own; `refuted` (M, depth): members that do not explain what they bear on.
        """
        count = len(touches)
        own = np.where(np.append(touches & ~common, np.False_)[self.members], self.members, -1).max(axis=1, initial=-1)
        shared = np.where(np.append(touches & common, np.False_)[self.members], self.members, -1)
        index = np.where(own < 0, shared.max(axis=1, initial=-1), own)
        unfit = (refuted & (self.members == index[:, None])).any(axis=1) & (index >= 0)
        slots: Array = np.bincount(
            np.where(unfit, count, np.where(index < 0, count + 1, index)), weights=self.weights, minlength=count + 2
        ).astype(np.float64)
        return slots


@dataclass(frozen=True, slots=True, eq=False)
class _Pool:
    """Sets that were weighed: members (M, D), log weights and masks (M,), keys (M,), each once."""

    members: Table
    logs: Array
    masks: Index
    keys: Tags

    def with_more(self, other: _Pool) -> _Pool:
        """Return both, each set once."""
        keys, first = np.unique(np.concatenate([self.keys, other.keys]), return_index=True)
        members = np.concatenate([self.members, other.members])[first]
        logs = np.concatenate([self.logs, other.logs])[first]
        return _Pool(members, logs, np.concatenate([self.masks, other.masks])[first], keys)


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """What all sets of one opening share; the arrays of hypotheses end with a row for 'no member'."""

    what: Weighable
    shift_mm: Array
    first_mode: Array
    log_odds: Array
    masks: Index
    tags: Tags
    log_edges: Array
    residual_mm: Array
    cov_mm2: Array
    # How many hypotheses share each mask.
    mask_widths: Index
    # The place of each hypothesis among those of several modes, else -1.
    at_several: Index


def posterior_of(difference_mm: Array, cov_mm2: Array, what: Weighable, log_edges: Array, edges_mm: Array) -> Posterior:
    """Return the posterior of all sets of hypotheses that matter, the empty one among them.

    Parameters
    ----------
    difference_mm : (n,) reading minus measure, mm.
    cov_mm2 : (n, n) their covariance as if nothing had slipped, positive definite, mm2.
    what : the hypotheses; a set holds those that touch different readings.
    log_edges, edges_mm : (J,) log weights and (J, n) shifts of the candidate edges: each set is summed over them.

    Returns
    -------
    Posterior

    Notes
    -----
    Bayes' theorem over sets with independent odds. The search enlarges the best sets by one member at a time, and
    tries them again with a member left out: while another slip stands unexplained, 'something else' is the best
    that can be said of a reading whose measure is correlated with it. What it leaves out weighs nothing against
    what it has found.
    """
    n, count = len(difference_mm), len(what.log_odds)
    tags = np.random.default_rng(_SEED).integers(1, 2**62, size=count, dtype=np.uint64)
    at_several = np.full(count + 1, -1, dtype=np.int64)
    at_several[what.several] = np.arange(len(what.several))
    search = _Search(
        what,
        np.vstack([what.shift_mm, np.zeros(n)]),
        np.vstack([what.first_mode, np.zeros(n)]),
        np.append(what.log_odds, 0.0),
        np.append(what.masks, 0),
        np.append(tags, np.uint64(0)),
        log_edges,
        difference_mm - edges_mm,
        cov_mm2,
        np.diff(np.append(what.mask_starts, count)),
        at_several,
    )
    perfect = -0.5 * float(np.linalg.slogdet(cov_mm2)[1])
    q = np.einsum("jn,nm,jm->j", search.residual_mm, np.linalg.inv(cov_mm2), search.residual_mm)
    nothing = np.full((1, n + 1), -1, dtype=np.int64)
    empty = np.array([float(np.logaddexp.reduce(log_edges - 0.5 * q)) + perfect])
    pool = _Pool(nothing, empty, np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.uint64))
    parents, done = nothing, {0}
    best, idle = float(empty[0]), 0
    while len(parents) and idle < _PATIENCE:
        pool = pool.with_more(_enlarged(search, parents, float(pool.logs.max())))
        sharp = ~np.append(what.vague, np.False_)[pool.members].any(axis=1)
        top = float(pool.logs[sharp].max())
        clear = top > perfect - _CLEAR
        idle = 0 if top > best + _NEAR or clear else idle + 1
        best = top
        parents = _next(search, pool, np.where(sharp, pool.logs, -np.inf), done, clear=clear)
    keep = pool.logs > pool.logs.max() - _LIGHTEST
    weights = np.exp(pool.logs[keep] - pool.logs.max())
    return Posterior(pool.members[keep], weights / weights.sum())


def _next(search: _Search, pool: _Pool, logs: Array, done: set[int], *, clear: bool) -> Table:
    """Return the sets to enlarge next (K, D), and note them as done."""
    order = np.argsort(-logs, kind="stable")
    order = order[np.isfinite(logs[order])]
    if clear:
        chosen = order[:_BEST][logs[order[:_BEST]] > logs[order[0]] - _NEAR]
    else:
        _, first = np.unique(pool.masks[order], return_index=True)
        chosen = order[np.union1d(np.arange(min(_BEST, len(order))), first)[:_ENLARGED]]
    rows = list(pool.members[chosen])
    for row in pool.members[chosen[:_RETRIED]]:
        for k in np.flatnonzero(row >= 0):
            shorter = row.copy()
            shorter[k] = -1
            rows.append(shorter)
    found = []
    for row in rows:
        key = int(search.tags[row].sum())
        if key not in done and (row < 0).any():
            done.add(key)
            found.append(row)
    return np.array(found, dtype=np.int64).reshape(-1, pool.members.shape[1])


def _enlarged(search: _Search, parents: Table, heaviest: float) -> _Pool:
    """Return the sets that `parents` (K, D) become by one more member; of light ones the best of each kind."""
    what = search.what
    modes = search.first_mode[parents]  # (K, D, n)
    cov = search.cov_mm2 + np.matmul(modes.swapaxes(1, 2), modes)
    rows, slots = np.nonzero(search.at_several[parents] >= 0)
    for k, m in zip(rows.tolist(), search.at_several[parents[rows, slots]].tolist(), strict=True):
        cov[k] += what.several_mm2[m]
    residual = search.residual_mm[None] - search.shift_mm[parents].sum(axis=1)[:, None, :]  # (K, J, n)
    logs = _log_weights(search, residual, cov) + search.log_odds[parents].sum(axis=1)[:, None]
    masks = np.bitwise_or.reduce(search.masks[parents], axis=1)
    free = (masks[:, None] & what.masks) == 0
    logs = np.where(free, logs, -np.inf)
    heaviest = max(heaviest, float(np.where(what.vague, -np.inf, logs).max(initial=-np.inf)))
    # Of each choice of readings the best, however light: it may be half of a set that fits.
    sorted_logs = logs[:, what.by_mask]
    top = np.maximum.reduceat(sorted_logs, what.mask_starts, axis=1)
    least = np.minimum(np.repeat(top, search.mask_widths, axis=1), np.nextafter(heaviest - _LIGHTEST, np.inf))
    rows, columns = np.nonzero((sorted_logs >= least) & np.isfinite(sorted_logs))
    columns = what.by_mask[columns]
    members = parents[rows]
    members[np.arange(len(rows)), (members < 0).argmax(axis=1)] = columns
    keys, first = np.unique(search.tags[members].sum(axis=1), return_index=True)
    return _Pool(
        members[first],
        logs[rows, columns][first],
        (masks[rows] | what.masks[columns])[first],
        np.asarray(keys, np.uint64),
    )


def _log_weights(search: _Search, residual: Array, cov: Array) -> Array:
    """Return (K, H) the log weight of each hypothesis added to sets of residuals (K, J, n), covariances (K, n, n)."""
    what = search.what
    inverse = np.linalg.inv(cov)
    log_det = np.linalg.slogdet(cov)[1]
    moved = np.matmul(what.shift_mm, inverse)  # (K, H, n)
    shift_q = np.einsum("khn,hn->kh", moved, what.shift_mm)
    pulled = np.matmul(residual, inverse)  # (K, J, n)
    own_q = np.einsum("kjn,kjn->kj", pulled, residual)
    q = own_q[:, :, None] - 2.0 * np.matmul(pulled, what.shift_mm.T) + shift_q[:, None, :]
    mode = what.first_mode
    inside = 1.0 + np.einsum("khn,hn->kh", np.matmul(mode, inverse), mode)
    seen = np.matmul(pulled, mode.T) - np.einsum("khn,hn->kh", moved, mode)[:, None, :]
    q -= seen**2 / inside[:, None, :]
    widened = log_det[:, None] + np.log(inside)
    if len(what.several):
        left = residual[:, None] - what.shift_mm[what.several][:, None]  # (K, M, J, n)
        several = what.several
        q[:, :, several], widened[:, several] = _by_factor(cov[:, None] + what.several_mm2, left)
    terms = -0.5 * q
    if len(search.log_edges) == 1:
        weighed: Array = terms[:, 0]
    else:
        weighed = np.logaddexp.reduce(search.log_edges[None, :, None] + terms, axis=1)
    weighed += what.log_odds - 0.5 * widened
    return weighed


def _by_factor(cov: Array, residual: Array) -> tuple[Array, Array]:
    """Return r' C^-1 r (K, J, M) and log det C (K, M), of C (K, M, n, n) and r (K, M, J, n).

    One Cholesky factor of C bordered by the residuals holds both: the border of the factor is C^-1/2 r.
    """
    n, count = cov.shape[-1], residual.shape[-2]
    bordered = np.zeros((*cov.shape[:2], n + count, n + count))
    bordered[..., :n, :n] = cov
    bordered[..., n:, :n] = residual
    bordered[..., range(n, n + count), range(n, n + count)] = _BORDER
    factor = np.linalg.cholesky(bordered)
    border = factor[..., n:, :n]
    diagonal = np.diagonal(factor[..., :n, :n], axis1=-2, axis2=-1)
    return np.einsum("kmjn,kmjn->kjm", border, border), 2.0 * np.log(diagonal).sum(-1)
