"""Damped robust least squares over blocks of observations, with the covariance split by the blocks' origin.

A block knows nothing of the solver: given the state it returns its observations' misclosures divided by their
standard deviations, and the design matrix divided likewise. New knowledge comes as a new block.

References: Mikhail and Ackermann (1976), Observations and Least Squares, ch. 7; Levenberg (1944); Huber (1981).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, Self, TypeVar

import numpy as np
from scipy.linalg.lapack import dposv

from vision.request import Array

HUBER = 2.0  # standard deviations; Huber (1981) advises 1 to 2 (from memory)
NEGLIGIBLE = 1e-4  # of chi-square: no unknown would move by more than a hundredth of its standard deviation
STILL = 1e-6  # of chi-square: a step that promises less is rounding
FAR, NEAR = 1e-3, 1e-7  # damping to begin with, of a normal matrix of unit diagonal
LEAST_DAMPING, LESS = 1e-6, 0.1  # from which damping grows again; the most that it falls at once


class State(Protocol):
    """Anything that can be moved by an increment of the unknowns."""

    def moved(self, increment: Array) -> Self:
        """Return the state after the increment (U,)."""
        ...


S = TypeVar("S", bound=State)
S_contra = TypeVar("S_contra", bound=State, contravariant=True)


class Block(Protocol[S_contra]):
    """Observations of one origin; `part` is the budget part that their errors belong to."""

    @property
    def part(self) -> str:
        """Budget part of the observations."""
        ...

    @property
    def robust(self) -> bool:
        """Whether single observations may be wrong."""
        ...

    def linearised(self, state: S_contra) -> tuple[Array, Array]:
        """Return w (n,) = (observed - computed) / sd and A (n, U) = d computed / d unknowns / sd."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Adjusted(Generic[S]):
    """Result: state, covariance (U, U), its parts by origin (sum to it), whether it came to rest.

    `cost` is the sum of squares of normalised misclosures, linear far out in robust blocks (Huber).
    """

    state: S
    covariance: Array
    parts: Mapping[str, Array]
    cost: float
    converged: bool


def huber_weights(w: Array, robust: bool) -> Array:
    """Return Huber's weights (n,) of normalised residuals w (n,); all 1 where single ones cannot be wrong."""
    if not robust:
        return np.ones_like(w)
    size = np.abs(w)
    return np.where(size <= HUBER, 1.0, HUBER / np.maximum(size, HUBER))


def huber_cost(w: Array, robust: bool) -> float:
    """Return twice Huber's loss of normalised residuals w (n,): squares near zero, linear far out if `robust`."""
    size = np.abs(w)
    loss = np.where(size <= HUBER, size**2, 2 * HUBER * size - HUBER**2) if robust else size**2
    return float(loss.sum())


def _linearised(blocks: Sequence[Block[S]], state: S) -> tuple[list[tuple[Array, Array]], float]:
    """Return all blocks' misclosures and design matrices, and the cost; infinite where the model breaks down."""
    rows = [b.linearised(state) for b in blocks]
    cost = sum(huber_cost(w, b.robust) for b, (w, _) in zip(blocks, rows, strict=True))
    return rows, cost if np.isfinite(cost) else np.inf


@dataclass(frozen=True, slots=True, eq=False)
class Descended(Generic[S]):
    """Where an adjustment went, with the observations linearised there; its covariance is not worked out yet."""

    state: S
    rows: list[tuple[Array, Array]]
    cost: float
    converged: bool


def adjust(blocks: Sequence[Block[S]], start: S, *, iterations: int = 60, near: bool = False) -> Adjusted[S]:
    """Return the least-squares state of all blocks by Levenberg's damping, and its covariance.

    Parameters
    ----------
    blocks : observations; together they must determine every unknown (priors count).
    start : where to begin; convergence from far is what the damping is for.
    iterations : steps at most; 0 gives the covariance where it stands.
    near : begin hardly damped, from a state that is nearly the result: damping would hold back what is weakly seen.

    Raises
    ------
    LinAlgError : an unknown of which nothing is observed.

    Notes
    -----
    Damping follows how much of the promised gain came, as of Nielsen (1999; Madsen, Nielsen and Tingleff 2004, Methods
    for non-linear least squares problems, 3.2; from memory), but falls to a tenth at once.
    The covariance of part g is Q A_g' P_g A_g Q with Q the inverse of the normal matrix, so that the parts sum to Q
    and each says how far the errors of its own observations move the result (JCGM 100, 5.1).
    """
    return finished(blocks, descended(blocks, start, iterations=iterations, near=near))


def descended(blocks: Sequence[Block[S]], start: S, *, iterations: int = 60, near: bool = False) -> Descended[S]:
    """Return where `adjust` would end: all that is asked of several starts of which one is taken."""
    state, damping, before = start, NEAR if near else FAR, 0.0
    rows, cost = _linearised(blocks, state)
    converged = False
    for _ in range(iterations):
        normal, right = _normal(blocks, rows)
        scale = np.sqrt(np.diag(normal))
        step, more = _solve(normal, right, scale, 0.0), 2.0
        converged = bool(right @ step < NEGLIGIBLE)
        if converged:  # the last step, whole: where it ends does not hang on how it came here
            trial = state.moved(step)
            trial_rows, trial_cost = _linearised(blocks, trial)
            if trial_cost < cost + NEGLIGIBLE:
                cost, state, rows = trial_cost, trial, trial_rows
            break
        while True:
            step = _solve(normal, right, scale, damping)
            promised = float(right @ step + damping * np.sum((scale * step) ** 2))
            if not promised >= STILL:  # nor is a number
                trial_cost = cost
                break
            trial = state.moved(step)
            trial_rows, trial_cost = _linearised(blocks, trial)
            if trial_cost < cost:
                break
            damping, more = max(damping, LEAST_DAMPING) * more, 2 * more
        if not trial_cost < cost:
            converged = True  # no direction goes down by more than rounding
            break
        gain, cost, state, rows = cost - trial_cost, trial_cost, trial, trial_rows
        converged = bool(gain < NEGLIGIBLE and gain < before)  # where damping held steps back, they would grow
        if converged:
            break
        damping, before = damping * max(LESS, 1 - (2 * gain / promised - 1) ** 3), gain
    return Descended(state, rows, cost, converged)


def _solve(normal: Array, right: Array, scale: Array, damping: float) -> Array:
    """Return the damped step, scaled so that every unknown has unit normal."""
    if not scale.all():  # damping helps where observations hardly tell two unknowns apart, not where there are none
        raise np.linalg.LinAlgError("the observations do not determine every unknown")
    n = normal / np.outer(scale, scale)
    n[np.diag_indices_from(n)] += damping
    # what scipy.linalg.solve does, in a tenth of its time; where it fails the right side stands: down the gradient
    _, step, _ = dposv(n, right / scale)
    return np.asarray(step / scale)


def _squared(a: Array, p: Array) -> Array:
    """Return A'PA; a block of one photo among several touches few columns, so only those are multiplied."""
    used = np.flatnonzero(a.any(axis=0))
    few = a[:, used]
    square = np.zeros((a.shape[1], a.shape[1]))
    square[used[:, None], used] = few.T @ (p[:, None] * few)
    return square


def _normal(blocks: Sequence[Block[S]], rows: Sequence[tuple[Array, Array]]) -> tuple[Array, Array]:
    normal: Array | float = 0.0
    right: Array | float = 0.0
    for block, (w, a) in zip(blocks, rows, strict=True):
        p = huber_weights(w, block.robust)
        normal = normal + _squared(a, p)
        right = right + a.T @ (p * w)
    return np.asarray(normal), np.asarray(right)


def finished(blocks: Sequence[Block[S]], end: Descended[S]) -> Adjusted[S]:
    """Return an adjustment with its covariance, as `adjust` gives it."""
    by_part: dict[str, Array] = {}
    for block, (w, a) in zip(blocks, end.rows, strict=True):
        p = huber_weights(w, block.robust)
        by_part[block.part] = by_part.get(block.part, 0.0) + _squared(a, p)
    normal = np.asarray(sum(by_part.values()))
    scale = np.sqrt(np.diag(normal))
    q = np.linalg.pinv(normal / np.outer(scale, scale), rcond=1e-15, hermitian=True) / np.outer(scale, scale)
    products = {k: q @ n @ q for k, n in by_part.items()}
    parts = {k: (p + p.T) / 2 for k, p in products.items()}  # rounding leaves 1e-9 of them uneven
    return Adjusted(end.state, q, parts, end.cost, end.converged)
