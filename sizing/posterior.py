"""Sets of hypotheses weighed together: several slips in one opening, by a search that keeps the best sets.

Every hypothesis moves the mean of a joint Gaussian, and may widen it by modes of its own, so each set has a
likelihood in closed form (Woodbury's identity for the modes).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sizing.hypotheses import Weighable
from vision.request import Array

Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]
Index = np.ndarray[tuple[int], np.dtype[np.int64]]
Table = np.ndarray[tuple[int, int], np.dtype[np.int64]]
Tags = np.ndarray[tuple[int], np.dtype[np.uint64]]

# Sets that are carried on to one slip more: the best, and the best of each choice of readings. Fewer: rare sets are
# missed.
_BEST, _KEPT = 8, 16
# A set this near (log) to a perfect fit without odds leaves nothing to explain: four slips or so.
_CLEAR = 30.0
# Sets lighter than the best by this (log) are dropped: a thousandth of a per mille in all.
_LIGHTEST = 16.0
# A further slip is looked for while the best set of the last round is within this (log) of the best of all.
_HOPE = 4.0
# Tags of sets, so that each is weighed once.
_SEED = 20_240_101


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Sets of hypotheses that matter: members (M, depth) by index, -1 for none, and weights (M,) summing to 1."""

    members: Table
    weights: Array

    def of_reading(self, touches: Flags, common: Flags) -> Array:
        """Return the probability (H + 1,) that each hypothesis holds of one reading; the last: that none does.

        `touches` (H,): those that bear on the reading; `common` (H,): those that move all and give way to one of
        its own.
        """
        count = len(touches)
        own = np.where(np.append(touches & ~common, np.False_)[self.members], self.members, -1).max(axis=1, initial=-1)
        shared = np.where(np.append(touches & common, np.False_)[self.members], self.members, -1)
        index = np.where(own < 0, shared.max(axis=1, initial=-1), own)
        slots: Array = np.bincount(np.where(index < 0, count, index), weights=self.weights, minlength=count + 1).astype(
            np.float64
        )
        return slots


@dataclass(frozen=True, slots=True, eq=False)
class _Sets:
    """Sets under search: members (K, depth), log odds, residuals (K, J, n), covariances (K, n, n), masks, keys."""

    members: Table
    log_odds: Array
    residual: Array
    cov: Array
    masks: Index
    keys: Tags


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
    Bayes' theorem over sets with independent odds. The search carries on the best sets of each size; what it
    leaves out weighs nothing against what it has found.
    """
    n = len(difference_mm)
    tags = np.random.default_rng(_SEED).integers(1, 2**62, size=len(what.log_odds), dtype=np.uint64)
    start = _Sets(
        np.empty((1, 0), dtype=np.int64),
        np.zeros(1),
        (difference_mm - edges_mm)[None],
        cov_mm2[None],
        np.zeros(1, dtype=np.int64),
        np.zeros(1, dtype=np.uint64),
    )
    q = np.einsum("jn,nm,jm->j", start.residual[0], np.linalg.inv(cov_mm2), start.residual[0])
    perfect = -0.5 * float(np.linalg.slogdet(cov_mm2)[1])
    empty = float(np.logaddexp.reduce(log_edges - 0.5 * q)) + perfect
    rounds: list[tuple[Table, Array]] = [(start.members, np.array([empty]))]
    best = heaviest = empty
    sets = start
    for _ in range(n + 1):
        members, logs, keys, parents = _extended(sets, what, log_edges, tags)
        if logs.size == 0:
            break
        rounds.append((members, logs))
        heaviest = max(heaviest, float(logs.max()))
        sharp = ~what.vague[members].any(axis=1)
        top = float(logs[sharp].max(initial=-np.inf))
        best = max(best, top)
        if top < best - _HOPE:
            break
        masks = sets.masks[parents] | what.masks[members[:, -1]]
        order = _to_carry(np.where(sharp, logs, -np.inf), masks, clear=top > perfect - _CLEAR)
        sets = _carried(sets, what, members[order], parents[order], keys[order])
    depth = max(m.shape[1] for m, _ in rounds)
    members = np.concatenate(
        [np.pad(m, ((0, 0), (0, depth - m.shape[1])), constant_values=-1) for m, _ in rounds], axis=0
    )
    logs = np.concatenate([log for _, log in rounds])
    keep = logs > heaviest - _LIGHTEST
    weights = np.exp(logs[keep] - heaviest)
    return Posterior(members[keep], weights / weights.sum())


def _extended(
    sets: _Sets, what: Weighable, log_edges: Array, tags: Tags
) -> tuple[
    Table,
    Array,
    Tags,
    Index,
]:
    """Return every set one hypothesis larger: members, log weights, keys and the row it came from, each once."""
    inverse = np.linalg.inv(sets.cov)
    log_det = np.linalg.slogdet(sets.cov)[1]
    moved = np.matmul(what.shift_mm, inverse)  # (K, H, n)
    shift_q = (moved * what.shift_mm).sum(-1)  # (K, H)
    pulled = np.matmul(sets.residual, inverse)  # (K, J, n)
    q = (pulled * sets.residual).sum(-1)[:, :, None] - 2.0 * np.matmul(pulled, what.shift_mm.T) + shift_q[:, None, :]
    mode = what.first_mode
    inside = (np.matmul(mode, inverse) * mode).sum(-1)  # (K, H)
    seen = np.matmul(pulled, mode.T) - (moved * mode).sum(-1)[:, None, :]
    q -= seen**2 / (1.0 + inside[:, None, :])
    widened = log_det[:, None] + np.log1p(inside)
    for h, modes in what.modes.items():
        q[:, :, h], widened[:, h] = _several_modes(sets, what.shift_mm[h], modes)
    terms = log_edges[None, :, None] - 0.5 * q
    logs = np.logaddexp.reduce(terms, axis=1) - 0.5 * widened + sets.log_odds[:, None] + what.log_odds
    free = (sets.masks[:, None] & what.masks) == 0
    logs = np.where(free, logs, -np.inf)
    keep = free & (logs > logs[:, ~what.vague].max(initial=-np.inf) - _LIGHTEST)
    # Of each choice of readings the best, however light: it may be half of a set that fits.
    top = np.maximum.reduceat(logs[:, what.by_mask], what.mask_starts, axis=1)
    widths = np.diff(np.append(what.mask_starts, len(what.masks)))
    keep[:, what.by_mask] |= free[:, what.by_mask] & (logs[:, what.by_mask] == np.repeat(top, widths, axis=1))
    rows, columns = np.nonzero(keep)
    keys = sets.keys[rows] + tags[columns]
    _, first = np.unique(keys, return_index=True)
    rows, columns = rows[first], columns[first]
    members = np.concatenate([sets.members[rows], columns[:, None]], axis=1)
    return members, logs[rows, columns], keys[first], rows


def _to_carry(logs: Array, masks: Index, *, clear: bool) -> Index:
    """Return the rows of the best sets, and unless the case is clear of the best of each choice of readings."""
    order = np.argsort(-logs, kind="stable")
    order = order[np.isfinite(logs[order])]
    if clear:
        return order[:_BEST][logs[order[:_BEST]] > logs[order[0]] - _LIGHTEST]
    _, first = np.unique(masks[order], return_index=True)
    chosen = np.union1d(np.arange(min(_BEST, len(order))), first)[:_KEPT]
    rows: Index = order[chosen]
    return rows


def _several_modes(sets: _Sets, shift: Array, modes: Array) -> tuple[Array, Array]:
    """Return the quadratic forms (K, J) and log determinants (K,) with one hypothesis of several modes."""
    cov = sets.cov + modes @ modes.T
    residual = sets.residual - shift
    q: Array = (np.matmul(residual, np.linalg.inv(cov)) * residual).sum(-1)
    log_det: Array = np.linalg.slogdet(cov)[1]
    return q, log_det


def _carried(
    sets: _Sets,
    what: Weighable,
    members: Table,
    parents: Index,
    keys: Tags,
) -> _Sets:
    last = members[:, -1]
    cov = sets.cov[parents].copy()
    mode = what.first_mode[last]
    cov += mode[:, :, None] * mode[:, None, :]
    for k, h in enumerate(last.tolist()):
        if h in what.modes:
            cov[k] += what.modes[h] @ what.modes[h].T
    return _Sets(
        members,
        sets.log_odds[parents] + what.log_odds[last],
        sets.residual[parents] - what.shift_mm[last][:, None, :],
        cov,
        sets.masks[parents] | what.masks[last],
        keys,
    )
