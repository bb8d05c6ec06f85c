"""Sheets found in drawn pictures of known homography."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.drawing import mapped, picture, view
from vision.sheets import sheet
from vision.sheets.markers import apply_homography, find_sheets

SLANT = (2e-4, -1.5e-4)
CORNERS = np.array([[0, 0], [180, 0], [180, 240], [0, 240.0]])


@pytest.fixture(scope="module")
def plain():
    h = view((400.3, 320.6), 2.0, 7.0, SLANT)
    return h, picture([(1, h)])


def test_saddles_lie_within_a_tenth_of_a_pixel(plain):
    h, grey = plain
    (found,) = find_sheets(grey)
    assert (found.letter, found.markers) == (1, 6)
    assert found.saddles_mm == pytest.approx(sheet.saddles_mm())
    assert np.abs(found.saddles_px - mapped(h, found.saddles_mm)).max() < 0.1


def test_the_homography_places_the_corners_of_the_pattern_within_a_quarter_pixel(plain):
    h, grey = plain
    (found,) = find_sheets(grey)
    assert np.abs(apply_homography(found.homography, CORNERS) - mapped(h, CORNERS)).max() < 0.25


@pytest.mark.parametrize("seed", range(4))
def test_saddles_show_no_offset_over_many_places(seed):
    """A shift of half a pixel, as of older detectors (facts 1), would show at once."""
    at = np.random.default_rng(seed).uniform(-0.5, 0.5, 2)
    h = view(np.array([250, 250]) + at, 1.5, 90 * seed + 3.0, SLANT)
    (found,) = find_sheets(picture([(0, h)], (500, 500), seed=seed))
    error = found.saddles_px - mapped(h, found.saddles_mm)
    assert np.abs(error.mean(0)).max() < 0.05
    assert np.sqrt((error**2).mean()) < 0.1


def test_a_small_sheet_of_16_pixels_a_square_is_found():
    h = view((200.2, 150.4), 16 / 60, 2.0)
    (found,) = find_sheets(picture([(3, h)], (400, 300), fine=10, psf=0.5, noise=0.002))
    assert found.letter == 3
    assert np.abs(apply_homography(found.homography, CORNERS) - mapped(h, CORNERS)).max() < 1.5


def test_a_sheet_half_in_shadow_is_found_whole():
    h = view((400.3, 320.6), 2.0, 7.0, SLANT)
    light = np.where(np.arange(800) < 400, 1.0, 0.22)[None, :]
    (found,) = find_sheets(picture([(2, h)], light=light))
    assert found.letter == 2
    assert len(found.saddles_px) == 6
    assert np.sqrt(((found.saddles_px - mapped(h, found.saddles_mm)) ** 2).mean()) < 0.15


def test_a_sheet_partly_hidden_is_found_by_what_is_left(plain):
    h, grey = plain
    hidden = grey.copy()
    hidden[:, 440:] = 90
    (found,) = find_sheets(hidden)
    assert found.letter == 1
    assert 2 <= found.markers < 6
    assert np.abs(apply_homography(found.homography, CORNERS) - mapped(h, CORNERS)).max() < 3


def test_a_single_marker_still_says_where_the_sheet_is(plain):
    h, grey = plain
    hidden = np.full_like(grey, 90)
    a, b = mapped(h, sheet.marker_corners_mm(2) + 9 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))[[0, 2]].astype(
        int
    )
    hidden[a[1] : b[1], a[0] : b[0]] = grey[a[1] : b[1], a[0] : b[0]]
    (found,) = find_sheets(hidden)
    assert found.markers == 1
    middle = np.array([[90.0, 120.0]])
    assert np.abs(apply_homography(found.homography, middle) - mapped(h, middle)).max() < 25


def test_the_same_letter_twice_gives_two_sightings():
    left, right = view((220, 330), 1.4, 3.0), view((580, 310), 1.4, -5.0)
    found = find_sheets(picture([(0, left), (0, right)]))
    assert [s.letter for s in found] == [0, 0]
    places = sorted(apply_homography(s.homography, np.array([[90.0, 120.0]]))[0, 0] for s in found)
    assert places == pytest.approx([220, 580], abs=0.5)


def test_two_letters_are_told_apart_and_the_larger_comes_first():
    found = find_sheets(picture([(0, view((220, 330), 1.0)), (3, view((560, 310), 1.8))]))
    assert [s.letter for s in found] == [3, 0]


def test_a_large_photo_is_searched_small_and_refined_at_full_size():
    h = view((1200.4, 450.2), 2.2, 4.0)
    (found,) = find_sheets(picture([(0, h)], (2400, 900), fine=2))
    assert np.abs(found.saddles_px - mapped(h, found.saddles_mm)).max() < 0.15


def test_a_sheet_running_out_of_the_photo_keeps_the_saddles_inside():
    h = view((750.0, 320.0), 2.0)
    (found,) = find_sheets(picture([(0, h)]))
    assert 0 < len(found.saddles_px) < 6
    assert (found.saddles_px[:, 0] < 800).all()


def test_a_wall_without_sheets_has_none():
    rng = np.random.default_rng(1)
    assert find_sheets(cv2.GaussianBlur(rng.integers(0, 256, (300, 400)).astype(np.uint8), (0, 0), 1.5)) == ()


def test_markers_of_other_boards_are_left_alone():
    board = cv2.aruco.CharucoBoard((3, 4), 60, 45, sheet.dictionary(), np.arange(6) + 30)
    assert find_sheets(cv2.copyMakeBorder(board.generateImage((360, 480)), 40, 40, 40, 40, 0, value=255)) == ()


def test_four_points_fix_the_homography_of_the_oracle():
    """Derived two ways: (0,0),(100,0),(100,100),(0,100) to (10,20),(110,10),(120,130),(0,100)."""
    h = np.array([[0.672340426, -0.1, 10], [-0.129787234, 0.658156028, 20], [-0.002978723, -0.001418440, 1]])
    exact = cv2.getPerspectiveTransform(
        np.float32([[0, 0], [100, 0], [100, 100], [0, 100]]),
        np.float32([[10, 20], [110, 10], [120, 130], [0, 100]]),
    )
    assert exact == pytest.approx(h, abs=1e-9)
    assert apply_homography(exact, np.array([[50.0, 50], [25, 75]])) == pytest.approx(
        np.array([[49.5, 59.5], [23.571429, 80.714286]]), abs=1e-6
    )


@pytest.mark.parametrize("seed", range(5))
def test_four_evenly_spaced_points_keep_their_cross_ratio_of_four_thirds(seed):
    """Derived: (AC BD) / (BC AD) = 4/3 in any view."""
    h = view((3, 4), 1.7, 30.0 * seed, np.random.default_rng(seed).uniform(-1e-3, 1e-3, 2))
    a, b, c, d = apply_homography(h, np.array([[10.0, 20], [40, 60], [70, 100], [100, 140]]))

    def far(p, q):
        return np.linalg.norm(p - q)

    assert far(a, c) * far(b, d) / (far(b, c) * far(a, d)) == pytest.approx(4 / 3, abs=1e-9)
