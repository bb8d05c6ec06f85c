"""Facts about verdicts. Oracles: contract.md, facts.md (JCGM 106, guard band, E_n), scipy, Monte Carlo."""

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from sizing.conformance import probabilities, smallest_slip
from sizing.decision import (
    REQUIRED,
    Judgement,
    gaussian,
    job_verdict,
    judge_measured,
    judge_opening,
    judge_reading,
    judge_without_photo,
    missing_readings,
    mixture_of,
    verdict_by_one_line,
)
from sizing.mixture import Mixture, interval95
from vision.request import NINE, Candidate

VALUES = np.array([1381.0, 1381.0, 1381.0, 1524.0, 1524.0, 1524.0, 2056.6, 2056.6, 0.0])
QUARTER = 6.35


def within(readings, mixture, under, over):
    """Return the probability of each of several readings of one measure."""
    n = len(readings)
    return probabilities(np.asarray(readings, float), [mixture] * n, np.full(n, under), np.full(n, over))[0]


def cov(u=0.9):
    return np.eye(9) * u**2


def shifted(side, weight, shift, *names):
    nine = np.zeros(9)
    nine[[NINE.index(n) for n in names]] = shift
    return Candidate(side, weight, shift, nine)


def verdict(kind):
    return Judgement(kind, 1381.0)


ALL_AGREE = {name: verdict("agrees") for name in REQUIRED}


def test_the_contracts_example_has_a_smallest_slip_of_9_5_mm():
    # contract.md, Result: U95 1.9 mm, tolerance 1/4 in.
    assert round(smallest_slip(gaussian(1381.0, 0.95), QUARTER, QUARTER), 1) == 9.5


def test_the_contracts_burned_inch_differs_and_its_neighbour_agrees():
    slipped = judge_reading(1406.5, gaussian(1381.0, 0.95), QUARTER, QUARTER, 0.9)
    sound = judge_reading(1381.1, gaussian(1380.9, 0.95), QUARTER, QUARTER, 0.9)
    assert (slipped.verdict, round(slipped.p_within, 3)) == ("differs", 0.0)
    assert (sound.verdict, round(sound.p_within, 3), round(sound.difference_mm, 1)) == ("agrees", 1.0, 0.2)
    assert sound.U95_mm == pytest.approx(1.9)


def test_a_reading_may_use_the_tolerance_up_to_a_guard_band_of_1_645_u():
    # facts.md section 3 [ILAC8]: 5 % risk, g = 1.645.
    u = 1.0
    inside = judge_reading(1000.0 + QUARTER - 1.646 * u, gaussian(1000.0, u), QUARTER, QUARTER)
    beyond = judge_reading(1000.0 + QUARTER - 1.644 * u, gaussian(1000.0, u), QUARTER, QUARTER)
    clear = judge_reading(1000.0 - QUARTER - 1.646 * u, gaussian(1000.0, u), QUARTER, QUARTER)
    nearly = judge_reading(1000.0 - QUARTER - 1.644 * u, gaussian(1000.0, u), QUARTER, QUARTER)
    assert [j.verdict for j in (inside, beyond, clear, nearly)] == [
        "agrees",
        "unproven",
        "differs",
        "unproven",
    ]


def test_the_bearings_of_jcgm_106_are_falsely_accepted_at_0_8_percent():
    # JCGM 106 9.5.4: gamma(4, 1/4), limit 2 um, u 0.25 um; facts.md section 3: 4.238 %, 0.802 %.
    bearings = stats.gamma(4, scale=0.25)

    def accepted(x):
        return within(np.array([2.0]), gaussian(x, 0.25), 0.0, 1e9)[0] * bearings.pdf(x)

    assert integrate.quad(accepted, 2.0, 5.0)[0] == pytest.approx(0.00802, abs=5e-6)


def test_e_n_follows_the_published_example():
    # facts.md example 10: 1000 (U 2.0) against 1003 (U 1.5): |E_n| = 1.2.
    assert judge_reading(1000.0, gaussian(1003.0, 0.75), QUARTER, QUARTER, 1.0).e_n == pytest.approx(1.2)


@pytest.mark.parametrize("reading", [900.0, 993.0, 1000.0, 1004.0, 1100.0])
def test_p_is_the_normal_probability_of_the_interval_and_the_three_parts_sum_to_one(reading):
    # Oracle: scipy.stats.norm. An inside mount fears over: 1/8 in over, 3/8 in under.
    j = judge_reading(reading, gaussian(1000.0, 2.5), 9.525, 3.175)
    error = stats.norm(reading - 1000.0, 2.5)
    assert j.p_within == pytest.approx(error.cdf(3.175) - error.cdf(-9.525), rel=1e-9, abs=1e-15)
    assert j.p_within + j.p_short + j.p_long == pytest.approx(1.0)
    assert j.risk_if_ordered + j.risk_if_stopped == pytest.approx(1.0)


def test_a_tiny_probability_keeps_its_digits_on_both_sides():
    both = within(np.array([980.0, 1020.0]), gaussian(1000.0, 1.0), QUARTER, QUARTER)
    assert both[0] == pytest.approx(stats.norm.sf(20.0 - QUARTER), rel=1e-9)
    assert both[1] == pytest.approx(both[0], rel=1e-9)


def test_a_slip_of_the_smallest_size_is_found_in_95_percent():
    # Monte Carlo over the photo's error; 4000 draws, binomial sd 0.35 %.
    rng = np.random.default_rng(11)
    slip = smallest_slip(gaussian(0.0, 1.5), QUARTER, QUARTER)
    photos = 1381.0 + rng.normal(0.0, 1.5, 4000)
    p = np.array([within([1381.0 + slip], gaussian(v, 1.5), QUARTER, QUARTER)[0] for v in photos])
    assert np.mean(p <= 0.05) == pytest.approx(0.95, abs=0.012)


def test_one_width_is_never_surer_than_98_percent_of_its_two_lines():
    # contract.md: no side gives less than 1 % to another line.
    mixture = mixture_of(VALUES, cov(0.1), (), "width_middle")
    far = mixture.u_all_mm > 20.0
    assert mixture.weights.sum() == pytest.approx(1.0)
    assert mixture.weights[~far].sum() == pytest.approx(0.99**2)
    assert judge_reading(1381.0, mixture, QUARTER, QUARTER).verdict == "agrees"


@pytest.mark.parametrize(("name", "lines"), [("height_left", 2), ("diagonal_up", 4)])
def test_each_side_of_a_measure_carries_its_own_doubt(name, lines):
    mixture = mixture_of(VALUES, cov(), (), name)
    assert mixture.weights[np.argmin(mixture.u_all_mm)] == pytest.approx(0.99**lines, abs=1e-5)


@pytest.mark.parametrize("name", ["width_middle", "diagonal_down", "out_of_square"])
def test_another_line_moves_a_measure_as_a_rectangle_with_that_side_moved(name):
    """Oracle: the rectangle itself, 40 % of its left jambs and a tenth of its heads elsewhere, sd 25 mm, drawn."""
    rng = np.random.default_rng(7)
    w = 1381.0 + 25 * rng.normal(size=400_000) * (rng.uniform(size=400_000) < 0.4)
    h = 1524.0 + 25 * rng.normal(size=w.size) * (rng.uniform(size=w.size) < 0.1)
    down = np.hypot(w, h) + rng.normal(0, 0.9, w.size)
    drawn = {"width_middle": w + rng.normal(0, 0.9, w.size), "diagonal_down": down}
    drawn["out_of_square"] = rng.normal(0, 0.9, w.size)
    traced = [shifted(s, q, 0.0) for s, q in (("left", 0.6), ("head", 0.9), ("right", 1.0), ("sill", 1.0))]
    mixture = mixture_of(VALUES, cov(), traced, name)
    for off in (0.0, 8.0, 20.0):
        reading = VALUES[NINE.index(name)] + off
        expected = np.mean(np.abs(reading - drawn[name]) <= QUARTER)
        # Right and sill have 1 % besides, which may take that of a reading off or bring one there.
        assert within([reading], mixture, QUARTER, QUARTER)[0] == pytest.approx(expected, abs=0.015)


def test_a_second_edge_makes_a_reading_unproven_instead_of_wrong():
    frame = shifted("left", 0.3, -20.0, "width_top", "width_middle", "width_bottom")
    mixture = mixture_of(VALUES, cov(), (frame,), "width_middle")
    at_arris, at_frame = (judge_reading(v, mixture, QUARTER, QUARTER) for v in (1381.0, 1361.0))
    assert (at_arris.verdict, at_frame.verdict) == ("unproven", "unproven")
    assert at_frame.p_within == pytest.approx(0.3, abs=0.02)
    assert judge_reading(1406.4, mixture, QUARTER, QUARTER).verdict == "differs"


def test_the_smallest_slip_grows_by_the_distance_of_a_second_edge():
    frame = shifted("left", 0.3, -20.0, "width_middle")
    alone = smallest_slip(mixture_of(VALUES, cov(), (), "width_middle"), QUARTER, QUARTER)
    doubted = smallest_slip(mixture_of(VALUES, cov(), (frame,), "width_middle"), QUARTER, QUARTER)
    # Too long, and the frame is the edge: seen in the 70 % where it is not and in 25 of these 30 % where it is, sf(z)
    # being 5 of 30 there, z = 0.967, beyond the threshold of 1.645 u at the traced edge.
    assert doubted == pytest.approx(20.0 + QUARTER + (stats.norm.isf(0.05 / 0.3) + 1.645) * 0.9, abs=0.3)
    assert alone < 9.6


def test_a_slip_of_the_smallest_size_is_found_in_95_percent_whichever_line_is_the_edge():
    """Contract, *Words*; Monte Carlo over lines and the photo's error, 20 000 draws, binomial sd 0.15 %."""
    rng = np.random.default_rng(5)
    rivals = (shifted("left", 0.96, 0.0), shifted("left", 0.03, 12.0, "width_middle"))
    mixture = mixture_of(VALUES, cov(), rivals, "width_middle")
    slip = smallest_slip(mixture, QUARTER, QUARTER)
    k = rng.choice(len(mixture.weights), 20_000, p=mixture.weights)
    opening = mixture.means_mm[k] + rng.normal(size=k.size) * mixture.u_all_mm[k]
    found = [np.mean(within(opening + e, mixture, QUARTER, QUARTER) <= 0.05) for e in (slip, -slip)]
    assert min(found) == pytest.approx(0.95, abs=0.006)


def test_the_mixture_is_the_distribution_of_a_monte_carlo_over_edges():
    candidates = (
        shifted("left", 0.7, 0.0),
        shifted("left", 0.25, 9.0, "width_middle"),
        shifted("right", 0.2, -4.0, "width_middle"),
    )
    rng = np.random.default_rng(3)
    n = 400_000
    left = rng.choice(3, n, p=[0.70, 0.25, 0.05])
    right = rng.choice(3, n, p=[0.79, 0.20, 0.01])
    opening = 1381.0 + rng.normal(0.0, 0.9, n) + np.where(left == 1, 9.0, 0.0) + np.where(right == 1, -4.0, 0.0)
    opening += np.where(left == 2, rng.normal(0.0, 25.0, n), 0.0)
    opening += np.where(right == 2, rng.normal(0.0, 25.0, n), 0.0)
    mixture = mixture_of(VALUES, cov(), candidates, "width_middle")
    for reading in (1370.0, 1381.0, 1389.0, 1400.0):
        expected = np.mean(np.abs(reading - opening) <= QUARTER)
        assert judge_reading(reading, mixture, QUARTER, QUARTER).p_within == pytest.approx(expected, abs=0.004)


def test_weights_that_leave_nothing_for_another_line_are_scaled_to_99_percent():
    certain = (shifted("left", 1.0, 0.0), shifted("right", 0.8, 0.0), shifted("right", 0.2, 5.0, "width_top"))
    mixture = mixture_of(VALUES, cov(), certain, "width_top")
    assert mixture.weights[mixture.u_all_mm > 20.0].sum() == pytest.approx(1.0 - 0.99**2)


def test_an_unknown_measure_is_refused():
    with pytest.raises(ValueError, match="width_left"):
        mixture_of(VALUES, cov(), (), "width_left")


def test_a_photo_that_knows_nothing_stops_nothing():
    j = judge_reading(1381.0, gaussian(1390.0, 150.0), QUARTER, QUARTER)
    assert (j.verdict, j.blind, j.smallest_slip_mm) == ("unproven", True, float("inf"))
    assert j.p_within < 0.05


def test_the_smallest_slip_holds_for_the_worse_direction():
    mixture = gaussian(1000.0, 1.0)
    assert smallest_slip(mixture, 12.7, 3.175) == pytest.approx(12.7 + 3.29, abs=0.01)
    assert smallest_slip(mixture, 3.175, 12.7) == pytest.approx(12.7 + 3.29, abs=0.01)


def test_broad_doubt_moves_the_smallest_slip_outward():
    # Oracle: scipy's root of p = 0.05, then of P(beyond it) = 0.95.
    mixture = Mixture(0.0, 1.0, np.array([0.5, 0.5]), np.zeros(2), np.array([1.0, 25.0]))

    def p(at):
        return sum(0.5 * (stats.norm(at, u).cdf(QUARTER) - stats.norm(at, u).cdf(-QUARTER)) for u in (1.0, 25.0))

    threshold = optimize.brentq(lambda at: p(at) - 0.05, 0.0, 60.0)
    seen = optimize.brentq(
        lambda e: sum(0.5 * stats.norm.cdf((e - threshold) / u) for u in (1.0, 25.0)) - 0.95, 0.0, 200.0
    )
    assert smallest_slip(mixture, QUARTER, QUARTER) == pytest.approx(seen, abs=0.01)


@pytest.mark.parametrize(
    ("length", "strange"), [(60.0, True), (99.9, True), (100.0, False), (8000.0, False), (8000.1, True)]
)
def test_lengths_just_under_100_mm_and_over_8_m_differ_and_these_lengths_themselves_do_not(length, strange):
    """Contract, Job file; against a photo that says the same, one that is blind and none."""
    same, blind = (judge_reading(length, gaussian(length, u), QUARTER, QUARTER) for u in (0.5, 500.0))
    verdicts = [same.verdict, blind.verdict, judge_without_photo(length).verdict]
    verdicts += [verdict_by_one_line(length, length, u, QUARTER, QUARTER) for u in (0.5, 500.0)]
    assert verdicts == ["differs"] * 5 if strange else verdicts == ["agrees", *["unproven"] * 2, "agrees", "unproven"]


def test_without_a_photo_a_reading_is_unproven():
    found = judge_without_photo(1381.0)
    assert (found.verdict, found.blind, found.out_of_range) == ("unproven", False, False)


def test_an_opening_whose_six_readings_agree_may_be_ordered():
    found = judge_opening(ALL_AGREE)
    assert (found.verdict, found.why) == ("send", "all-agree")


def test_one_differing_reading_holds_the_opening_and_is_named():
    found = judge_opening({**ALL_AGREE, "width_middle": verdict("differs")})
    assert (found.verdict, found.why, found.names) == ("hold", "reading-differs", ("width_middle",))


def test_a_differing_reading_that_cannot_change_the_size_holds_nothing():
    readings = {**ALL_AGREE, "diagonal_up": verdict("differs")}
    found = judge_opening(readings, counts={"diagonal_up": False})
    # It is not said to be supported by the photo: it is named, with why it stops nothing.
    assert (found.verdict, found.why, found.names) == ("send", "agree-that-count", ("diagonal_up",))
    assert judge_opening(readings, counts={}).verdict == "hold"


def test_an_order_problem_holds_the_opening():
    found = judge_opening(ALL_AGREE, order_problems=("not-by-rule",))
    assert (found.verdict, found.why, found.names) == ("hold", "order-problem", ("not-by-rule",))


def test_an_unproven_reading_leaves_the_opening_unproven():
    found = judge_opening({**ALL_AGREE, "height_left": verdict("unproven")})
    assert (found.verdict, found.why, found.names) == ("unproven", "reading-unproven", ("height_left",))


def test_fewer_than_three_widths_and_heights_are_readings_missing():
    readings = {n: j for n, j in ALL_AGREE.items() if n != "height_right"}
    missing = missing_readings(readings)
    found = judge_opening(readings, missing=missing)
    assert (found.verdict, found.why, found.names) == ("unproven", "readings-missing", ("height_right",))
    assert missing_readings(readings, harmless=("height_right",)) == ()


def test_no_readings_at_all_are_readings_missing():
    assert judge_opening({}).why == "readings-missing"


def test_without_a_photo_nothing_is_sent_and_only_the_joint_test_holds():
    sound = judge_opening(ALL_AGREE, has_photo=False)
    torn = judge_opening(ALL_AGREE, has_photo=False, inconsistent=("width_top", "width_bottom"))
    assert (sound.verdict, sound.why) == ("unproven", "no-photo")
    assert (torn.verdict, torn.why, torn.names) == (
        "hold",
        "readings-inconsistent",
        ("width_top", "width_bottom"),
    )


def test_with_a_photo_the_joint_test_does_not_decide():
    assert judge_opening(ALL_AGREE, inconsistent=("width_top", "width_bottom")).verdict == "send"


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        (("send", "hold", "unproven"), "hold"),
        (("send", "unproven"), "unproven"),
        (("send", "send"), "send"),
        ((), "unproven"),
    ],
)
def test_a_job_is_as_good_as_its_worst_opening(verdicts, expected):
    assert job_verdict(verdicts) == expected


def test_the_95_percent_interval_of_rival_edges_is_that_of_draws():
    """Oracle: a million draws, sorted (JCGM 101, 7.7)."""
    shift = np.zeros(9)
    shift[0] = 14.0
    rivals = [Candidate("left", 0.7, 0.0, np.zeros(9)), Candidate("left", 0.29, 14.0, shift)]
    mixture = mixture_of(np.full(9, 1200.0), np.eye(9), rivals, "width_top")
    rng = np.random.default_rng(1)
    which = rng.choice(len(mixture.weights), 1_000_000, p=mixture.weights)
    drawn = rng.normal(mixture.means_mm[which], mixture.u_all_mm[which])
    low, high = interval95(mixture)
    assert (low, high) == pytest.approx(tuple(np.quantile(drawn, [0.025, 0.975])), abs=0.15)


def test_the_95_percent_interval_of_one_gaussian_is_1_96_u_each_way():
    """Normal tables: 97.5 % point 1.959964."""
    assert interval95(gaussian(1200.0, 2.0)) == pytest.approx((1200 - 3.919928, 1200 + 3.919928))


@pytest.mark.parametrize("u", [0.5, 3.0, 40.0, 500.0])
@pytest.mark.parametrize(("under", "over"), [(QUARTER, QUARTER), (QUARTER, 3.175), (0.0, 0.0)])
def test_one_line_alone_gives_the_verdict_of_one_gaussian(u, under, over):
    # The same rule by the longer way, which searches all readings for one that would differ.
    for reading in (50.0, *np.linspace(900.0, 1100.0, 21)):
        whole = judge_reading(reading, gaussian(1000.0, u), under, over)
        assert verdict_by_one_line(reading, 1000.0, u, under, over) == whole.verdict, reading


def test_one_line_alone_is_judged_within_unlike_tolerances():
    # Oracle: scipy.stats.norm; a rule that fears over allows 3/8 in under and 1/8 in over (contract, *Decision*).
    error = np.arange(-14.0, 8.0, 0.05)
    p = stats.norm.cdf((3.175 - error) / 1.2) - stats.norm.cdf((-9.525 - error) / 1.2)
    expected = np.select([p >= 0.95, p <= 0.05], ["agrees", "differs"], "unproven").tolist()
    assert [verdict_by_one_line(1000.0 + e, 1000.0, 1.2, 9.525, 3.175) for e in error] == expected
    assert set(expected) == {"agrees", "differs", "unproven"}


@pytest.mark.parametrize(("reading", "expected"), [(1000.0, "agrees"), (1100.0, "differs")])
def test_exactly_95_percent_agrees_and_exactly_5_percent_differs(reading, expected):
    # contract.md, Decision: `agrees` when p >= 0.95, `differs` when p <= 0.05.
    mixture = Mixture(1000.0, 1.0, np.array([0.95, 0.05]), np.array([1000.0, 1100.0]), np.array([0.1, 0.1]))
    found = judge_reading(reading, mixture, QUARTER, QUARTER)
    assert (found.p_within, found.verdict) == (0.95 if expected == "agrees" else 0.05, expected)


@pytest.mark.parametrize(("reading", "expected"), [(1006.3, "agrees"), (1006.4, "differs"), (1000.0, "agrees")])
def test_of_a_measure_known_exactly_the_tolerance_alone_decides(reading, expected):
    # JCGM 106:2012, 8.2: simple acceptance, where the uncertainty is nothing.
    found = judge_reading(reading, gaussian(1000.0, 0.0), QUARTER, QUARTER)
    assert found.verdict == verdict_by_one_line(reading, 1000.0, 0.0, QUARTER, QUARTER) == expected
    assert (found.e_n == 0.0) == (reading == 1000.0)


def test_without_an_uncertainty_of_the_tape_e_n_is_the_difference_over_u95():
    # ISO 13528:2022, E_n, with one of the two uncertainties nothing.
    assert judge_reading(1003.0, gaussian(1000.0, 0.75), QUARTER, QUARTER).e_n == pytest.approx(3.0 / 1.5)


def test_readings_judged_at_once_are_judged_as_each_alone():
    frame = Candidate("left", 0.2, -15.0, np.where(np.arange(9) < 3, -15.0, 0.0))
    names = ("width_middle", "height_left", "diagonal_up")
    mixtures = [mixture_of(VALUES, cov(), (frame,), n) for n in names]
    readings = [VALUES[NINE.index(n)] + d for n, d in zip(names, (4.0, -9.0, 14.0), strict=True)]
    tolerances = [(QUARTER, QUARTER), (3.0, 9.0), (12.7, 12.7)]
    together = judge_measured(readings, mixtures, tolerances, [1.0, 1.0, 1.0])
    alone = [judge_reading(r, m, *t, 1.0) for r, m, t in zip(readings, mixtures, tolerances, strict=True)]
    assert [j.verdict for j in together] == [j.verdict for j in alone]
    for a, b in zip(together, alone, strict=True):
        assert (a.p_within, a.p_short, a.p_long) == pytest.approx((b.p_within, b.p_short, b.p_long), abs=1e-12)
        assert a.smallest_slip_mm == pytest.approx(b.smallest_slip_mm, abs=0.01)
        # Within, too short and too long are all there is.
        assert a.p_within + a.p_short + a.p_long == pytest.approx(1.0, abs=1e-12)
    assert judge_measured([], [], [], []) == []
