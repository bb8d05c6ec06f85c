"""The smallest slip against its definition, found by scipy's normal law and a root search on a dense grid."""

import numpy as np
import pytest
from scipy import optimize, stats

from sizing.conformance import smallest_slip, smallest_slips
from sizing.mixture import Mixture


def mixture(value, u, lines):
    """Return a mixture from lines (weight, shift mm, added u mm)."""
    weights, shifts, more = np.array(lines, float).T
    return Mixture(value, u, weights / weights.sum(), value + shifts, np.hypot(u, more))


def least_one_way(m, under, over, away):
    """Return the least error, mm, of readings that are too long (`away` 1) or too short (-1), by its definition.

    A reading differs where its error is within the tolerance with 5 % or less (contract, *Decision*); the slip is seen
    where readings of that error differ with 95 % (contract, *Words*).
    """
    shifts, u = away * (m.means_mm - m.value_mm), m.u_all_mm
    low, high = (under, over) if away > 0 else (over, under)

    def p(x):
        error = np.atleast_1d(x)[:, None] - shifts
        return (stats.norm.cdf((high - error) / u) - stats.norm.cdf((-low - error) / u)) @ m.weights - 0.05

    reach = 12 * u.max() + low + high
    near = [s + np.linspace(-low - 3 * v, high + 3 * v, 201) for s, v in zip(shifts, u, strict=True)]
    grid = np.unique([*np.linspace(shifts.min() - reach, shifts.max() + reach, 20_001), *np.ravel(near)])
    inside = grid[p(grid) > 0]
    if not inside.size:
        return np.inf
    next_one = grid[grid > inside[-1]][0]
    threshold = max(optimize.brentq(lambda x: p(x)[0], inside[-1], next_one, xtol=1e-9), 0.0)

    def seen(error):
        return float(m.weights @ stats.norm.sf((threshold - error - shifts) / u)) - 0.95

    return optimize.brentq(seen, threshold - shifts.max() - 12 * u.max(), threshold - shifts.min() + 12 * u.max())


CASES = {
    "one line": (mixture(0, 1.0, [(1, 0, 0)]), 6.35, 6.35),
    "unlike tolerances": (mixture(0, 1.2, [(1, 0, 0)]), 9.5, 3.2),
    "a frame further in": (mixture(0, 0.9, [(0.7, 0, 0), (0.3, -28, 0)]), 6.35, 6.35),
    "a frame further in, unlike tolerances": (mixture(0, 0.9, [(0.7, 0, 0), (0.3, -28, 0)]), 9.5, 3.2),
    "lines on both sides": (mixture(0, 2.0, [(0.5, 0, 0), (0.3, 17, 1), (0.2, -40, 2)]), 5.0, 8.0),
    "a far line too light to matter": (mixture(0, 0.9, [(0.97, 0, 0), (0.03, 400, 0)]), 6.35, 6.35),
    "a light line where a heavy one ends": (mixture(0, 0.9, [(0.9601, 0, 0), (0.0399, 11.3, 0)]), 3.2, 9.5),
    "a far line nearly heavy enough to agree with": (mixture(0, 0.9, [(0.951, 0, 0), (0.049, 40, 0)]), 3.2, 9.5),
    "light lines that matter together": (mixture(0, 0.9, [(0.92, 0, 0), (0.06, 30, 0), (0.02, 90, 0)]), 6.35, 6.35),
    "a far line between places of the grid": (mixture(0, 0.001, [(0.7, 0, 0), (0.3, 50.013, 0)]), 0.004, 0.002),
    "a narrow line far from a broad one": (mixture(0, 0.0018, [(0.81, 0, 0.05), (0.19, 57.073, 0)]), 0.0064, 0.0032),
    "a soft photo, unlike tolerances": (mixture(0, 3.5, [(0.7, 0, 0), (0.3, -28, 0)]), 9.5, 3.2),
    "a photo hardly better than the tolerance": (mixture(0, 25.0, [(1, 0, 0)]), 9.5, 3.2),
    "agreeing only between places of the grid": (mixture(0, 7.57, [(1, 0, 0)]), 0.95, 0.0),
    "another line anywhere": (mixture(0, 0.9, [(0.98, 0, 0), (0.02, 0, 25)]), 6.35, 6.35),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_the_smallest_slip_is_the_least_error_that_is_seen_both_ways(case):
    m, under, over = CASES[case]
    wanted = max(least_one_way(m, under, over, away) for away in (1, -1))
    # A fifth of the 0.01 mm to which values are the same on any machine (contract).
    assert smallest_slip(m, under, over) == pytest.approx(wanted, abs=0.002)


def test_slips_of_several_measures_are_those_of_each_alone():
    mixtures, under, over = (list(part) for part in zip(*CASES.values(), strict=True))
    together = smallest_slips(mixtures, np.array(under), np.array(over))
    alone = [smallest_slip(*one) for one in CASES.values()]
    np.testing.assert_allclose(together, alone, rtol=1e-4)


def test_a_photo_that_cannot_tell_has_no_smallest_slip():
    weak = mixture(0, 500.0, [(1, 0, 0)])
    inside = stats.norm(0, 500).cdf(6.35) - stats.norm(0, 500).cdf(-6.35)
    assert inside < 0.05  # even of the best reading: none can agree, so none can be told to differ
    assert smallest_slip(weak, 6.35, 6.35) == np.inf
