"""The least squares of the adjustment. Oracles: certified fits (NIST StRD), numpy and scipy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import least_squares

from vision.adjustment import HUBER, adjust


@dataclass(frozen=True, eq=False)
class Vector:
    x: np.ndarray

    def moved(self, increment):
        return Vector(self.x + increment)


@dataclass(frozen=True, eq=False)
class Curve:
    """Observations y = model(x) with its derivatives, all of one sd."""

    y: np.ndarray
    model: object
    sd: float = 1.0
    robust: bool = False
    part: str = "curve"

    def linearised(self, state):
        value, by = self.model(state.x)
        return (self.y - value) / self.sd, by / self.sd


def straight(a):
    return lambda x: (a @ x, a)


def test_a_linear_problem_is_solved_as_numpy_does():
    rng = np.random.default_rng(1)
    a, y = rng.normal(size=(30, 4)), rng.normal(size=30)
    result = adjust([Curve(y, straight(a), 1e-3)], Vector(np.zeros(4)))
    solution, squares = np.linalg.lstsq(a, y)[:2]
    assert result.state.x == pytest.approx(solution, abs=1e-7)
    assert result.covariance == pytest.approx(1e-6 * np.linalg.inv(a.T @ a), rel=1e-9)
    assert result.converged
    assert result.cost == pytest.approx(float(squares[0]) / 1e-6)


NORRIS_X = np.array([
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
    0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
    0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
])  # fmt: skip
NORRIS_Y = np.array([
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
    0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
    0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
])  # fmt: skip


def test_the_line_of_norris_has_the_certified_coefficients():
    """NIST StRD, linear, Norris: B0, B1, their sd and the residual sd."""
    sd = 0.884796396144373
    a = np.column_stack([np.ones(36), NORRIS_X])
    result = adjust([Curve(NORRIS_Y, straight(a), sd * 1e-3)], Vector(np.zeros(2)))
    assert result.state.x == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-8)
    assert 1e3 * np.sqrt(np.diag(result.covariance)) == pytest.approx(
        [0.232818234301152, 0.429796848199937e-3], rel=1e-8
    )
    assert 1e-6 * result.cost == pytest.approx(34, rel=1e-8)


MISRA_X = np.array([
    77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1,
    689.1, 760.0,
])  # fmt: skip
MISRA_Y = np.array([
    10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40,
    75.47, 81.78,
])  # fmt: skip


@pytest.mark.parametrize("start", [(500.0, 0.0001), (250.0, 0.0005)])
def test_the_curve_of_misra_is_found_from_both_certified_starts(start):
    """NIST StRD, nonlinear, Misra1a: b1 (1 - exp(-b2 x)), sd of both, residual sd."""

    def model(b):
        e = np.exp(-b[1] * MISRA_X)
        return b[0] * (1 - e), np.column_stack([1 - e, b[0] * MISRA_X * e])

    sd = 1.0187876330e-01
    result = adjust([Curve(MISRA_Y, model, sd * 1e-4)], Vector(np.array(start)))
    assert result.state.x == pytest.approx([2.3894212918e2, 5.5015643181e-4], rel=1e-6)
    assert 1e4 * np.sqrt(np.diag(result.covariance)) == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-5)


def test_gross_errors_are_weighed_down_as_scipy_does():
    """Oracle: scipy.optimize.least_squares with Huber's loss."""
    rng = np.random.default_rng(2)
    a, x = rng.normal(size=(60, 3)), np.array([1.0, -2.0, 0.5])
    y = a @ x + 0.01 * rng.normal(size=60)
    y[:6] += 0.4
    result = adjust([Curve(y, straight(a), 0.01, robust=True)], Vector(np.zeros(3)))
    theirs = least_squares(lambda v: (a @ v - y) / 0.01, np.zeros(3), loss="huber", f_scale=HUBER)
    assert result.state.x == pytest.approx(theirs.x, abs=1e-4)
    assert result.cost == pytest.approx(2 * theirs.cost, rel=1e-4)
    plain = np.linalg.lstsq(a, y)[0]
    assert np.linalg.norm(result.state.x - x) < 0.2 * np.linalg.norm(plain - x)


def test_too_few_iterations_are_owned_up_to():
    def model(b):
        return b**3, 3 * np.diag(b**2)

    assert not adjust([Curve(np.array([8.0]), model, 1e-3)], Vector(np.array([50.0])), iterations=2).converged


def test_a_model_that_breaks_down_on_all_sides_stays_where_it_began():
    def model(b):
        return np.where(b == 1.0, 0.5, np.nan), np.eye(1)

    result = adjust([Curve(np.array([2.0]), model)], Vector(np.ones(1)))
    assert result.state.x == pytest.approx([1.0], abs=0)
    assert result.converged


def test_a_steep_model_that_breaks_down_on_all_sides_stays_too():
    def model(b):
        return np.where(b == 1.0, 1e9, np.nan), np.eye(1)

    result = adjust([Curve(np.array([2.0]), model)], Vector(np.ones(1)))
    assert result.state.x == pytest.approx([1.0], abs=0)
    assert result.converged


def test_where_a_last_step_leads_to_worse_it_is_not_taken():
    def model(b):
        return np.where(b == 0.0, 0.0, 1.0), np.eye(1)

    result = adjust([Curve(np.array([0.005]), model)], Vector(np.zeros(1)))
    assert result.state.x == pytest.approx([0.0], abs=0)
    assert result.cost == pytest.approx(0.005**2)


def test_a_model_that_promises_much_and_gives_nothing_ends():
    def model(b):
        return 1e-5 * b, np.eye(1)

    result = adjust([Curve(np.array([1.0]), model)], Vector(np.zeros(1)), iterations=20)
    assert result.converged
    assert result.cost > 0.9


@pytest.mark.parametrize("near", [False, True])
def test_a_start_held_back_by_damping_is_not_taken_for_the_end(near):
    """Two unknowns of which nearly the sum alone is seen: a damped step hardly moves their difference."""
    a = np.array([[1.0, 1.0], [1e-3, -1e-3]])
    result = adjust([Curve(a @ np.array([30.0, -20.0]), straight(a))], Vector(np.array([5.0, 5.0])), near=near)
    assert result.state.x == pytest.approx([30.0, -20.0], rel=1e-6)


def test_an_unknown_that_nothing_was_observed_of_is_refused():
    a = np.array([[1.0, 0.0], [2.0, 0.0]])
    with pytest.raises(np.linalg.LinAlgError, match="every unknown"):
        adjust([Curve(np.ones(2), straight(a))], Vector(np.zeros(2)))
