"""Means of unlike accuracy put together, and many tests kept at one level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from vision.request import Array

# Guess: from fewer units the common growth is not known well enough to gain by it.
_FEWEST_DOF = 10


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its 95 % interval, all in one unit."""

    value: float
    low: float
    high: float

    def holds(self, value: float) -> bool:
        """Return whether the interval holds a value."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Pooled:
    """A mean with its standard uncertainty, degrees of freedom, and the sd `tau` between what was pooled."""

    value: float
    u: float
    dof: float
    tau: float = 0.0

    @property
    def interval(self) -> Interval:
        """The 95 % interval, by Student's t."""
        half = float(stdtrit(self.dof, 0.975)) * self.u
        return Interval(self.value, self.value - half, self.value + half)

    @property
    def p(self) -> float:
        """Two-sided probability of a mean this far from zero by chance."""
        return float(2.0 * stdtr(self.dof, -abs(self.value) / self.u)) if self.u > 0.0 else 1.0

    def minus(self, other: Pooled) -> Pooled:
        """Return the difference of two independent means; degrees of freedom after Welch (JCGM 100, G.4)."""
        u2, v2 = self.u**2, other.u**2
        below = u2**2 / self.dof + v2**2 / other.dof
        dof = (u2 + v2) ** 2 / below if below > 0.0 else min(self.dof, other.dof)
        return Pooled(self.value - other.value, float(np.hypot(self.u, other.u)), dof)


def combine(values: Array, u: Array) -> Pooled:
    """Return the mean of independent values (n,) with standard uncertainties `u` (n,), n > 1, by random effects.

    Notes
    -----
    Variance between the values after Paule and Mandel; uncertainty of the mean after Hartung and Knapp, from the
    scatter as it is, so that uncertainties all too small or large by one factor do little. Needs values near normal;
    with two or three of them the interval is wide, as it should be.

    References
    ----------
    Paule and Mandel (1982), J. Res. NBS 87, 377-385; Hartung and Knapp (2001), Statist. Med. 20, 1771-1782.

    Examples
    --------
    >>> import numpy as np
    >>> round(combine(np.array([1.0, 2.0, 3.0]), np.array([0.1, 0.1, 0.1])).value, 6)
    2.0
    """
    n = len(values)
    if n < 2:
        raise ValueError("one value has no scatter")
    v = np.maximum(np.asarray(u, dtype=np.float64), 1e-9) ** 2

    def weighted(tau2: float) -> tuple[float, float, float]:
        w = 1.0 / (v + tau2)
        mean = float(w @ values / w.sum())
        return mean, float(w @ (values - mean) ** 2), float(w.sum())

    tau2 = 0.0
    if weighted(0.0)[1] > n - 1:
        most = float(np.sum((values - values.mean()) ** 2)) + 1e-12
        from scipy import optimize

        tau2 = float(optimize.brentq(lambda t: weighted(t)[1] - (n - 1), 0.0, most))
    mean, q, total = weighted(tau2)
    return Pooled(mean, float(np.sqrt(q / (n - 1) / total)), float(n - 1), float(np.sqrt(tau2)))


def levelled(groups: Sequence[tuple[Array, Array]]) -> list[Array]:
    """Return the means of each group as they would be were all slopes the same: analysis of covariance.

    Parameters
    ----------
    groups : sequence of (means, slopes)
        Of each group, both (n,): the means of its units and how they grow within the unit; NaN where that is unknown,
        whose mean stays as it is.

    Notes
    -----
    What the units of all groups say together of means that grow with slopes, each against its group's own average, is
    taken off. An error common to a unit that grows with the length, such as the scale of a job's sheets, leaves its
    trace in both; a shift that is the same at all lengths in the mean alone. A group whose slopes are all others' but
    steeper loses a part of its mean too. Never a correction that grows the other way.

    References
    ----------
    Fisher (1932), Statistical Methods for Research Workers, 4th ed., section 49.1 (from memory).
    """
    known = [(m[np.isfinite(b)], b[np.isfinite(b)]) for m, b in groups]
    known = [(m, b) for m, b in known if len(b)]
    both = sum(float((m - m.mean()) @ (b - b.mean())) for m, b in known)
    own = sum(float((b - b.mean()) @ (b - b.mean())) for _, b in known)
    if own <= 0.0 or sum(len(b) - 1 for _, b in known) < _FEWEST_DOF:
        return [m for m, _ in groups]
    growth, level = max(both / own, 0.0), float(np.mean([b.mean() for _, b in known]))
    return [m - growth * np.where(np.isfinite(b), b - level, 0.0) for m, b in groups]


def holm(p: Sequence[float]) -> list[float]:
    """Return the p-values adjusted so that any of them below a level is wrong with no more than that probability.

    References
    ----------
    Holm (1979), Scandinavian Journal of Statistics 6, 65-70.

    Examples
    --------
    >>> [round(v, 6) for v in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    adjusted, least = [0.0] * len(p), 0.0
    for rank, i in enumerate(sorted(range(len(p)), key=lambda k: p[k])):
        least = max(least, min(1.0, (len(p) - rank) * p[i]))
        adjusted[i] = least
    return adjusted
