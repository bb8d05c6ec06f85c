"""Facts about data snooping. Oracles: Baarda's published values, statsmodels GLS, design.md, simulation."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from sizing.crosscheck.adjustment import STATIONS, adjust, observations, predict_readings_mm
from sizing.crosscheck.snooping import alike, critical_w, noncentrality, snoop, w_statistics
from sizing.tape import readings_cov_mm2

INCH = 25.4
SHAPE = np.array([1380.0, 1384.0, 1520.0, 1523.0, 10.0])
SOUND = predict_readings_mm(SHAPE)
TAPE = readings_cov_mm2(SOUND, "class-2", None, "masonry")
PHOTO = np.eye(8) + np.outer(SOUND, SOUND) * 0.001**2
PAIRS = {
    "width_top": ("width_top", "width_bottom"),
    "width_middle": ("width_middle",),
    "width_bottom": ("width_top", "width_bottom"),
    "height_left": ("height_left", "height_right"),
    "height_right": ("height_left", "height_right"),
    "diagonal_down": ("diagonal_down", "diagonal_up"),
}


def observed(off=None, photo=True, names=STATIONS, noise=0.0):
    rows = [STATIONS.index(n) for n in names]
    y = SOUND + noise
    readings = {n: y[STATIONS.index(n)] + (off or {}).get(n, 0.0) for n in names}
    return observations(readings, TAPE[np.ix_(rows, rows)], *((SOUND, PHOTO) if photo else (None, None)))


def test_baardas_level_and_power_give_his_published_noncentrality():
    # Baarda 1968: alpha0 = 0.001 has the critical value 3.29; with beta0 = 0.80 delta0 = 4.13 (from memory).
    assert critical_w(1) == pytest.approx(3.29, abs=0.005)
    assert noncentrality(1, power=0.80) == pytest.approx(4.13, abs=0.005)


def test_the_level_is_divided_among_the_readings_tested():
    assert 2 * norm.sf(critical_w(8)) == pytest.approx(0.001 / 8)


@pytest.mark.parametrize(("slipped", "group"), PAIRS.items())
def test_without_a_photo_a_burned_inch_is_found_and_the_pair_is_named(slipped, group):
    # design.md, The cross-check: without a photo top and bottom width are such a pair (correlation 1.00).
    found = snoop(observed({slipped: INCH}, photo=False))
    assert found.rejected
    assert [o.group for o in found.outliers] == [group]
    assert found.worst == group
    assert all(found.tests[n].group == (group if len(group) > 1 else ()) for n in group)


@pytest.mark.parametrize("slipped", STATIONS)
def test_with_a_photo_a_burned_inch_is_laid_to_its_reading(slipped):
    found = snoop(observed({slipped: INCH}))
    assert [o.group for o in found.outliers] == [(slipped,)]
    assert [n for n, t in found.tests.items() if t.found] == [slipped]
    assert found.p_rest > 0.9
    assert found.outliers[0].slip_mm == pytest.approx(INCH, abs=0.1)


def test_without_diagonals_a_slipped_width_names_all_three_widths():
    found = snoop(observed({"width_top": INCH}, photo=False, names=STATIONS[:6]))
    assert found.worst == ("width_top", "width_middle", "width_bottom")


def test_two_slips_of_one_opening_are_both_found_with_a_photo():
    found = snoop(observed({"width_top": INCH, "height_middle": -12.7}))
    assert {o.group for o in found.outliers} == {("width_top",), ("height_middle",)}


def test_an_inch_short_and_an_inch_long_at_neighbouring_stations_are_both_found():
    found = snoop(observed({"width_top": INCH, "width_middle": -INCH, "width_bottom": INCH}))
    assert {n for n, t in found.tests.items() if t.found} == {"width_top", "width_middle", "width_bottom"}


def test_readings_that_nothing_controls_have_no_w_and_no_detectable_slip():
    found = snoop(observed(photo=False, names=("width_top", "height_left")))
    assert (found.dof, found.p, found.rejected, found.worst, found.outliers) == (0, 1.0, False, (), ())
    assert [(t.w, t.mdb_mm, t.group) for t in found.tests.values()] == [(None, None, ())] * 2


def test_without_readings_only_the_measures_are_tested():
    found = snoop(observed(names=()))
    assert (found.dof, dict(found.tests), found.worst) == (3, {}, ())


@pytest.mark.parametrize("photo", [False, True])
def test_w_is_the_t_value_of_a_dummy_in_statsmodels_gls(photo):
    # With the variance factor known (scale = 1) the dummy of one observation has t = w and u = 1 / gain.
    api = pytest.importorskip("statsmodels.api", reason="statsmodels is the independent implementation here")
    rng = np.random.default_rng(8)
    data = observed(dict(zip(STATIONS, rng.normal(0.0, 2.0, 8), strict=True)), photo=photo)
    fit = adjust(data)
    rows = [STATIONS.index(n) for n in data.names]
    steps = np.vstack([np.eye(5), -np.eye(5)])
    moved = predict_readings_mm(fit.shape_mm + steps)
    design = (0.5 * (moved[:5] - moved[5:]).T)[rows]
    reduced = data.values_mm - predict_readings_mm(fit.shape_mm)[rows]
    tests = snoop(data).tests
    for i, name in enumerate(STATIONS):
        dummy = np.column_stack([design, np.eye(len(rows))[i]])
        model = api.GLS(reduced, dummy, sigma=data.cov_mm2).fit(cov_type="nonrobust")
        u = np.sqrt(model.normalized_cov_params[-1, -1])
        assert tests[name].w == pytest.approx(model.params[-1] / u, abs=5e-3)
        # Eight readings, and with a photo its two pairs of lines and its scale.
        assert tests[name].mdb_mm == pytest.approx(noncentrality(11 if photo else 8) * u, rel=1e-3)


def test_a_slip_of_the_detectable_size_is_found_with_95_percent():
    # Simulation from the model; binomial sd of 600 trials at 0.95 is 0.9 %.
    rng = np.random.default_rng(11)
    factor = np.linalg.cholesky(observed().cov_mm2)
    size = snoop(observed()).tests["width_bottom"].mdb_mm
    trials, found = 300, 0
    for _ in range(trials):
        data = observed({"width_bottom": size})
        noisy = replace(data, values_mm=data.values_mm + factor @ rng.normal(size=16))
        adjusted = adjust(noisy)
        w, _ = w_statistics(adjusted.weighted, adjusted.normal, np.eye(16)[:, :8])
        found += abs(w[2]) > critical_w(11)
    assert found / trials == pytest.approx(0.95, abs=4 * 0.0126)


@pytest.mark.slow
@pytest.mark.parametrize("photo", [False, True])
def test_sound_openings_raise_an_alarm_in_at_most_the_level(photo):
    # Bonferroni: at most 0.001 of openings have an outlier; the joint test has exactly 0.001.
    rng = np.random.default_rng(12)
    data = observed(photo=photo)
    factor = np.linalg.cholesky(data.cov_mm2)
    trials, outliers, rejected, twentieth = 3000, 0, 0, 0
    for _ in range(trials):
        noise = factor @ rng.normal(size=len(data.names))
        found = snoop(replace(data, values_mm=data.values_mm + noise))
        outliers += bool(found.outliers)
        rejected += found.rejected
        twentieth += found.p < 0.05
    assert outliers <= 11  # P(more of 3000 at 0.001) = 7e-5, Poisson
    assert rejected <= 11
    assert twentieth / trials == pytest.approx(0.05, abs=4 * 0.004)  # binomial


def test_the_redundancy_of_uncorrelated_observations_is_the_classical_number():
    # A mean of n equal observations: redundancy (n - 1) / n each (any text on adjustment).
    n = 4
    null = np.eye(n) - np.ones((n, n)) / n
    w, gain = w_statistics(np.zeros(n), null, np.eye(n))
    assert gain**2 == pytest.approx(np.full(n, (n - 1) / n))
    assert w == pytest.approx(np.zeros(n))


def test_redundancies_lie_between_none_and_all():
    for photo in (False, True):
        values = [t.redundancy for t in snoop(observed(photo=photo)).tests.values()]
        assert all(0.0 <= v <= 1.0 for v in values)


def test_statistics_of_two_observations_of_one_value_cannot_be_told_apart():
    null = np.eye(2) - 0.5
    _, gain = w_statistics(np.zeros(2), null, np.eye(2))
    assert alike(null, gain, np.eye(2)).all()


def test_a_slip_that_is_insignificant_beside_later_ones_is_taken_back():
    # Three slips and three conditions: the forward search takes a width first, which two later ones make needless.
    slips = {"width_top": -INCH, "height_middle": -INCH, "diagonal_down": INCH}
    found = snoop(observed(slips, photo=False))
    assert [o.group for o in found.outliers] == [("height_middle",), ("diagonal_down", "diagonal_up")]
    assert all(abs(o.w) > critical_w(8) for o in found.outliers)


def test_readings_that_a_weak_photo_hardly_tells_apart_are_named_once():
    # A photo of 25 mm: the statistics of top and bottom width correlate 0.96, above design.md's 0.95.
    readings = dict(zip(STATIONS, SOUND, strict=True)) | {
        "width_top": SOUND[0] + 250.0,
        "width_bottom": SOUND[2] + 200.0,
    }
    weak = 25.0**2 * np.eye(8) + np.outer(SOUND, SOUND) * 0.001**2
    found = snoop(observations(readings, TAPE, SOUND, weak))
    groups = [o.group for o in found.outliers]
    assert groups.count(("width_top", "width_bottom")) == 1
    assert all(len(group) > 1 or group[0] not in {"width_top", "width_bottom"} for group in groups)


@pytest.mark.parametrize("shift", [15.0, -25.0])
def test_a_sill_that_the_photo_sees_elsewhere_is_laid_to_the_photo_and_not_to_three_heights(shift):
    moved = SOUND + shift * np.array([0, 0, 0, 1, 1, 1, *2 * [SHAPE[2] / SOUND[6]]])
    found = snoop(observations(dict(zip(STATIONS, SOUND, strict=True)), TAPE, moved, PHOTO))
    assert [o.group for o in found.outliers] == [("photo_head_or_sill",)]
    assert found.outliers[0].slip_mm == pytest.approx(shift, abs=0.2)
    assert not any(t.found for t in found.tests.values())


def test_a_photo_of_another_scale_is_laid_to_its_scale():
    found = snoop(observations(dict(zip(STATIONS, SOUND, strict=True)), TAPE, 0.98 * SOUND, PHOTO))
    assert [o.group for o in found.outliers] == [("photo_scale",)]


def test_three_heights_an_inch_too_long_are_not_laid_to_the_photo():
    # The diagonals of the tape say otherwise.
    found = snoop(observed(dict.fromkeys(STATIONS[3:6], INCH)))
    assert {n for o in found.outliers for n in o.group} == set(STATIONS[3:6])
