"""At what scale a sheet was printed: bars, outline and the contract's prior together."""

import numpy as np
import pytest
from scipy.stats import norm

from vision.printed_scale import ANY, OTHER, P_ANY, P_OTHER, U_PRINT_SCALE, printed_scale
from vision.priors import size_block
from vision.request import CheckBar, Quantity, Reference

MM_READ = 1 / 12**0.5  # a bar read to the millimetre (JCGM 100, 4.3.7)


def block(across=None, along=None):
    return size_block(Reference("sheet"), CheckBar(across, along))


def test_with_nothing_measured_the_contracts_prior_stands():
    found = block()
    np.testing.assert_allclose(found.value, 0)
    np.testing.assert_allclose(found.u, 0.002)


def test_bars_of_two_decimals_stand_as_they_are():
    found = block(Quantity(147.06, 0.003), Quantity(196.10, 0.003))
    np.testing.assert_allclose(found.value, [147.06 / 150 - 1, 196.10 / 200 - 1], atol=2e-6)
    np.testing.assert_allclose(found.u, [0.003 / 150, 0.003 / 200], rtol=1e-3)


def test_bars_to_the_millimetre_join_the_prior_of_a_print_at_100_per_cent():
    found = block(Quantity(150.0, MM_READ), Quantity(200.0, MM_READ))
    alone = np.array([MM_READ / 150, MM_READ / 200])
    # two independent normals of the same quantity (JCGM 100, weighted mean)
    np.testing.assert_allclose(found.u, (alone**-2 + 0.002**-2) ** -0.5, rtol=0.01)


@pytest.mark.parametrize("scale", [0.93, 0.97, 1.03, 0.9])
def test_bars_far_from_100_per_cent_are_believed_and_not_drawn_to_it(scale):
    found = block(Quantity(150 * scale, MM_READ), Quantity(200 * scale, MM_READ))
    np.testing.assert_allclose(1 + found.value, scale, atol=1e-4)
    assert (found.u <= [MM_READ / 150 * 1.001, MM_READ / 200 * 1.001]).all()


def test_one_bar_of_a_reduced_print_tells_the_other_direction_too():
    found = block(across=Quantity(145.5, MM_READ))
    np.testing.assert_allclose(1 + found.value, 0.97, atol=1e-4)
    assert found.u[1] == pytest.approx(np.sqrt((MM_READ / 150) ** 2 + 2 * 0.002**2), rel=1e-3)


@pytest.mark.parametrize("seen", [(-0.006, -0.004), (-0.012, -0.010), (0.001, 0.0)])
def test_mean_and_variance_are_those_of_the_posterior_summed_on_a_grid(seen):
    u = np.array([0.0035, 0.0025])
    x = np.arange(-0.05, 0.03, 0.0002)
    a, b = np.meshgrid(x, x, indexing="ij")
    prior = (1 - P_OTHER - P_ANY) * norm.pdf(a, 0, U_PRINT_SCALE) * norm.pdf(b, 0, U_PRINT_SCALE)
    for weight, (low, high) in ((P_OTHER, OTHER), (P_ANY, ANY)):
        middle = np.arange(max(low - 1, -0.08), min(high - 1, 0.06), 0.0002)
        g = norm.pdf(x[:, None], middle, U_PRINT_SCALE)
        prior = prior + weight / (high - low) * (g @ g.T) * 0.0002
    p = prior * norm.pdf(seen[0], a, u[0]) * norm.pdf(seen[1], b, u[1])
    p /= p.sum()
    mean = np.array([(p * a).sum(), (p * b).sum()])
    sd = np.sqrt([(p * (a - mean[0]) ** 2).sum(), (p * (b - mean[1]) ** 2).sum()])
    found = printed_scale(np.array(seen), u)
    np.testing.assert_allclose(found.value, mean, atol=2.5e-4)
    np.testing.assert_allclose(found.u, sd, rtol=0.12)


def test_over_all_prints_the_scale_is_as_sure_as_it_says():
    """Drawn from its own prior, read off outlines of Letter paper cut within 2 mm (ISO 216, as rectangular)."""
    rng = np.random.default_rng(1)
    page, u_seen = np.array([215.9, 279.4]), 0.9
    z = []
    for _ in range(3000):
        at = rng.uniform(*OTHER) if rng.random() < P_OTHER else 1.0
        scale = at + rng.normal(0, U_PRINT_SCALE, 2)
        outline = (page + rng.uniform(-2, 2, 2)) / scale + rng.normal(0, u_seen, 2)
        found = printed_scale(page / outline - 1, np.hypot(2 / 3**0.5, u_seen) / outline)
        z.append((found.value + 1 - scale) / found.u)
    assert np.sqrt(np.mean(np.square(z))) == pytest.approx(1, abs=0.08)
    assert np.mean(np.abs(z) <= 2) == pytest.approx(0.95, abs=0.015)
