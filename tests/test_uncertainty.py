"""Propagation against the examples of the GUM and its Supplement 1, against GTC and uncertainties."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from vision.uncertainty import carried, jacobian

# GUM H.1, end gauge, nm: standard, comparator (random, systematic), expansion, temperatures
H1 = np.array([50_000_623.0, 215.0, 0.0, 11.5e-6, -0.1, 0.0])
H1_PARTS_OF_D = np.array([5.8, 3.9, 6.7])
H1_U = np.array([25.0, np.hypot.reduce(H1_PARTS_OF_D), 0.58e-6, 2e-6 / 3**0.5, 0.41, 0.05 / 3**0.5])
H1_STEPS = H1_U * 1e-2

V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
I_A = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
PHI = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
H2_COV = np.cov(np.stack([V, I_A, PHI])) / 5


def end_gauge(x):
    standard, d, d_alpha, alpha, theta, d_theta = x
    return np.array([standard + d - standard * (d_alpha * theta + alpha * d_theta)])


def impedance(x):
    v, i, phi = x
    return np.array([v / i * np.cos(phi), v / i * np.sin(phi), v / i])


def propagate(function, x, cov, steps):
    return function(x), carried(jacobian(function, x, steps), cov)


def monte_carlo(function, x, cov, rng, trials):
    """Return mean, covariance and draws of function(x), drawn at once: JCGM 101, 6.4.8 and 7.

    The oracle of what is carried; the Supplement's own examples below hold it to account.
    """
    draws = function(rng.multivariate_normal(x, cov, trials, method="eigh").T).T
    return draws.mean(0), np.atleast_2d(np.cov(draws, rowvar=False)), draws


def h2(cov):
    x = np.array([V.mean(), I_A.mean(), PHI.mean()])
    return propagate(impedance, x, cov, np.sqrt(np.diag(cov)) * 1e-2)


def test_the_end_gauge_of_h1_has_the_published_length_and_uncertainty():
    """JCGM 100 H.1: 50.000 838 mm, u_c 32 nm (31.66), parts 25, 9.7, 2.9, 16.6 nm."""
    y, cov = propagate(end_gauge, H1, np.diag(H1_U**2), H1_STEPS)
    assert y[0] == pytest.approx(50_000_838, abs=0.5)
    assert np.sqrt(cov[0, 0]) == pytest.approx(31.7, abs=0.1)
    parts = np.abs(jacobian(end_gauge, H1, H1_STEPS)[0] * H1_U)
    assert parts[[0, 1, 2, 5]] == pytest.approx([25, 9.7, 2.9, 16.6], abs=0.05)


def test_h2_gives_the_published_impedance_with_its_correlations():
    """JCGM 100 H.2, tables H.3 and H.4."""
    y, cov = h2(H2_COV)
    u = np.sqrt(np.diag(cov))
    assert y == pytest.approx([127.732, 219.847, 254.260], abs=1e-3)
    assert u == pytest.approx([0.071, 0.2956, 0.236], abs=1e-3)
    r = cov / np.outer(u, u)
    assert r[[0, 0, 1], [1, 2, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=1e-3)


def test_h2_without_correlation_is_told_apart():
    """Derived: a program that drops the correlations gives u(R) 0.195, u(X) 0.201, u(Z) 0.204."""
    _, cov = h2(np.diag(np.diag(H2_COV)))
    assert np.sqrt(np.diag(cov)) == pytest.approx([0.195, 0.201, 0.204], abs=1e-3)


def test_h2_agrees_with_gtc():
    gtc = pytest.importorskip("GTC", reason="GTC is in the test extra")
    v, i, phi = gtc.multiple_ureal(
        [V.mean(), I_A.mean(), PHI.mean()], list(np.sqrt(np.diag(H2_COV))), 4, label_seq=["V", "I", "phi"]
    )
    r = np.corrcoef(np.stack([V, I_A, PHI]))
    gtc.set_correlation(r[0, 1], v, i)
    gtc.set_correlation(r[0, 2], v, phi)
    gtc.set_correlation(r[1, 2], i, phi)
    theirs = [v / i * gtc.cos(phi), v / i * gtc.sin(phi), v / i]
    y, cov = h2(H2_COV)
    assert y == pytest.approx([gtc.value(t) for t in theirs], rel=1e-12)
    assert cov == pytest.approx(np.array([[gtc.get_covariance(a, b) for b in theirs] for a in theirs]), rel=1e-6)


def test_h2_agrees_with_uncertainties():
    theirs = pytest.importorskip("uncertainties", reason="uncertainties is in the test extra")
    from uncertainties import umath

    v, i, phi = theirs.correlated_values([V.mean(), I_A.mean(), PHI.mean()], H2_COV)
    expected = theirs.covariance_matrix([v / i * umath.cos(phi), v / i * umath.sin(phi), v / i])
    assert h2(H2_COV)[1] == pytest.approx(np.array(expected), rel=1e-6)


def test_h2_by_monte_carlo_stays_within_sampling_noise_of_first_order():
    y, cov = h2(H2_COV)
    x = np.array([V.mean(), I_A.mean(), PHI.mean()])
    mean, spread, draws = monte_carlo(impedance, x, H2_COV, np.random.default_rng(1), 20_000)
    assert draws.shape == (20_000, 3)
    assert np.abs(mean - y).max() < 4 * np.sqrt(cov.diagonal().max() / 20_000)
    assert np.sqrt(np.diag(spread)) == pytest.approx(np.sqrt(np.diag(cov)), rel=4 / np.sqrt(40_000))


def rectangular(z, half):
    return half * (2 * stats.norm.cdf(z) - 1)


def test_the_sum_of_four_rectangular_inputs_is_narrower_than_a_normal_one():
    """JCGM 101 9.2.3: u = 2; 95 % within 3.88, first order 3.92; exact 2 sqrt3 (2 - 0.6^0.25)."""

    def total(z):
        return rectangular(z, 3**0.5).sum(axis=0, keepdims=True)

    _, cov, draws = monte_carlo(total, np.zeros(4), np.eye(4), np.random.default_rng(2), 1_000_000)
    assert np.sqrt(cov[0, 0]) == pytest.approx(2, abs=0.006)
    low, high = np.quantile(draws, [0.025, 0.975])
    assert [low, high] == pytest.approx([-3.88, 3.88], abs=0.02)  # 0.006 is one sd of a quantile here


def test_the_gauge_block_of_supplement_1_has_the_published_interval():
    """JCGM 101 9.5, table 10: 838 nm, u 36 nm, 99 % interval [745, 932] nm."""
    cdf = stats.norm.cdf

    def length(z):
        def student(i, at, scale, dof):
            return at + scale * stats.t.ppf(cdf(z[i]), dof)

        def vague(i, at, half, doubt):  # a rectangular of inexact half-width, 6.4.3
            return at + (half + doubt * (2 * cdf(z[i + 1]) - 1)) * (2 * cdf(z[i]) - 1)

        standard, d = student(0, 50_000_623, 25, 18), student(1, 215, 6, 24)
        d = d + student(2, 0, 4, 5) + student(3, 0, 7, 8)
        alpha = 11.5e-6 + rectangular(z[4], 2e-6)
        theta = -0.1 + 0.2 * z[5] + 0.5 * np.sin(np.pi * cdf(z[6]) - np.pi / 2)
        d_alpha, d_theta = vague(7, 0, 1e-6, 0.1e-6), vague(9, 0, 0.05, 0.025)
        return (standard * (1 - d_alpha * theta - alpha * d_theta) + d)[None]

    trials = 150_000
    mean, cov, draws = monte_carlo(length, np.zeros(11), np.eye(11), np.random.default_rng(3), trials)
    assert mean[0] == pytest.approx(50_000_838, abs=0.5)
    assert np.sqrt(cov[0, 0]) == pytest.approx(36, abs=0.5)
    assert np.quantile(draws, [0.005, 0.995]) - 50_000_000 == pytest.approx([745, 932], abs=3)


def test_a_straight_function_has_exact_differences():
    a = np.array([[1.0, 2.0, -3.0], [0.0, 0.5, 4.0]])
    assert jacobian(lambda x: a @ x + 1, np.array([3.0, -2.0, 8.0]), 0.5) == pytest.approx(a, rel=1e-12)
