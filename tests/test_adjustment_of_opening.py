"""Facts about readings and measures adjusted together. Oracles: plane geometry, statsmodels GLS, design.md."""

import numpy as np
import pytest

from sizing.crosscheck.adjustment import (
    BOW_U_MM,
    STATIONS,
    adjust,
    bow_effects,
    observations,
    predict_readings_mm,
)
from sizing.tape import readings_cov_mm2

SHAPE = np.array([1380.0, 1384.0, 1520.0, 1523.0, 10.0])
SOUND = predict_readings_mm(SHAPE)
TAPE = readings_cov_mm2(SOUND, "class-2", None, "masonry")
# A photo of 1 mm with a scale of 0.1 % in common.
PHOTO = np.eye(8) + np.outer(SOUND, SOUND) * 0.001**2


def observed(off=None, photo=True, names=STATIONS):
    rows = [STATIONS.index(n) for n in names]
    readings = {n: SOUND[STATIONS.index(n)] + (off or {}).get(n, 0.0) for n in names}
    cov = TAPE[np.ix_(rows, rows)]
    return observations(readings, cov, *((SOUND, PHOTO) if photo else (None, None)))


def test_a_rectangle_has_equal_readings_and_the_diagonal_of_pythagoras():
    found = predict_readings_mm(np.array([900.0, 900.0, 1200.0, 1200.0, 0.0]))
    assert found == pytest.approx([900.0] * 3 + [1200.0] * 3 + [1500.0] * 2)


def test_diagonals_of_a_leaning_opening_differ_by_four_w_lean():
    # facts.md section 4: d1^2 - d2^2 = 4 W H sin(theta), H sin(theta) the lean; to the right `up` is longer.
    found = predict_readings_mm(np.array([914.4, 914.4, 1524.0, 1524.0, 13.3]))
    assert found[7] ** 2 - found[6] ** 2 == pytest.approx(4 * 914.4 * 13.3, rel=1e-6)


def test_the_stations_lie_2_in_inside_the_corners_of_a_tapered_opening():
    # Contract, Measures: along the jambs. Head 1000, sill 1100, upright height 1000: similar triangles.
    found = predict_readings_mm(np.array([1000.0, 1100.0, 1000.0, 1000.0, 0.0]))
    t = 50.8 / np.hypot(1000.0, 50.0)
    assert found[:3] == pytest.approx([1000 + 100 * t, 1050.0, 1100 - 100 * t], abs=1e-9)


def test_a_bow_shows_whole_in_the_middle_and_nearly_not_beside_the_corners():
    effects = bow_effects(np.array([1000.0, 1000.0, 1016.0, 1016.0, 0.0]))
    # 50.8 mm of 1016 is a twentieth: 4 / 20 * 19 / 20 = 0.19.
    assert effects[:3, 0] == pytest.approx([0.19, 1.0, 0.19])
    assert effects[6:] == pytest.approx(0.0)
    assert effects[:3, 1] == pytest.approx(0.0)


def test_the_photos_diagonal_ends_where_lines_fitted_through_the_bows_cross():
    # Least-squares line through a parabola one high, by numpy: two thirds further out at the corners.
    t = np.linspace(0.0, 1.0, 2001)
    out = float(np.polynomial.Polynomial.fit(t, 4.0 * t * (1.0 - t), 1)(0.0))
    width, height = 900.0, 1200.0
    # Both jambs bowed by half: the opening of the fitted lines is wider by the whole.
    longer = np.hypot(width + out, height) - np.hypot(width, height)
    effects = bow_effects(np.array([width, width, height, height, 0.0]), by_photo=True)
    assert effects[6, 0] == pytest.approx(longer, abs=1e-3)
    assert effects[:6] == pytest.approx(bow_effects(np.array([width, width, height, height, 0.0]))[:6])


@pytest.mark.parametrize(
    ("photo", "names", "dof"),
    [
        (False, STATIONS, 3),
        (True, STATIONS, 11),
        (False, STATIONS[:6], 2),
        (False, STATIONS[:3], 1),
        (False, STATIONS[:2], 0),
        (True, STATIONS[:1], 4),
        (True, (), 3),
    ],
)
def test_five_sizes_are_unknown_and_what_is_left_are_conditions(photo, names, dof):
    # Four lines in a plane less its three movements: 8 - 3 = 5.
    found = adjust(observed(photo=photo, names=names))
    assert found.dof == dof
    assert float(found.redundancy.sum()) == pytest.approx(dof, abs=1e-6)


def test_exact_readings_of_a_tapered_leaning_opening_leave_no_residuals_and_give_its_shape():
    found = adjust(observed(photo=False))
    assert found.shape_mm == pytest.approx(SHAPE, abs=1e-3)
    assert found.chi2 == pytest.approx(0.0, abs=1e-6)
    assert found.p == pytest.approx(1.0)


def jacobian_by_hand(shape):
    step = 0.5
    return np.column_stack(
        [
            (predict_readings_mm(shape + step * e) - predict_readings_mm(shape - step * e)) / (2 * step)
            for e in np.eye(5)
        ]
    )


@pytest.mark.parametrize("photo", [False, True])
def test_the_adjustment_is_that_of_statsmodels_gls(photo):
    api = pytest.importorskip("statsmodels.api", reason="statsmodels is the independent implementation here")
    rng = np.random.default_rng(3)
    data = observed(dict(zip(STATIONS, rng.normal(0.0, 3.0, 8), strict=True)), photo=photo)
    found = adjust(data)
    rows = [STATIONS.index(n) for n in data.names]
    design = jacobian_by_hand(found.shape_mm)[rows]
    reduced = data.values_mm - predict_readings_mm(found.shape_mm)[rows]
    fit = api.GLS(reduced, design, sigma=data.cov_mm2).fit()
    assert fit.params == pytest.approx(np.zeros(5), abs=2e-3)
    assert found.residuals_mm == pytest.approx(fit.resid, abs=2e-3)
    assert found.chi2 == pytest.approx(float(fit.wresid @ fit.wresid), rel=1e-5)
    hat = api.OLS(fit.model.wendog, fit.model.wexog).fit().get_influence().hat_matrix_diag
    # The trace of the whitened hat matrix and that of Q_v P are complements.
    assert found.redundancy.sum() == pytest.approx(len(rows) - hat.sum())


def test_an_unknown_slip_takes_the_whole_error_of_its_reading():
    off = adjust(observed({"width_top": 25.4}), slips=[0])
    assert off.chi2 == pytest.approx(0.0, abs=1e-6)
    assert off.dof == 10
    assert adjust(observed({"width_top": 25.4})).p < 1e-9


def test_readings_of_a_foot_more_still_converge():
    found = adjust(observed({"height_left": 304.8}), slips=[3])
    assert found.shape_mm == pytest.approx(SHAPE, abs=0.05)


def test_sides_cannot_vanish_however_wrong_the_readings():
    found = adjust(observations({"width_top": 1000.0, "height_left": 1000.0, "diagonal_down": 101.0}, np.eye(3)))
    assert np.all(found.shape_mm[:4] >= 203.2)


def test_nothing_given_or_no_room_for_the_stations_is_no_adjustment():
    assert observations({}, np.zeros((0, 0))) is None
    assert observations({"width_top": 120.0, "height_left": 900.0}, np.eye(2)) is None


def test_the_bow_is_shared_by_tape_and_photo_and_cancels_between_them():
    # design.md: one bow a side, sd 3 mm; two sides touch a reading.
    cov = observed().cov_mm2
    i, j = STATIONS.index("width_middle"), 8 + STATIONS.index("width_middle")
    assert cov[i, j] == pytest.approx(2 * BOW_U_MM**2 + 0.7**2)  # design.md: brick 0.7 mm
    difference = cov[i, i] + cov[j, j] - 2 * cov[i, j]
    assert difference == pytest.approx(TAPE[1, 1] + PHOTO[1, 1], abs=1e-3)


def test_readings_of_one_tape_keep_what_they_have_in_common():
    # Width at the top and height at the left share the zero and the scale of the tape, and no bow to speak of.
    assert observed().cov_mm2[0, 3] == pytest.approx(TAPE[0, 3], abs=1e-9)
    assert TAPE[0, 3] > 0.1


def test_a_photo_of_straight_clicked_lines_has_a_covariance_that_can_be_inverted():
    # Three widths between two straight lines: the middle one is their mean, the covariance singular.
    straight = jacobian_by_hand(SHAPE) @ np.diag([4.0, 4.0, 4.0, 4.0, 1.0]) @ jacobian_by_hand(SHAPE).T
    readings = dict(zip(STATIONS, SOUND, strict=True))
    found = adjust(observations(readings, TAPE, SOUND, straight))
    assert np.all(np.isfinite(found.normal))
    assert found.dof == 11
