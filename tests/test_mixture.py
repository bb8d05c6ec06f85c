"""What the photo knows of one measure, against sums written out by hand and scipy. Rule: contract.md, *Decision*."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from sizing.conformance import probabilities
from sizing.mixture import Mixture, gaussian, interval95, interval95_if_odd, mixture_of, outward
from vision.request import NINE, Candidate

W, H = 1200.0, 900.0
VALUES = np.array([W, W, W, H, H, H, 1500.0, 1500.0, 0.0])  # 4 : 3 : 5
U_MM = np.array([0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 1.1, 1.2, 1.3])
ACROSS = {"left": "width", "right": "width", "head": "height", "sill": "height"}


def effect(side, shift):
    """Return how the nine change when one side of the rectangle moves out: by Pythagoras."""
    w, h = (W + shift, H) if ACROSS[side] == "width" else (W, H + shift)
    return np.array([w, w, w, h, h, h, *[np.hypot(w, h)] * 2, 0.0]) - VALUES


# Weight and shift outward by side. Left: the traced line is not in the list, and holds what is left of 99 %. Right and
# left may cancel. Head: a list that says more than it may. The sill has no rival.
LINES = {"left": [(0.3, 5.0)], "right": [(0.6, 0.0), (0.4, -5.0)], "head": [(0.9, 0.0), (0.6, 12.0)], "sill": []}
HELD = {
    "left": [(0.3, 5.0), (0.69, 0.0)],
    "right": [(0.99 * 0.6, 0.0), (0.99 * 0.4, -5.0)],
    "head": [(0.99 * 0.6, 0.0), (0.99 * 0.4, 12.0)],
    "sill": [(0.99, 0.0)],
}
CANDIDATES = [Candidate(s, w, mm, effect(s, mm)) for s, lines in LINES.items() for w, mm in lines]


def by_hand(name, reading, under, over):
    """Return P(within): the sum over all choices of a line for each side, 1 % of each sd 25 mm away."""
    i = NINE.index(name)
    sides = [s for s in HELD if name.startswith(ACROSS[s]) or not name.startswith(("width", "height"))]
    terms = [[(w, effect(s, mm)[i], 0.0) for w, mm in HELD[s]] + [(0.01, 0.0, effect(s, 0.5)[i] * 50)] for s in sides]
    choices = np.array(list(product(*terms)))  # (combinations, sides, weight shift spread)
    error = reading - VALUES[i] - choices[:, :, 1].sum(axis=1)
    u = np.sqrt(U_MM[i] ** 2 + (choices[:, :, 2] ** 2).sum(axis=1))
    inside = stats.norm.cdf((over - error) / u) - stats.norm.cdf((-under - error) / u)
    return float(choices[:, :, 0].prod(axis=1) @ inside)


@pytest.mark.parametrize("name", ["width_top", "height_right", "diagonal_up", "out_of_square"])
def test_p_is_the_sum_over_every_choice_of_lines_of_the_sides_that_a_measure_depends_on(name):
    mixture = mixture_of(VALUES, np.diag(U_MM**2), CANDIDATES, name)
    assert mixture.u_mm == pytest.approx(U_MM[NINE.index(name)])
    assert mixture.weights.sum() == pytest.approx(1.0)
    for off in (0.0, 5.0, -5.0, 12.0, 30.0):
        reading = np.array([VALUES[NINE.index(name)] + off])
        p = probabilities(reading, [mixture], np.array([6.35]), np.array([3.0]))[0][0]
        # Components lighter than 1e-6 are left out; a diagonal bends by 2e-4 of a shift over 12 mm.
        assert p == pytest.approx(by_hand(name, reading[0], 6.35, 3.0), abs=3e-5)


@pytest.mark.parametrize("side", ACROSS)
def test_a_side_that_moves_out_stretches_what_crosses_it_and_the_diagonals_by_their_slope(side):
    """Oracle: the partial derivatives of Pythagoras' theorem, 4 : 3 : 5."""
    slope = 0.8 if ACROSS[side] == "width" else 0.6
    one = 3 * [float(ACROSS[side] == "width")] + 3 * [float(ACROSS[side] == "height")]
    assert outward(side, VALUES) == pytest.approx([*one, slope, slope, 0.0])


def test_a_variance_that_rounding_brings_below_nothing_is_nothing():
    cov = np.zeros((9, 9))
    cov[8, 8] = -1e-13  # two diagonals that err as one, subtracted
    assert mixture_of(VALUES, cov, (), "out_of_square").u_mm == 0.0


def test_weights_that_sum_to_one_but_for_rounding_give_no_probability_above_one():
    weights = np.full(10, 0.1)
    weights[0] = np.nextafter(0.1, 1.0) + 3e-16
    certain = Mixture(1000.0, 0.1, weights, np.full(10, 1000.0), np.full(10, 0.1))
    assert weights.sum() > 1.0
    assert probabilities(np.array([1000.0]), [certain], np.array([6.0]), np.array([6.0]))[0][0] == 1.0


@pytest.mark.parametrize("u", [0.0, 0.3, 40.0])
def test_the_interval_of_one_gaussian_is_1_96_u_each_way_however_wide(u):
    # Normal tables: 97.5 % point 1.959964.
    assert interval95(gaussian(1200.0, u)) == pytest.approx((1200 - 1.959964 * u, 1200 + 1.959964 * u), abs=1e-6)


def test_an_interval_is_given_only_where_two_u95_do_not_say_it():
    """contract.md, Words; of two lines far apart JCGM 101, 5.3.3 cuts 2.5 % off the outer side of each (z of 5 %)."""
    two = Mixture(0.0, 1.0, np.array([0.5, 0.5]), np.array([0.0, 40.0]), np.array([1.0, 1.0]))
    assert interval95_if_odd(two, 2.0) == pytest.approx((-1.644854, 41.644854), abs=1e-5)
    assert interval95_if_odd(gaussian(0.0, 1.0), 2.0) is None
