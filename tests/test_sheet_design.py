"""The design of the sheet against OpenCV's own drawing of the board (outside oracle: cv2.aruco)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.sheets.sheet import (
    CHECK_BAR_ACROSS_MM,
    CHECK_BAR_ALONG_MM,
    HEIGHT_MM,
    WIDTH_MM,
    black_cells_mm,
    marker_corners_mm,
    saddles_mm,
)

PX_PER_MM = 4  # squares of 240 px and marker cells of 30 px: every edge falls between two pixels
IDS = [range(0, 6), range(6, 12), range(12, 18), range(18, 24)]  # contract, The sheet: A to D


def _board(letter):
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return cv2.aruco.CharucoBoard((3, 4), 60.0, 45.0, words, np.array(IDS[letter]))


def _painted(letter):
    """Paint the cells; the second picture counts how often each pixel was painted."""
    times = np.zeros((240 * PX_PER_MM, 180 * PX_PER_MM), int)
    for x0, y0, x1, y1 in np.rint(black_cells_mm(letter) * PX_PER_MM).astype(int):
        times[y0:y1, x0:x1] += 1
    return np.where(times > 0, 0, 255).astype(np.uint8), times


@pytest.mark.parametrize("letter", range(4))
def test_the_painted_cells_are_opencvs_board_pixel_for_pixel(letter):
    ours, _ = _painted(letter)
    theirs = _board(letter).generateImage((180 * PX_PER_MM, 240 * PX_PER_MM), marginSize=0, borderBits=1)
    np.testing.assert_array_equal(ours, theirs)


@pytest.mark.parametrize("letter", range(4))
def test_no_two_black_cells_overlap_and_none_leaves_the_pattern(letter):
    _, times = _painted(letter)
    assert times.max() == 1
    cells = black_cells_mm(letter)
    assert (cells[:, :2] < cells[:, 2:]).all()
    assert cells.min() == 0.0
    assert tuple(cells[:, 2:].max(axis=0)) == (180.0, 240.0)


@pytest.mark.parametrize("letter", range(4))
def test_each_marker_is_seen_where_the_design_says_it_is(letter):
    # A white rim is needed for the detector; half a pixel, since pixel centres lie at integers.
    rim = 40
    picture = cv2.copyMakeBorder(_painted(letter)[0], rim, rim, rim, rim, cv2.BORDER_CONSTANT, value=255)
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(words).detectMarkers(picture)
    assert sorted(np.ravel(ids)) == list(IDS[letter])
    for found, index in zip(corners, np.ravel(ids), strict=True):
        mm = (np.reshape(found, (4, 2)) - rim + 0.5) / PX_PER_MM
        # OpenCV's unrefined corners lie on pixels, up to one pixel inward (facts.md, section 1).
        np.testing.assert_allclose(mm, marker_corners_mm(int(index) % 6), rtol=0, atol=1.5 / PX_PER_MM)


def test_markers_and_saddles_stand_where_the_board_of_the_contract_has_them():
    # First marker: column 1 of row 0, a rim of (60 - 45) / 2 mm; saddles 60 mm apart, row by row.
    assert marker_corners_mm(0).tolist() == [[67.5, 7.5], [112.5, 7.5], [112.5, 52.5], [67.5, 52.5]]
    assert saddles_mm().tolist() == [[60, 60], [120, 60], [60, 120], [120, 120], [60, 180], [120, 180]]
    assert (WIDTH_MM, HEIGHT_MM) == (180.0, 240.0)
    assert (CHECK_BAR_ACROSS_MM, CHECK_BAR_ALONG_MM) == (150.0, 200.0)


@pytest.mark.parametrize("letter", range(4))
def test_two_square_fields_meet_diagonally_at_every_saddle(letter):
    painted, _ = _painted(letter)
    for x, y in np.rint(saddles_mm() * PX_PER_MM).astype(int):
        around = painted[[y - 2, y - 2, y + 1, y + 1], [x - 2, x + 1, x + 1, x - 2]]
        assert sorted(around) == [0, 0, 255, 255]
        assert around[0] == around[2]


def test_the_design_cannot_be_changed_by_accident():
    for shared in (black_cells_mm(0), marker_corners_mm(0), saddles_mm()):
        with pytest.raises(ValueError, match="read-only"):
            shared[0] = 1.0
