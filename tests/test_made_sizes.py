"""Facts about probabilities of made sizes and which readings count. Oracles: normal distribution (scipy), by hand."""

from fractions import Fraction
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from sizing.orders.counting import Counting, p_changes, p_same_with
from sizing.orders.made_sizes import (
    SizeShare,
    chosen_mm,
    combined_draws,
    photo_draws,
    reading_draws,
    share_of,
    size_shares,
    sized,
    sizes_counted,
    wanted_mm,
)
from sizing.orders.rules import Made, Rule, SideRule
from vision.request import NINE, Candidate

VALUES = np.array([1000.0, 1000.0, 1000.0, 1500.0, 1500.0, 1500.0, 1802.8, 1802.8, 0.0])
NONE = np.full(8, np.nan)
# Of the even points over the normal distribution, as measured for three correlated widths: 0.0005.
COUNTED = 0.001


def rule(width=None, height=None):
    plain = SideRule("middle")
    return Rule("r", "r", Path("r.toml"), "0" * 64, "mm", width or plain, height or plain)


def cov(u=1.0):
    return np.eye(9) * u**2


def sure(side, weight=1.0):
    """A side that no other line than the traced one competes with, up to the contract's 1 %."""
    return Candidate(side, weight, 0.0, np.zeros(9))


def shares_of(rule, draws, **more):
    return size_shares(sizes_counted(rule, draws, (0.0, 0.0)), draws.weights, **more)


def test_the_probability_of_a_made_size_is_that_of_the_normal_distribution():
    # Sizes 990 and 1010 of a chart, the nearest: 1010 when the width is above 1000; mean 1001, u 2.
    chart = rule(SideRule("middle", made=Made(None, (Fraction(990), Fraction(1010)))))
    drawn = photo_draws(VALUES + np.eye(9)[1], cov(2.0), ())
    expected = 0.98 * stats.norm.cdf(0.5) + 0.02 * stats.norm.cdf(1 / np.hypot(2, 25))
    share = share_of(sized(chart, "width", drawn.values_mm, 0.0), drawn.weights, 1010.0)
    assert share == pytest.approx(expected, abs=COUNTED)


def test_the_largest_of_three_is_larger_than_each_as_the_normal_distribution_says():
    # Mean of the largest of three independent standard normals: 3 / (2 sqrt(pi)) (order statistics, from memory).
    drawn = photo_draws(VALUES, cov(), ())
    largest = wanted_mm(SideRule("largest"), drawn.values_mm[:, :3], 0.0)
    smallest = wanted_mm(SideRule("smallest"), drawn.values_mm[:, :3], 0.0)
    near = np.abs(drawn.values_mm[:, 1] - 1000) < 6
    mean = np.average(largest[near], weights=drawn.weights[near])
    assert mean - 1000 == pytest.approx(3 / (2 * np.sqrt(np.pi)), abs=0.05)
    assert (smallest <= largest).all()


def test_a_reading_narrows_the_opening_as_two_measurements_do():
    # Weighted mean of 1000 +- 2 and 1003 +- 1: (1000/4 + 1003) / (1/4 + 1), u = 1 / sqrt(1/4 + 1).
    readings = NONE.copy()
    readings[1] = 1003.0
    drawn = combined_draws(VALUES, cov(2.0), (), readings, np.eye(8))
    assert drawn.best_mm[1] == pytest.approx(1002.4)
    assert drawn.best_cov_mm2[1, 1] == pytest.approx(0.8)
    assert drawn.best_mm[0] == pytest.approx(1000.0)


def test_a_reading_picks_the_line_that_it_fits():
    # The left jamb is traced, or lies 30 mm further out with the same weight; the reading says further out.
    shift = np.array([30.0 if n.startswith("width") else 0.0 for n in NINE])
    lines = (Candidate("left", 0.5, 0.0, np.zeros(9)), Candidate("left", 0.5, 30.0, shift))
    readings = NONE.copy()
    readings[:3] = 1030.0
    drawn = combined_draws(VALUES, cov(), lines, readings, np.eye(8))
    assert drawn.best_mm[:3] == pytest.approx(1030.0)
    assert float(drawn.weights[np.abs(drawn.values_mm[:, 1] - 1030) < 6].sum()) > 0.98


def test_without_a_photo_only_stations_with_readings_are_known():
    readings = NONE.copy()
    readings[0] = 900.0
    drawn = reading_draws(readings, np.eye(8))
    assert np.isnan(drawn.values_mm[:, 1:]).all()
    assert drawn.values_mm[:, 0].std() == pytest.approx(1.0, abs=0.02)


def test_the_same_inputs_give_the_same_draws():
    one, other = (photo_draws(VALUES, cov(), (sure("left"),)).values_mm for _ in range(2))
    assert np.array_equal(one, other)


def test_shares_are_ranked_sum_to_one_and_count_what_is_not_made():
    chart = rule(
        SideRule("middle", made=Made(None, (Fraction(1000),), "next-up")), SideRule("middle", made=Made(Fraction(50)))
    )
    shares = shares_of(chart, photo_draws(VALUES, cov(), ()), least=0.0)
    assert sum(s.probability for s in shares) == pytest.approx(1.0)
    assert [s.probability for s in shares] == sorted((s.probability for s in shares), reverse=True)
    assert {s.width_mm for s in shares} == {None, 1000.0}
    assert shares[0].probability == pytest.approx(0.5, abs=0.02)
    assert shares_of(chart, photo_draws(VALUES, cov(), ()), least=0.999) == []
    assert isinstance(shares[0], SizeShare)


def test_where_any_size_is_made_sizes_are_counted_by_the_mark():
    metric = shares_of(rule(), photo_draws(VALUES, cov(0.2), ()))
    assert (metric[0].width_mm, metric[0].height_mm) == (1000.0, 1500.0)
    inch = Rule("r", "r", Path("r"), "0", "in", SideRule("middle"), SideRule("middle"))
    found = shares_of(inch, photo_draws(VALUES, cov(0.2), ()))
    assert found[0].width_mm / 25.4 * 16 == pytest.approx(round(1000 / 25.4 * 16), abs=1e-3)


@pytest.mark.parametrize("choice", ["nearest", "next-up", "next-down"])
@pytest.mark.parametrize(
    "made",
    [{"step": Fraction(127, 40)}, {"sizes": (Fraction(900), Fraction(10001, 10), Fraction(1100))}],
)
def test_floats_choose_as_exact_fractions_do(choice, made):
    table = Made(made.get("step"), made.get("sizes", ()), choice)
    exact = [Fraction(n, 32) * Fraction(127, 5) for n in range(1000, 1500)] + [Fraction(10001, 10), Fraction(900)]
    exact += [Fraction(19001, 20), Fraction(21001, 20)]  # half-way between two of the chart
    exact += [Fraction(n, 4) for n in range(-8, 9)]  # nothing is made that is not above 0
    found = chosen_mm(table, np.array([float(v) for v in exact]))
    expected = [np.nan if (one := table.chosen(v)) is None else float(one) for v in exact]
    assert found == pytest.approx(np.array(expected), abs=1e-6, nan_ok=True)


@pytest.mark.parametrize("which", ["smallest", "middle", "largest"])
def test_floats_go_by_the_reading_that_the_exact_rule_goes_by(which):
    """Oracle: min, max and the middle one, in exact fractions; a station without a reading is passed over."""
    rows = [*permutations((900, 950, 1000)), (None, 950, 900), (900, None, 950), (950, 900, None), (None, None, 900)]
    side = SideRule(which, Fraction(12))
    expected = [side.wanted([None if v is None else Fraction(v) for v in row]) for row in rows]
    found = wanted_mm(side, np.array(rows, float), 12.0)
    assert found == pytest.approx([np.nan if v is None else float(v) for v in expected], nan_ok=True)
    assert expected[1] == {"smallest": 912, "middle": 1012, "largest": 1012}[which]  # 900, 1000, 950


def test_sizes_of_a_chart_finer_than_the_mark_are_counted_as_they_are():
    side = SideRule("middle", made=Made(None, (Fraction(9994, 10), Fraction(10004, 10))))
    shares = shares_of(rule(side), photo_draws(VALUES, cov(0.2), ()))
    assert {round(s.width_mm, 3) for s in shares} == {999.4, 1000.4}


def test_readings_far_from_every_line_of_the_photo_are_laid_to_another_line():
    """Weights exp(-misfit) all vanish, yet one line is far likelier; contract, Decision: another line, sd 25 mm."""
    readings = NONE.copy()
    readings[:3] = 1080.0
    drawn = combined_draws(VALUES, cov(0.3), (), readings, 0.01 * np.eye(8))
    assert drawn.weights.sum() == pytest.approx(1.0)
    # 80 mm off with sd 25 mm, against readings of 0.1 mm: these decide.
    assert np.average(drawn.values_mm[:, 1], weights=drawn.weights) == pytest.approx(1080.0, abs=0.2)


def largest_to_10(stations):
    return (np.ceil(np.nanmax(np.where(np.isnan(stations), 0.0, stations), axis=1) / 10) * 10)[:, None]


def exactly(*stations):
    return np.tile(np.array(stations, float), (50, 1)), np.full(50, 0.02)


def test_a_short_reading_that_is_not_the_largest_changes_nothing():
    drawn, weights = exactly(995.0, 999.0, 995.0)
    chances = p_changes(largest_to_10, np.array([970.0, 999.0, 995.0]), drawn, weights, [0])
    assert list(chances) == [0.0, 0.0, 0.0]


def test_the_largest_reading_changes_the_order_when_it_is_an_inch_too_long():
    drawn, weights = exactly(995.0, 999.0, 995.0)
    chances = p_changes(largest_to_10, np.array([995.0, 1024.4, 995.0]), drawn, weights, [1])
    assert chances[1] == pytest.approx(1.0)


def test_two_readings_with_the_same_slip_cannot_hide_each_other():
    # Either alone leaves the size at that of the other: only both put right give 1000.
    drawn, weights = exactly(995.0, 999.0, 995.0)
    chances = p_changes(largest_to_10, np.array([1020.4, 1024.4, 995.0]), drawn, weights, [0, 1])
    assert chances[0] == pytest.approx(1.0)
    assert chances[1] == pytest.approx(1.0)


def test_a_reading_that_changes_the_order_only_beside_another_as_it_stands_counts():
    # Alone put right it brings 1030 down to 1010; beside the other put right 1040 stands either way. The worst counts.
    drawn, weights = exactly(995.0, 1034.0, 995.0)
    chances = p_changes(largest_to_10, np.array([1020.4, 1005.0, 995.0]), drawn, weights, [0, 1])
    assert chances[0] == pytest.approx(1.0)


def test_a_reading_counts_from_one_in_a_hundred_and_an_absent_one_is_harmless_from_95_in_a_hundred():
    """contract.md, Decision: `below 0.01` it does not count; `p >= 0.95` an absent one is harmless."""
    found = Counting({"a": 0.01, "b": 0.0099, "c": 0.0105}, {"d": 0.95, "e": 0.9499})
    assert found.counts == {"a": True, "b": False, "c": True}
    assert found.harmless == ("d",)


def test_an_absent_reading_is_as_harmless_as_the_photo_says():
    drawn = np.tile([[990.0, 999.0, 990.0]], (100, 1))
    drawn[:3, 2] = 1005.0
    same = p_same_with(largest_to_10, np.array([990.0, 999.0, np.nan]), drawn, np.full(100, 0.01))
    assert same == {2: pytest.approx(0.97)}


def test_what_is_unknown_on_both_sides_is_no_change():
    def unknown(stations):
        return np.full((stations.shape[0], 1), np.nan)

    drawn, weights = exactly(1.0, 2.0, 3.0)
    assert p_changes(unknown, np.array([1.0, 2.0, 4.0]), drawn, weights, [2])[2] == 0.0
