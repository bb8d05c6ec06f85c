"""Facts about tapes. Oracles: facts.md section 2 (Directive 2014/32/EU annex X, NIST HB 44), examples."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from sizing.tape import TAPES, mpe_mm, readings_cov_mm2, tilt_mm, too_long_mm, u_reading_mm

INCH = 25.4


@pytest.mark.parametrize(
    ("tape", "expected"),
    [
        ("class-1", (0.3, 0.4, 0.5, 0.7)),
        ("class-2", (0.7, 0.9, 1.1, 1.5)),
        ("class-3", (1.3, 1.7, 2.1, 2.9)),
    ],
)
def test_eu_classes_with_a_hook_follow_the_directives_table(tape, expected):
    assert [mpe_mm(1000.0 * m, tape) for m in (1, 2, 3, 5)] == pytest.approx(expected)


def test_a_class_ii_tape_counts_1_2_m_as_two_metres():
    # facts.md example 1.
    assert mpe_mm(1200.0, "class-2") == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("feet", "inches"),
    [(5, 1 / 32), (6, 1 / 32), (7, 1 / 16), (30, 1 / 16), (40, 1 / 8), (80, 3 / 16), (100, 1 / 4)],
)
def test_handbook_44_tapes_follow_its_steps(feet, inches):
    # facts.md example 2 and section 2 (HB 44 section 5.52).
    assert mpe_mm(feet * 12 * INCH, "hb44") == pytest.approx(inches * INCH)


def test_beyond_100_feet_the_handbooks_last_step_grows_with_length():
    assert mpe_mm(200 * 12 * INCH, "hb44") == pytest.approx(0.5 * INCH)


@pytest.mark.parametrize("length", [300.0, 1381.0, 2500.0, 6000.0])
def test_an_unknown_tape_is_not_better_than_any_known_one(length):
    assert mpe_mm(length, "unknown") >= max(mpe_mm(length, t) for t in TAPES if t != "laser")


@pytest.mark.parametrize(("length", "off", "expected"), [(1000, 10, 0.050), (1000, 50, 1.249), (914.4, 25.4, 0.353)])
def test_a_tilted_tape_reads_too_long(length, off, expected):
    # facts.md section 2 and example 21.
    assert tilt_mm(length, off) == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize("length", [600.0, 1400.0, 3000.0])
def test_a_sound_reading_is_too_long_by_the_mean_of_tilt_and_sag(length):
    """Oracle: both averaged by quadrature over an end up to 25 mm off and a sag of up to 5 mm in 1 m, all as likely.

    A sagging tape is taken as the parabola of that sag; its length by the integral of sqrt(1 + y'^2).
    """
    tilt = quad(lambda h: math.hypot(length, h) - length, 0, 25)[0] / 25

    def hung(s):
        return 2 * quad(lambda x: math.sqrt(1 + (8 * s * x / length**2) ** 2), 0, length / 2)[0] - length

    sag = quad(hung, 0, 0.005 * length)[0] / (0.005 * length)
    assert too_long_mm(length) == pytest.approx(tilt + sag, rel=2e-3)


def test_the_parts_of_a_readings_uncertainty_add_in_squares():
    # facts.md section 2: class II with hook at 2 m 0.520 mm, 1/16 in mark 0.4583 mm; placing 0.8 mm.
    tilt = (math.hypot(2000.0, 25.0) - 2000.0) / math.sqrt(3)
    expected = math.sqrt(0.5196**2 + 0.4583**2 + 0.8**2 + tilt**2)
    assert u_reading_mm(2000.0, "class-2", INCH / 16, "masonry") == pytest.approx(expected, abs=2e-4)


def test_a_millimetre_tape_on_trim_reads_better_than_an_inch_tape_on_brick():
    assert u_reading_mm(1381.0, "class-2", 1.0, "panel") < u_reading_mm(1381.0, "class-2", None, "masonry")


@pytest.mark.parametrize("tape", TAPES)
def test_readings_of_one_tape_err_together_and_as_much_as_each_alone(tape):
    """Oracle: JCGM 100, 5.2: what is common to several is no smaller for it."""
    lengths = np.array([600.0, 1381.0, 2057.0, 2800.0])
    cov = readings_cov_mm2(lengths, tape, None, "masonry")
    alone = [u_reading_mm(v, tape, None, "masonry") for v in lengths]
    assert np.all(np.linalg.eigvalsh(cov) > 0.0)
    assert np.all(cov[~np.eye(4, dtype=bool)] > 0.0)
    assert np.sqrt(np.diag(cov)) == pytest.approx(np.array(alone), rel=1e-12)


@pytest.mark.parametrize(("tape", "expected"), [("class-2", 0.882), ("class-3", 1.358)])
def test_a_long_reading_is_as_unsure_among_others_as_by_its_class(tape, expected):
    """Derived: 2800 mm, three metres: MPE 1.1 and 2.1 mm over root 3; mark 1/16 in over root 12, placing 0.4, tilt."""
    cov = readings_cov_mm2(np.array([1381.0, 2800.0]), tape, INCH / 16, "siding")
    assert np.sqrt(cov[1, 1]) == pytest.approx(expected, abs=1e-3)
