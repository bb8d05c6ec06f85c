"""Which readings are outliers: Baarda's data snooping among correlated observations.

Finds what does not fit, says how small a slip it would find, and names readings that cannot be told apart as one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from sizing.crosscheck.adjustment import Adjusted, Observations, adjust
from vision.request import Array

# design.md, The cross-check; contract, Decision: level of the tests, divided among the readings tested.
LEVEL = 0.001
# design.md, The cross-check: with this probability a slip of `mdb_mm` is found.
POWER = 0.95
# design.md, The cross-check: test statistics that correlate above this cannot be told apart.
SAME = 0.95
# Statistics within this share of the largest are equal.
_EQUAL = 1.0 - 1e-6
# Less than this of a slip shows in the residuals: rounding, not a test.
_UNSEEN = 1e-6


@dataclass(frozen=True, slots=True)
class ReadingTest:
    """The w-test of one reading.

    `w` and `mdb_mm` (least slip found with probability 0.95) are None where nothing controls the reading;
    `redundancy` 0..1 is how much of a slip the others control; `group` names it with those that cannot be told
    apart from it, empty when it stands alone. `found` is an outlier.
    """

    w: float | None
    mdb_mm: float | None
    redundancy: float
    group: tuple[str, ...] = ()
    found: bool = False


@dataclass(frozen=True, slots=True)
class Outlier:
    """An outlier found: its group (alone, or all that it cannot be told apart from), w, slip and its u in mm.

    Names are those of readings, or of what may be off of a photo (`adjustment.OF_PHOTO`).
    """

    group: tuple[str, ...]
    w: float
    slip_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class Snooped:
    """Joint test of all observations and the tests of single readings.

    `p_rest` is that of the joint test once the outliers found are taken out; `worst` is the group of the largest
    w-statistic, whether it is an outlier or not.
    """

    chi2: float
    dof: int
    p: float
    p_rest: float
    tests: Mapping[str, ReadingTest]
    outliers: tuple[Outlier, ...]
    worst: tuple[str, ...]

    @property
    def rejected(self) -> bool:
        """Whether the joint test fails at its level."""
        return self.dof > 0 and self.p < LEVEL


def critical_w(tested: int) -> float:
    """Return the two-sided critical value of w at the level divided among the readings tested.

    Examples
    --------
    >>> round(critical_w(1), 2)
    3.29
    """
    return float(-ndtri(0.5 * LEVEL / max(tested, 1)))


def noncentrality(tested: int, power: float = POWER) -> float:
    """Return delta0, by how many of its standard deviations a slip must shift w to be found with that power.

    Examples
    --------
    >>> round(noncentrality(1, power=0.80), 2)
    4.13

    References
    ----------
    Baarda 1968: delta0 = 4.13 at level 0.001 and power 0.80 (from memory); the far tail is left out.
    """
    return critical_w(tested) + float(ndtri(power))


def w_statistics(weighted: Array, normal: Array, hypotheses: Array) -> tuple[Array, Array]:
    """Return w (k,) of the hypotheses and by how much each raises w per unit of slip (k,); 0 where unseen.

    Parameters
    ----------
    weighted, normal : P v (n,) and P Q_v P (n, n) of an adjustment.
    hypotheses : (n, k), each column the effect of a slip of one unit on the observations.

    References
    ----------
    Baarda 1968; Teunissen, Testing theory: w = c' P v / sqrt(c' P Q_v P c).
    """
    square = np.einsum("ik,ij,jk->k", hypotheses, normal, hypotheses)
    seen = square > _UNSEEN * max(float(square.max(initial=0.0)), 1e-12)
    gain = np.sqrt(np.where(seen, square, 0.0))
    w = np.where(seen, hypotheses.T @ weighted / np.where(seen, gain, 1.0), 0.0)
    return w, gain


def alike(normal: Array, gain: Array, hypotheses: Array) -> Array:
    """Return which test statistics correlate above 0.95, (k, k) bool; those unseen with none but themselves."""
    scale = np.where(gain > 0.0, gain, np.inf)
    rho = hypotheses.T @ normal @ hypotheses / np.outer(scale, scale)
    same: Array = (np.abs(rho) > SAME) | np.eye(len(gain), dtype=bool)
    return same


def snoop(observed: Observations) -> Snooped:
    """Return the joint test and the w-test of every reading, iterated until none is an outlier.

    Parameters
    ----------
    observed : readings and measures with their covariance. Besides the readings the photo's pairs of lines and
        its scale are tested: a sill seen too low is not to be laid to three sound heights.

    Notes
    -----
    The reading of the largest |w| above the critical value is freed (an unknown slip of its own) and all is adjusted
    anew; those that cannot be told apart from it are not tested any more. At the end slips that have become
    insignificant beside the others are taken back. What is of the photo is named only when it explains most and
    all by itself, so that a photo is not suspected for several slips of the tape. Level 0.001 divided among all that
    is tested (Bonferroni).

    The redundancy of a reading is c' P Q_v P c / c' P c: the redundancy number where nothing is correlated, and
    between 0 and 1 also where it is.

    References
    ----------
    Baarda 1968, A testing procedure for use in geodetic networks; reliability of correlated observations: Wang and
    Chen 1994 (from memory); contract and design.md, *The cross-check*.
    """
    n = observed.readings
    slips = observed.slips
    first = adjust(observed)
    w, gain = w_statistics(first.weighted, first.normal, slips)
    same = alike(first.normal, gain, slips)
    reliability = gain[:n] ** 2 / np.diag(np.linalg.inv(observed.cov_mm2))[:n]
    seen = gain > 0.0
    tested = int(np.count_nonzero(seen))
    freed, last = _search(observed, first, (w, gain), same)
    outliers = tuple(
        Outlier(_named(observed, same[k]), float(slip / u), float(slip), float(u))
        for k, slip, u in zip(freed, last.slips_mm, last.u_slips_mm, strict=True)
    )
    w_last, _ = w_statistics(last.weighted, last.normal, slips)
    for k, outlier in zip(freed, outliers, strict=True):
        # Statistics that cannot be told apart are one, but for the sign.
        w_last = np.where(same[k], outlier.w * np.sign(slips.T @ first.normal @ slips[:, k]), w_last)
    in_outlier = {name for o in outliers for name in o.group}
    tests = {
        observed.names[i]: ReadingTest(
            float(w_last[i]) if seen[i] else None,
            float(noncentrality(tested) / gain[i]) if seen[i] else None,
            float(reliability[i]),
            _named(observed, same[i]) if np.count_nonzero(same[i]) > 1 else (),
            observed.names[i] in in_outlier,
        )
        for i in range(n)
    }
    worst = _named(observed, same[int(np.argmax(np.abs(w[:n])))]) if n and seen[:n].any() else ()
    return Snooped(first.chi2, first.dof, first.p, last.p, tests, outliers, worst)


def _search(
    observed: Observations, first: Adjusted, at_first: tuple[Array, Array], same: Array
) -> tuple[list[int], Adjusted]:
    """Return what is freed (columns of `slips`), and the adjustment with it freed."""
    w, gain = at_first
    closed = gain <= 0.0
    tested = int(np.count_nonzero(~closed))
    freed: list[int] = []
    current = first
    most = int(np.argmax(np.abs(w))) if len(w) else 0
    if most >= observed.readings and abs(w[most]) > critical_w(tested):
        alone = adjust(observed, [most], first.shape_mm)
        if alone.p >= LEVEL:
            return [most], alone
    closed[observed.readings :] = True
    while not closed.all():
        size = np.where(closed, -1.0, np.abs(w))
        if size.max() <= critical_w(tested - len(freed)):
            break
        k = _among_equals(observed, freed, np.flatnonzero(size >= _EQUAL * size.max()).tolist(), same, current, tested)
        freed.append(k)
        current = adjust(observed, freed, current.shape_mm)
        w, gain = w_statistics(current.weighted, current.normal, observed.slips)
        closed = closed | same[k] | (gain <= 0.0)
    return _taken_back(observed, freed, current, tested)


def _among_equals(
    observed: Observations, freed: Sequence[int], equals: list[int], same: Array, current: Adjusted, tested: int
) -> int:
    """Return which of readings of equal w to free; of several groups the one that leaves the rest to fit best.

    With one condition left all statistics are equal, and rounding would choose.
    """
    found = [k for n, k in enumerate(equals) if not same[k, equals[:n]].any()]
    if len(found) == 1:
        return found[0]
    ends = [_taken_back(observed, [*freed, k], adjust(observed, [*freed, k], current.shape_mm), tested) for k in found]
    return found[int(np.argmax([round(end.p, 9) for _, end in ends]))]


def _taken_back(
    observed: Observations, freed: Sequence[int], current: Adjusted, tested: int
) -> tuple[list[int], Adjusted]:
    """Return what stays freed, and the adjustment, once slips insignificant beside the others are taken back."""
    freed = list(freed)
    while len(freed) > 1:
        # The w-statistic of a slip beside all the others is its value over its uncertainty.
        beside = np.abs(current.slips_mm / current.u_slips_mm)
        weakest = int(np.argmin(beside))
        if beside[weakest] > critical_w(tested):
            break
        del freed[weakest]
        current = adjust(observed, freed, current.shape_mm)
    return freed, current


def _named(observed: Observations, chosen: Array) -> tuple[str, ...]:
    return tuple(name for name, yes in zip(observed.tested, chosen, strict=True) if yes)
