"""Where a wall's courses stop, on drawn views of 5 mm a pixel whose courses are exact waves of light."""

from __future__ import annotations

import numpy as np
import pytest

from vision.finder.wall_mask import WallView
from vision.finder.wall_pattern import _strip, agreement, level_rad, smooth_along, where_courses_stop

HIGH, WIDE, COURSE_PX = 300, 400, 15  # courses of 75 mm
Y, X = np.mgrid[:HIGH, :WIDE].astype(float)


def hung(x, y=150.0):
    """Return the corners (4, 2) px of a sheet of 36 x 48 px about a place."""
    return np.array([[x - 18, y - 24], [x + 18, y - 24], [x + 18, y + 24], [x - 18, y + 24.0]])


SHEETS = (hung(70.0), hung(330.0))
NONE = np.zeros((HIGH, WIDE), np.uint8)


def seen(light):
    """Return the view of a grey wall."""
    lab = np.dstack([light, *np.full((2, HIGH, WIDE), 128.0)]).astype(np.float32)
    return WallView(lab, np.ones((HIGH, WIDE), np.uint8), np.zeros(2))


def courses(low_px=0.0, high=15.0):
    return 120 + high * np.sin(2 * np.pi * (Y - low_px) / COURSE_PX)


@pytest.mark.parametrize("degrees", [-4.0, -1.0, 0.0, 2.5])
def test_the_lean_of_courses_is_that_of_their_edges_and_not_of_the_sheets(degrees):
    """The line y = x tan(a) leans by a; what is printed is closer, far stronger, and leans by -5.5 degrees."""
    light = 120 + 8 * np.sin(2 * np.pi * (Y - X * np.tan(np.radians(degrees))) / COURSE_PX)
    printed = 120 + 120 * np.sin(2 * np.pi * (Y + X * np.tan(np.radians(5.5))) / 8)
    sheets = []
    for x in (100, 300):
        part = np.s_[85:215, x - 75 : x + 75]
        light[part] = printed[part]
        sheets.append(np.array([[x - 75, 85], [x + 75, 85], [x + 75, 215], [x - 75, 215.0]]))
    assert np.degrees(level_rad(seen(light), sheets)) == pytest.approx(degrees, abs=0.3)


def test_columns_agree_with_courses_laid_within_10_mm_and_no_others():
    """Correlation of a wave with itself moved by a part of its length is the cosine of that part (closed formula)."""
    light = courses()
    light[:, 150:180] = courses(2.0)[:, 150:180]  # 10 mm: as courses are laid
    light[:, 190:220] = courses(COURSE_PX / 2)[:, 190:220]  # half a course
    light[:, 230:260] = 90.0  # glass
    agrees, usual = agreement(seen(light), SHEETS, NONE)
    assert usual > 0.9
    of = {
        name: float(np.median(agrees[100:200, a:b])) / usual
        for name, a, b in (("laid so", 155, 175), ("half off", 195, 215), ("glass", 235, 255))
    }
    assert of["laid so"] > 0.95  # 0.67 without the 10 mm
    assert of["half off"] < 0.1  # at the least 10 mm of half a course nearer: cos(2 pi 5.5 / 15) < 0
    assert of["glass"] == pytest.approx(0.0, abs=0.05)


def test_beside_an_opening_with_sheets_above_and_below_courses_are_those_of_the_walls_ends_up_to_its_lintel():
    """What the sheets hang over is the opening, and bricks on end over it; left and right of both the wall goes on."""
    light, other = courses(), NONE.copy()
    light[70:120, 120:280] = 120 + 15 * np.sin(2 * np.pi * X / COURSE_PX)[70:120, 120:280]  # on end, 250 mm high
    light[120:200, 130:270], other[120:200, 130:270] = 60.0, 1
    agrees, usual = agreement(seen(light), (hung(200.0, 35.0), hung(200.0, 265.0)), other)
    assert usual > 0.9
    for rows in (slice(65, 120), slice(120, 200)):
        for columns in (slice(10, 115), slice(285, 390)):
            assert float(np.percentile(agrees[rows, columns], 5)) > 0.95 * usual


def test_what_shows_courses_thirty_times_fainter_than_the_wall_is_plain():
    """A reflection of them, or what is left by compression; L of 3 is hardly seen (common practice, no source)."""
    light = courses()
    light[:, 170:240] = courses(high=0.5)[:, 170:240]
    stopped = where_courses_stop(seen(light), SHEETS, NONE)
    assert stopped[60:240, 178:232].all()
    assert not stopped[60:240, 120:160].any()


def test_a_wall_without_courses_is_told_by_its_colour_alone():
    light = 120 + np.random.default_rng(3).normal(0, 8, (HIGH, WIDE))
    other = NONE.copy()
    other[100:200, 180:220] = 1
    assert agreement(seen(light), SHEETS, other) is None
    assert np.array_equal(where_courses_stop(seen(light), SHEETS, other), other)


def test_what_varies_less_than_half_as_much_as_the_wall_along_its_rows_is_smooth():
    """Standard deviations of independent draws; 30 of them give it to 13 % (1 / sqrt(2 n))."""
    spread = np.full((HIGH, WIDE), 8.0)
    spread[:, 160:200], spread[:, 240:280] = 2.0, 6.0
    light = 120 + spread * np.random.default_rng(4).normal(0, 1, (HIGH, WIDE))
    smooth = smooth_along(seen(light), SHEETS, NONE)
    assert smooth[:, 176:184].mean() > 0.95
    assert smooth[:, 256:264].mean() < 0.1
    assert smooth[:, 120:140].mean() < 0.01


def test_courses_are_learnt_mostly_on_the_side_of_a_sheet_that_is_away_from_the_others():
    """Between sheets lies the opening: a whole width of the sheet is taken outside, a quarter inside."""
    assert _strip(hung(100.0), -1.0) == slice(82 - 36, 118 + 9 + 1)
    assert _strip(hung(300.0), 1.0) == slice(282 - 9, 318 + 36 + 1)
    assert _strip(hung(200.0), 0.0) == slice(182 - 36, 218 + 36 + 1)  # alone: either side
