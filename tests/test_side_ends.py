"""Facts about where a side ends, on drawn corners whose arris is known exactly. Oracles: geometry; SciPy's t."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from vision.camera import Camera
from vision.sides.reweighed import lever_mm
from vision.sides.side_ends import SideEnd, side_end, weighed_by_ends
from vision.sides.sill_ghosts import Ghost
from vision.sides.tracing import _u_unseen

WALL, SOFFIT = 0.5, 0.05


def drawn_corner(side, slant):
    """Return camera and photo (300, 300, 3) at 1 mm/px: wall, dark soffit, a reveal as light as the wall.

    The opening's corner lies at (150, 150) px; soffit and reveal part along a line that runs `slant` px inward for
    each px down. Drawn at 8 samples a pixel each way and averaged, which is a pixel's own blur exactly.
    """
    n = 8
    y, x = (np.mgrid[0 : 300 * n, 0 : 300 * n] + 0.5) / n - 0.5
    inward = (x - 150) * (1 if side == "left" else -1)
    light = np.where((y > 150) & (inward > slant * (y - 150)), SOFFIT, WALL)
    light = light.reshape(300, n, 300, n).mean(axis=(1, 3))
    srgb = 1.055 * light ** (1 / 2.4) - 0.055  # IEC 61966-2-1
    photo = np.repeat(np.round(255 * srgb).astype(np.uint8)[..., None], 3, axis=2)
    return Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 1000.0, 150.0, 150.0), photo


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("slant", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("off", [-2.0, 0.0, 3.0])
def test_the_arris_is_told_where_wall_and_reveal_are_of_one_tone(side, slant, off):
    camera, photo = drawn_corner(side, slant)
    corner = np.array([off if side == "left" else -off, 0.0])  # that far inside of the true one
    end = side_end(photo, camera, corner, np.array([1.0, 0.0]), "head", 0.0, 0.5, far=side == "right")
    assert end is not None
    assert_allclose(end.offset_mm, off, rtol=0, atol=0.3)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_jamb_ends_at_the_sill_where_reveal_and_sill_part(side):
    # the picture of a head's left end, turned by a quarter: its soffit is then the reveal, its reveal the sill
    _, photo = drawn_corner("left", 0.6)
    camera = Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 1000.0, 150.0, 149.0)
    turned = np.ascontiguousarray(np.rot90(photo))
    if side == "right":
        turned = np.ascontiguousarray(turned[:, ::-1])
        camera = Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 1000.0, 149.0, 149.0)
    end = side_end(turned, camera, np.array([0.0, -2.0]), np.array([0.0, 1.0]), side, 0.0, 1.1, far=True)
    assert end is not None
    assert_allclose(end.offset_mm, 2.0, rtol=0, atol=0.3)


def test_where_nothing_changes_along_the_head_nothing_is_told():
    camera, photo = drawn_corner("left", 0.0)
    args = (photo, camera, np.array([70.0, -60.0]), np.array([1.0, 0.0]), "head", 0.0, 0.5)
    assert side_end(*args, far=False) is None


def test_the_error_of_an_end_is_students_t_and_now_and_then_anything():
    at = np.array([-9.0, -1.0, 0.0, 2.5])
    expected = 0.95 * stats.t.pdf((1.5 - at) / 0.8, 3) / 0.8 + 0.05 / 44  # 22 mm either way are searched
    assert_allclose(SideEnd(1.5, 0.8, 0.05).density(at), expected, rtol=1e-12)


def weighed(offset, lines=(0.0,), weights=(0.99,), unseen=0.03):
    at = np.column_stack([lines, lines])
    return weighed_by_ends(at, np.array(weights), (SideEnd(offset, 0.7), None), unseen, (1.0, 12.0))


def test_doubt_of_a_line_grows_with_the_distance_of_the_end():
    shares = [weighed(off)[1].probability for off in (0.0, 1.2, 2.0, 3.0, 5.0)]
    assert shares == sorted(shares)
    assert shares[1] < 0.03  # within the uncertainty of the reading: less than before it
    assert shares[-1] > 0.4


def test_an_unseen_arris_lies_where_the_end_says_as_well_as_that_knows():
    unseen = weighed(6.0)[1]
    assert_allclose(unseen.outward_mm, 6.0, rtol=0, atol=0.3)
    assert 0.7 < unseen.u_mm < 2.0


def test_two_lines_are_told_apart_and_a_faint_single_one_is_confirmed():
    weights, _ = weighed(0.2, (0.0, -10.8), (0.56, 0.43))
    assert weights[0] > 0.97
    weights, _ = weighed(0.2, weights=(0.6,))
    assert weights[0] > 0.9


def test_ends_at_both_corners_that_agree_outweigh_a_line_that_lies_elsewhere():
    def doubt(*offsets):
        readings = [SideEnd(x, 1.1) for x in offsets]
        pair = (readings[0], readings[1] if len(readings) > 1 else None)
        return weighed_by_ends(np.zeros((1, 2)), np.array([0.99]), pair, 0.05, (2.5, 20.0))[1].probability

    assert doubt(5.0) < doubt(5.0, 5.0)
    assert doubt(5.0, 5.0) > 0.85
    assert doubt(5.0, -0.2) < 0.1  # of two that contradict each other one is astray


def test_ends_that_may_be_those_of_the_foot_do_not_take_the_arris_away():
    def share(often):
        pair = (SideEnd(-5.0, 1.1), SideEnd(-5.3, 1.1))
        at = np.array([[0.0, 0.0], [-5.0, -5.0]])
        return weighed_by_ends(at, np.array([0.94, 0.05]), pair, 0.0, (2.5, 20.0), (often, -15.0, 0.0))[0][0]

    assert share(0.0) < 0.05
    assert share(0.1) > 5 * share(0.0)


def test_in_a_coarse_photo_no_arris_is_supposed_between_a_line_and_the_reach():
    # 9 mm a pixel: an arris nearer than 2.5 px is the line, which is further than an unseen one may lie
    reading = SideEnd(1.0, 5.0)
    weights, unseen = weighed_by_ends(np.zeros((1, 2)), np.array([0.98]), (reading, None), 0.05, (22.5, 20.0))
    assert np.isfinite(weights).all()
    assert weights[0] > 0.9
    assert unseen.probability == 0.0


@pytest.mark.parametrize("known", ["first", "second", "both"])
def test_an_arris_told_at_one_end_is_least_sure_at_the_other(known):
    # propagation of u along a straight line (JCGM 100, 5.2.2): var(o + s x) = var o + 2 x cov + x^2 var s
    told = SideEnd(0.0, 1.0)
    ends = {"first": (told, None), "second": (None, told), "both": (told, told)}[known]
    half = 500.0
    cov = _u_unseen(Ghost(np.zeros(3), 0.9, 1.0, True, lever_mm(ends, 2 * half)), half)
    first, second = (float(np.sqrt(cov[0, 0] + 2 * x * cov[0, 1] + x**2 * cov[1, 1])) for x in (-half, half))
    if known == "both":
        assert_allclose(first, second, rtol=1e-9)
    else:
        near, far = (first, second) if known == "first" else (second, first)
        assert_allclose(near, 1.0, rtol=1e-6)
        assert_allclose(far, np.hypot(1.0, 2 * 1.5), rtol=1e-6)  # 3 mrad over 1 m
