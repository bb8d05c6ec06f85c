"""Facts about which step slipped. Oracles: closed forms by hand, Monte Carlo by weighting, simulated calibration."""

import numpy as np
import pytest
from scipy.stats import norm

from sizing.dispute.slipmodel import Model, Step, groups, posterior, signals


def column(*values):
    return np.array(values, dtype=float)[:, None]


def one(y, u=1.0, rate=0.01, spread=50.0):
    return Model(np.array([y]), np.array([[u * u]]), np.zeros((1, 0)), (Step("made", column(1), rate, spread),))


@pytest.mark.parametrize("y", [0.0, 1.0, 3.0, 5.0, 25.4])
def test_one_difference_has_the_posterior_of_bayes_rule(y):
    # By hand: p = r N(y; 0, u2 + d2) / (r N(y; 0, u2 + d2) + (1 - r) N(y; 0, u2)).
    slipped, sound = 0.01 * norm.pdf(y, scale=np.hypot(1.0, 50.0)), 0.99 * norm.pdf(y)
    found = posterior(one(y), [["made"]])
    assert found.probability["made"] == pytest.approx(slipped / (slipped + sound), rel=1e-9)
    assert found.none == pytest.approx(sound / (slipped + sound), rel=1e-9)


def test_the_size_of_a_slip_is_the_shrunk_difference():
    # Normal prior and likelihood: mean y d2 / (d2 + u2), variance d2 u2 / (d2 + u2) (conjugate normal, from memory).
    found = posterior(one(25.4))
    assert found.slip_mm["made"] == pytest.approx(25.4 * 2500 / 2501, rel=1e-9)
    assert found.u_mm["made"] == pytest.approx(np.sqrt(2500 / 2501), rel=1e-6)


# A reading, a photo before and a photo after of one length that nobody knows.
U = np.array([1.0, 2.0, 2.5])
STEPS = (
    Step("reading", column(1, 0, 0), 0.05, 40.0),
    Step("photo:before", column(0, 1, 0), 0.02, 30.0, witness=True),
    Step("changed", column(0, 0, 1), 0.03, 20.0),
)


def three(y):
    return Model(np.array(y), np.diag(U**2), np.ones((3, 1)), STEPS)


@pytest.mark.parametrize(
    "y", [(1000.0, 1001.0, 999.0), (1025.0, 1000.0, 1001.0), (1000.0, 1003.0, 1030.0), (1006, 1000, 994)]
)
def test_posteriors_are_those_of_a_monte_carlo_by_weighting(y):
    rng = np.random.default_rng(1)
    n = 400_000
    # Slips by their prior, half of them forced (and reweighted) so that rare ones are seen.
    rates = np.array([s.rate for s in STEPS])
    slipped = rng.random((n, 3)) < 0.5
    weight = np.where(slipped, rates / 0.5, (1 - rates) / 0.5).prod(axis=1)
    sizes = rng.normal(size=(n, 3)) * np.array([s.spread_mm for s in STEPS])
    rest = np.array(y, dtype=float) - np.where(slipped, sizes, 0.0)
    # The unknown length integrated out with a flat prior: scatter about the weighted mean.
    w = 1 / U**2
    mean = (rest * w).sum(axis=1) / w.sum()
    weight *= np.exp(-0.5 * (w * (rest - mean[:, None]) ** 2).sum(axis=1))
    found = posterior(three(y))
    for k, step in enumerate(STEPS):
        expected = (weight * slipped[:, k]).sum() / weight.sum()
        blocks = np.array_split(np.arange(n), 20)
        each = [(weight[b] * slipped[b, k]).sum() / weight[b].sum() for b in blocks]
        error = np.std(each) / np.sqrt(20)
        assert found.probability[step.name] == pytest.approx(expected, abs=5 * error + 1e-4)


def test_stated_probabilities_come_true_as_often_as_stated():
    rng = np.random.default_rng(2)
    said, was = [], []
    for _ in range(500):
        slipped = rng.random(3) < np.array([s.rate for s in STEPS])
        y = 1000.0 + rng.normal(size=3) * U + slipped * rng.normal(size=3) * np.array([s.spread_mm for s in STEPS])
        found = posterior(three(y))
        said += [found.probability[s.name] for s in STEPS]
        was += slipped.tolist()
    said, was = np.array(said), np.array(was)
    # Binomial bounds at 4 sigma: the sum of what was said, and that of the sure ones.
    for chosen in (said >= 0, said > 0.5, said < 0.5):
        p = said[chosen]
        assert abs(was[chosen].sum() - p.sum()) < 4 * np.sqrt((p * (1 - p)).sum()) + 1e-9


def test_a_step_that_what_is_unknown_can_take_up_has_no_signal_and_no_group():
    model = Model(np.array([1000.0, 1001.0]), np.eye(2), np.ones((2, 1)), (Step("readings", column(1, 1), 0.01, 50.0),))
    assert signals(model)["readings"] == pytest.approx(0.0, abs=1e-6)
    assert groups(model) == ()


def test_a_step_whose_usual_slip_drowns_in_the_noise_has_no_group():
    assert groups(one(0.0, u=60.0)) == ()
    assert groups(one(0.0, u=40.0)) == (("made",),)


def test_steps_with_the_same_effect_are_one_and_their_probability_is_that_of_either():
    same = Step("written", column(1, 0, 0), 0.02, 40.0)
    model = Model(three((1025, 1000, 1001)).y_mm, np.diag(U**2), np.ones((3, 1)), (*STEPS, same))
    assert ("reading", "written") in groups(model)
    found = posterior(model, groups(model))
    assert found.probability["reading+written"] > 0.99
    # Alone each has what its prior gives: odds 5 to 2, here hardly moved by both at once.
    assert found.probability["reading"] / found.probability["written"] == pytest.approx(
        0.05 * 0.98 / (0.02 * 0.95), rel=0.05
    )


def test_a_witness_stands_in_a_group_only_beside_a_step_of_the_work():
    assert groups(three((1000, 1000, 1000))) == (("reading",), ("changed",))
    two = Model(
        np.array([1000.0, 1000.0]),
        np.eye(2),
        np.ones((2, 1)),
        (Step("reading", column(1, 0), 0.05, 40.0), Step("photo:before", column(0, 1), 0.02, 30.0, witness=True)),
    )
    assert groups(two) == (("reading", "photo:before"),)


def test_the_order_of_observations_does_not_matter():
    turn = [2, 0, 1]
    steps = tuple(Step(s.name, s.columns[turn], s.rate, s.spread_mm, s.witness) for s in STEPS)
    y = np.array([1025.0, 1000.0, 1012.0])
    a = posterior(three(y))
    b = posterior(Model(y[turn], np.diag(U[turn] ** 2), np.ones((3, 1)), steps))
    assert a.probability == pytest.approx(b.probability, rel=1e-9)
