"""Facts about causes that explain nothing. Oracle: chi-square's 99.9 % point (NIST/SEMATECH e-Handbook, 1.3.6.7.4)."""

import math

import numpy as np
import pytest

from sizing.explaining.hypotheses import Other, Scene
from sizing.explaining.slips import load_priors
from sizing.explaining.weighed import explain_readings
from vision.request import NINE

NAMES = NINE[:8]
TRUE = np.array([910.0, 914.0, 920.0, 1172.0, 1168.0, 1167.0, 1486.0, 1484.0])
# What the photo of another line, or of bare wall, measures: far from all of them.
ELSEWHERE = np.array([310.0, 336.0, 290.0, 560.0, 459.0, 520.0, 576.0, 640.0])
SIGNS = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
U_MM = 2.0
# Table of upper critical values, 0.001, eight degrees of freedom.
POINT = 26.125


def first(readings, photo, others=()):
    """Return the first explanation of each reading; u of each is 2 mm, photo and tape together."""
    scene = Scene(
        dict(zip(NAMES, readings.tolist(), strict=True)),
        dict(zip(NINE, [*photo.tolist(), 0.0], strict=True)),
        others=others,
    )
    half = np.eye(8) * U_MM**2 / 2.0
    return {name: ranked[0] for name, ranked in explain_readings(scene, half, half, load_priors()).items()}


def off(chi2):
    """Return (8,) misfits with this chi-square, mm."""
    return SIGNS * U_MM * math.sqrt(chi2 / 8.0)


@pytest.mark.parametrize(("share", "slip"), [(0.97, "wrong-unit"), (1.03, "none-of-these")])
def test_a_slip_of_the_whole_form_is_told_up_to_the_point_of_chi_square_only(share, slip):
    readings = 2.54 * (TRUE + off(share * POINT))
    assert {e.slip for e in first(readings, TRUE).values()} == {slip}


@pytest.mark.parametrize(("share", "slip"), [(0.97, "another-opening"), (1.03, "none-of-these")])
def test_readings_of_another_opening_are_told_only_where_they_are_its_size(share, slip):
    sure = Other("W2", np.append(TRUE, 0.0), np.eye(9) * 1e-6)
    found = first(TRUE + off(share * POINT), ELSEWHERE, (sure,))
    assert {e.slip for e in found.values()} == {slip}


def test_an_outline_on_bare_wall_gives_the_tape_no_slip():
    # Readings of inches; the outline is near a size that 'centimetres' would give, and explains it by 12 u.
    readings = 2.54 * (ELSEWHERE + np.array([24.0, 24.0, 24.0, 2.0, 2.0, 2.0, 10.0, 24.0]))
    found = first(readings, ELSEWHERE)
    assert {e.slip for e in found.values()} == {"none-of-these"}
    assert all(e.probability == pytest.approx(1.0, abs=1e-3) for e in found.values())


def test_one_shift_of_all_readings_is_told_whatever_its_size():
    # 15 mm is far beyond the spread that is guessed for a bent hook: the size is free, the form is what is tested.
    found = first(TRUE + 15.0 + off(8.0), TRUE)
    assert {e.slip for e in found.values()} == {"one-shift"}


def test_a_ratio_of_all_readings_is_not_told_of_the_only_one_that_nothing_else_explains():
    # Any ratio fits one reading. No slip makes these of them (tried by hand).
    factors = np.array([1.787, 1.685, 1.534, 1.781, 1.475, 1.586, 1.333, 1.411])
    found = first(TRUE * factors, TRUE)
    assert {e.slip for e in found.values()} == {"none-of-these"}


@pytest.mark.parametrize(("off_mm", "slip"), [((0.0, 37.0), "one-ratio"), ((31.0, 37.0), "none-of-these")])
def test_a_ratio_is_not_that_of_all_readings_where_two_are_off_otherwise(off_mm, slip):
    # One reading may have a slip of its own beside it. Where more have, 'all' is not so: taste.
    readings = 0.87 * TRUE + np.array([0.0, 0.0, 0.0, *off_mm, 0.0, 0.0, 0.0])
    assert first(readings, TRUE)["width_top"].slip == slip
