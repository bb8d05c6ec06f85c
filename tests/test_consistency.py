"""Facts about readings against each other. Oracles: design.md (pairs), plane geometry, simulation."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from sizing.consistency import check_readings, inconsistent_group, predict_readings_mm
from sizing.tape import readings_cov_mm2
from vision.request import NINE

NAMES = NINE[:8]
INCH = 25.4
SHAPE = np.array([1380.0, 1384.0, 1520.0, 1523.0, 10.0])


def readings(shape=SHAPE, **off):
    sound = dict(zip(NAMES, predict_readings_mm(shape).tolist(), strict=True))
    return {n: v + off.get(n, 0.0) for n, v in sound.items()}


def test_a_rectangle_has_equal_readings_and_the_diagonal_of_pythagoras():
    found = predict_readings_mm(np.array([900.0, 900.0, 1200.0, 1200.0, 0.0]))
    assert found == pytest.approx([900.0] * 3 + [1200.0] * 3 + [1500.0] * 2)


def test_diagonals_of_a_leaning_opening_differ_by_four_w_lean():
    # facts.md section 4: d1^2 - d2^2 = 4 W H sin(theta), H sin(theta) the lean; to the right `up` is longer.
    found = predict_readings_mm(np.array([914.4, 914.4, 1524.0, 1524.0, 13.3]))
    assert found[7] ** 2 - found[6] ** 2 == pytest.approx(4 * 914.4 * 13.3, rel=1e-6)


def test_a_tapered_leaning_opening_is_consistent():
    found = check_readings(readings(), "class-2", None, "masonry")
    assert (found.tested, found.dof, found.inconsistent, found.group) == (True, 3, False, ())
    assert found.p > 0.999


@pytest.mark.parametrize(
    ("slipped", "group"),
    [
        ("width_top", ("width_top", "width_bottom")),
        ("width_bottom", ("width_top", "width_bottom")),
        ("width_middle", ("width_middle",)),
        ("height_right", ("height_left", "height_right")),
        ("diagonal_down", ("diagonal_down", "diagonal_up")),
    ],
)
def test_a_burned_inch_is_found_and_the_pair_that_cannot_be_told_apart_is_named(slipped, group):
    # design.md, The cross-check: without a photo top and bottom width are such a pair (correlation 1.00).
    found = check_readings(readings(**{slipped: INCH}), "class-2", None, "masonry")
    assert found.inconsistent
    assert found.group == group


def test_without_diagonals_a_slipped_width_names_all_three_widths():
    given = {n: v for n, v in readings(width_top=INCH).items() if not n.startswith("diagonal")}
    found = check_readings(given, "class-2", None, "masonry")
    assert found.group == ("width_top", "width_middle", "width_bottom")


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"width_top": 1381.0, "height_left": 1524.0},
        {"diagonal_up": 2050.0},
        {"width_top": 120.0, "width_middle": 150.0, "width_bottom": 120.0},
    ],
)
def test_readings_without_a_condition_between_them_are_not_tested(given):
    found = check_readings(given, "class-2", None, "masonry")
    assert (found.tested, found.inconsistent) == (False, False)


def test_sound_readings_fail_at_the_level_of_the_test():
    # Simulation from the tape model with straight sides and sharp corners: the test is then on the safe side.
    rng = np.random.default_rng(5)
    sound = np.array(list(readings().values()))
    factor = np.linalg.cholesky(readings_cov_mm2(sound, "class-2", None, "masonry"))
    failed = 0
    for _ in range(400):
        y = dict(zip(NAMES, sound + factor @ rng.normal(size=8), strict=True))
        failed += check_readings(y, "class-2", None, "masonry").inconsistent
    assert failed <= 3  # P(more than 3 of 400 at 0.001) = 0.0008, binomial


def test_chi_square_has_the_mean_of_its_conditions_when_bow_and_corners_vary_as_assumed():
    rng = np.random.default_rng(6)
    sound = np.array(list(readings().values()))
    extra = np.array([0.0, 2.0, 0.0, 0.0, 2.0, 0.0, 2.0, 2.0])
    factor = np.linalg.cholesky(readings_cov_mm2(sound, "class-2", None, "masonry") + np.diag(extra**2))
    chi2 = [
        check_readings(
            dict(zip(NAMES, sound + factor @ rng.normal(size=8), strict=True)), "class-2", None, "masonry"
        ).chi2
        for _ in range(400)
    ]
    # Mean 3, sd of the mean sqrt(6 / 400) = 0.12.
    assert np.mean(chi2) == pytest.approx(3.0, abs=4 * math.sqrt(6 / 400))


def opening_read(graduation):
    rows = [
        SimpleNamespace(
            name=n,
            length=SimpleNamespace(mm=v),
            tape="class-1",
            graduation_mm=graduation if n == "width_top" else 1.0,
        )
        for n, v in readings(width_top=16.0).items()
    ]
    return SimpleNamespace(readings=rows, wall="masonry")


def test_an_opening_is_tested_by_its_coarsest_tape():
    assert inconsistent_group(opening_read(1.0)) == ("width_top", "width_bottom")
    assert inconsistent_group(opening_read(INCH / 2)) == ()


def test_an_opening_without_readings_is_not_inconsistent():
    assert inconsistent_group(SimpleNamespace(readings=[], wall="masonry")) == ()
