"""Which of several steps slipped: Bayesian comparison of linear Gaussian hypotheses, combinations of slips included.

Observations y = A x + sum of slips + noise: x is what nobody knows (flat prior), a slip of step k adds b_k d with
d ~ N(0, spread_k^2) at prior rate_k. Nothing here knows of openings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from vision.request import Array

# Design.md, The cross-check: what correlates above this cannot be told apart.
SAME = 0.95
# Four slips at once in one direction are left out: a priori below one in a million at the shipped rates.
MOST_SLIPS = 3
# A typical slip below one standard deviation of the evidence leaves no figure of its own.
_LEAST_SIGNAL = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """A step that may slip: (n, m) columns, one a variant (equally probable), rate, spread in mm.

    `witness`: a slip of the evidence itself; it is allowed for, and is no step of the work.
    """

    name: str
    columns: Array
    rate: float
    spread_mm: float
    witness: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """Observations y (n,) mm, their covariance (n, n), the design (n, p) of what is unknown, and the steps."""

    y_mm: Array
    cov_mm2: Array
    design: Array
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Probability of each step's slip and of each group's, and size and standard uncertainty of a slip that happened.

    `variant` is the most probable one of each step; `none` the probability that nothing of any group slipped.
    """

    probability: dict[str, float]
    slip_mm: dict[str, float]
    u_mm: dict[str, float]
    variant: dict[str, int]
    none: float


def projector(model: Model) -> Array:
    """Return P (n, n) = V^-1 - V^-1 A (A' V^-1 A)^+ A' V^-1: y' P y is the weighted square of the misfit."""
    w = np.linalg.inv(model.cov_mm2)
    wa = w @ model.design
    if model.design.shape[1] == 0:
        return np.asarray(w)
    return np.asarray(w - wa @ np.linalg.pinv(model.design.T @ wa) @ wa.T)


def signals(model: Model) -> dict[str, float]:
    """Return for each step a typical slip in standard deviations of what the observations say of it, at least.

    Zero: the slip can be taken up by what is unknown, so that there is no evidence of it.
    """
    p = projector(model)
    return {
        s.name: min(s.spread_mm * float(np.sqrt(max(b @ p @ b, 0.0))) for b in s.columns.T) if s.columns.size else 0.0
        for s in model.steps
    }


def groups(model: Model) -> tuple[tuple[str, ...], ...]:
    """Return the steps that the observations say something of, those together that they cannot tell apart.

    A witness stands in a group only beside a step of the work; apart are those whose projected columns correlate
    by less than 0.95 (design.md, *The cross-check*).
    """
    p = projector(model)
    found = signals(model)
    together: list[list[Step]] = []
    for step in model.steps:
        if found[step.name] < _LEAST_SIGNAL:
            continue
        mine = next((g for g in together if any(_alike(step, other, p) for other in g)), None)
        if mine is None:
            together.append([step])
        else:
            mine.append(step)
    return tuple(tuple(s.name for s in g) for g in together if not all(s.witness for s in g))


def _alike(a: Step, b: Step, p: Array) -> bool:
    """Return whether every variant of the step with fewer has its like among the other's, and the reverse."""
    cross = np.abs(a.columns.T @ p @ b.columns)
    size = np.sqrt(np.outer(_squares(a, p), _squares(b, p)))
    r = cross / np.maximum(size, 1e-12)
    return bool(r.max(axis=0).min() > SAME and r.max(axis=1).min() > SAME)


def _squares(step: Step, p: Array) -> Array:
    return np.asarray(np.einsum("ij,ik,kj->j", step.columns, p, step.columns))


def posterior(model: Model, merged: Sequence[Sequence[str]] = ()) -> Posterior:
    """Return the probability of each step's slip given the observations.

    Parameters
    ----------
    model : Model
        Steps are independent a priori.
    merged : sequence of sequences of names
        Groups whose probability, that at least one of them slipped, is given too, under their names joined
        by '+'.

    Notes
    -----
    All combinations of up to three slips are summed; x is integrated out with a flat prior, so that the likelihood of a
    combination is |V|^-1/2 |A' V^-1 A|^-1/2 exp(-y' P y / 2) with V the noise and the slips' spreads. The size of a
    slip given a combination is its conditional mean; over combinations means and variances mix.

    References
    ----------
    Kass and Raftery 1995, Bayes factors (J. Am. Stat. Assoc. 90, 773). Restricted likelihood: Harville 1974.
    """
    choices = [range(s.columns.shape[1] + 1) for s in model.steps]
    combos = [c for c in product(*choices) if sum(v > 0 for v in c) <= MOST_SLIPS]
    logs = np.empty(len(combos))
    means = np.zeros((len(combos), len(model.steps)))
    variances = np.zeros_like(means)
    for i, combo in enumerate(combos):
        logs[i] = _log_prior(model, combo)
        logs[i] += _solved(model, combo, means[i], variances[i])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    slipped = np.array(combos) > 0 if model.steps else np.zeros((1, 0), dtype=bool)
    names = [s.name for s in model.steps]
    found = {name: float(weights @ slipped[:, k]) for k, name in enumerate(names)}
    grouped = [[names.index(name) for name in group] for group in merged]
    for group, at in zip(merged, grouped, strict=True):
        found["+".join(group)] = float(weights @ slipped[:, at].any(axis=1))
    size, u, variant = {}, {}, {}
    for k, name in enumerate(names):
        w = weights * slipped[:, k]
        total = max(float(w.sum()), 1e-300)
        mean = float(w @ means[:, k]) / total
        size[name] = mean
        u[name] = float(np.sqrt(max(float(w @ (variances[:, k] + np.square(means[:, k] - mean))) / total, 0.0)))
        per = [float(w[[c[k] == v for c in combos]].sum()) for v in choices[k][1:]]
        variant[name] = int(np.argmax(per)) if per else 0
    return Posterior(
        found, size, u, variant, float(weights @ ~slipped[:, [k for at in grouped for k in at]].any(axis=1))
    )


def _log_prior(model: Model, combo: Sequence[int]) -> float:
    total = 0.0
    for step, choice in zip(model.steps, combo, strict=True):
        total += np.log(step.rate / step.columns.shape[1]) if choice else np.log1p(-step.rate)
    return float(total)


def _solved(model: Model, combo: Sequence[int], means: Array, variances: Array) -> float:
    """Return the log likelihood of one combination; fill in mean and variance of each slip."""
    active = [
        (k, s.columns[:, c - 1], s.spread_mm) for k, (s, c) in enumerate(zip(model.steps, combo, strict=True)) if c
    ]
    v = model.cov_mm2 + sum((d * d * np.outer(b, b) for _, b, d in active), np.zeros_like(model.cov_mm2))
    p = projector(Model(model.y_mm, v, model.design, ()))
    w = np.linalg.inv(v)
    normal = model.design.T @ w @ model.design
    log = -0.5 * (np.linalg.slogdet(v)[1] + float(model.y_mm @ p @ model.y_mm))
    if normal.size:
        log -= 0.5 * np.linalg.slogdet(normal)[1]
    for k, b, d in active:
        means[k] = d * d * float(b @ p @ model.y_mm)
        variances[k] = max(d * d - d**4 * float(b @ p @ b), 0.0)
    return float(log)
