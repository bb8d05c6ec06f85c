"""Slopes of wall lines that run otherwise than the rest."""

import numpy as np
import pytest

from vision.wall.line_noise import LEAST_FAN, SPREAD_OF_WALLS, contrary, line_noise, usual_slope


def test_courses_that_agree_keep_the_slope_error_they_are_built_to():
    rng = np.random.default_rng(3)
    place = np.linspace(-900, 900, 40)
    slope = 0.004 + 2e-6 * place + rng.normal(0, 0.001, 40)
    factor = contrary(slope, np.full(40, 0.001), place)
    assert (factor == 1).mean() > 0.85
    assert factor.max() < 4


def test_the_foot_of_a_sill_and_its_shadow_cannot_turn_the_courses():
    rng = np.random.default_rng(4)
    place = np.concatenate([np.linspace(-900, 900, 30), [454.0, 481.0]])
    u = np.full(32, 0.001)
    slope = np.concatenate([rng.normal(0, 0.001, 30), [0.010, 0.010]])

    def turned(factor):
        w = 1 / (u * factor) ** 2
        design = np.column_stack([np.ones(32), place])
        return np.linalg.solve(design.T @ (w[:, None] * design), design.T @ (w * slope))[1]

    factor = contrary(slope, u, place)
    assert factor[30:].min() > 15
    without = np.polyfit(place[:30], slope[:30], 1)[0]
    assert abs(turned(factor) - without) < 0.1 * abs(turned(np.ones(32)) - without)


def test_too_few_lines_show_nothing():
    slope = np.array([0.0, 0.0, 0.02, 0.0, 0.0])[: LEAST_FAN - 1]
    assert (contrary(slope, np.full(len(slope), 1e-3), np.arange(len(slope)) * 100.0) == 1).all()


def test_two_bricks_far_apart_tell_a_slope_and_nothing_of_how_true_bricks_lie():
    """By least squares on two places the slope's u is sqrt(2) u / distance; their residuals are nought and no noise."""
    rng = np.random.default_rng(3)
    pairs, full = 60, 3
    along = np.concatenate([np.tile([-650.0, 650.0], pairs), np.tile(np.linspace(-700, 700, 12), full)])
    label = np.concatenate([np.repeat(np.arange(pairs), 2), pairs + np.repeat(np.arange(full), 12)])
    across = 75.0 * label + rng.normal(0, 1.0, len(label))
    u, _, good = line_noise(across, along, np.full(len(label), 1.0), label, np.zeros(len(label), bool), 1e-3, 20.0)
    assert good.all()
    assert u == pytest.approx(1.0, rel=0.3)


def walls(rng, tau, count=14, u_fit=4e-4):
    """Return how far slopes of courses lie from where they run, on a wall laid to tau rad."""
    return rng.normal(0, np.hypot(tau, u_fit), count), np.full(count, u_fit)


def test_how_truly_a_wall_is_laid_is_learnt_from_its_courses():
    """Oracle: the walls drawn. Of 400 walls laid to a log-normal deviation the mean square learnt is that laid (a
    posterior mean is unbiased over its prior: Gelman et al., 2.2), and it tells true walls from rough ones."""
    rng = np.random.default_rng(8)
    laid = 1e-3 * np.exp(-(SPREAD_OF_WALLS**2) + SPREAD_OF_WALLS * rng.normal(size=400))
    learnt = np.array([usual_slope(*walls(rng, t), np.ones(14), 1e-3) for t in laid])
    assert np.mean(learnt**2) == pytest.approx(np.mean(laid**2), rel=0.2)
    assert np.corrcoef(np.log(learnt), np.log(laid))[0, 1] > 0.8


def test_a_few_lines_of_something_else_leave_a_true_wall_true():
    rng = np.random.default_rng(9)
    off, u_fit = walls(rng, 2e-4, 30, 1e-4)
    usual = usual_slope(off, u_fit, np.ones(30), 1e-3)
    off[[3, 17]] = [4e-3, -5e-3]
    assert usual_slope(off, u_fit, np.ones(30), 1e-3) < 1.5 * usual < 5e-4


def test_lines_that_run_alike_count_once():
    """Oracle: each line written twice, at half the weight, says what it says once."""
    off, u_fit = walls(np.random.default_rng(10), 5e-4)
    once = usual_slope(off, u_fit, np.ones(14), 1e-3)
    assert usual_slope(np.tile(off, 2), np.tile(u_fit, 2), np.full(28, 0.5), 1e-3) == pytest.approx(once)


def test_what_was_fitted_to_few_lines_is_not_taken_for_true_laying():
    """Oracle: the walls drawn. Of eight lines two numbers are fitted: their residuals alone are a ninth too small."""
    rng, place = np.random.default_rng(11), np.arange(8) * 100.0
    laid = 1e-3 * np.exp(-(SPREAD_OF_WALLS**2) + SPREAD_OF_WALLS * rng.normal(size=1500))
    slopes = [rng.normal(0, np.hypot(tau, 1e-4), 8) for tau in laid]
    off = [s - np.polyval(np.polyfit(place, s, 1), place) for s in slopes]
    learnt = np.array([usual_slope(o, np.full(8, 1e-4), np.ones(8), 1e-3) for o in off])
    assert np.median(learnt / laid) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("laid", [3e-4, 2e-3])
def test_courses_know_their_slopes_as_well_as_their_wall_was_laid(laid):
    """Oracle: the wall drawn, 20 courses of 12 bricks true to 0.1 mm; 1 mrad is what walls are usually laid to."""
    rng = np.random.default_rng(12)
    label, along = np.repeat(np.arange(20), 12), np.tile(np.linspace(-700, 700, 12), 20)
    across = 75.0 * label + rng.normal(0, laid, 20)[label] * along + rng.normal(0, 0.1, len(label))
    _, u_slope, _ = line_noise(across, along, np.full(240, 0.1), label, np.zeros(240, bool), 1e-3, 20.0)
    assert np.median(u_slope) == pytest.approx(laid, rel=0.4)
