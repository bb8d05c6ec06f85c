"""Which way up a photo is whose sheets hang on their side: facts on drawn brick walls and on walls without courses."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.drawn_walls import camera, drawn
from vision.photo.exif import ExifFacts
from vision.sheets.markers import Sighting
from vision.wall.which_way_up import level_over_upright, quarters_to_turn

PHONE = ExifFacts(make="Maker", model="One")
NOTHING = ExifFacts()
NO_POINTS = np.zeros((0, 2))


def hung(quarter, middle=(800.0, 600.0), px_per_mm=0.5):
    """Return a sheet seen with its top turned clockwise by so many quarters."""
    c, s = np.cos(quarter * np.pi / 2), np.sin(quarter * np.pi / 2)
    turn = px_per_mm * np.array([[c, -s], [s, c]])
    shift = np.array(middle) - turn @ [90.0, 120.0]
    homography = np.vstack([np.column_stack([turn, shift]), [0, 0, 1]])
    return Sighting(0, homography, NO_POINTS, NO_POINTS, NO_POINTS, NO_POINTS)


@pytest.fixture(scope="module")
def bricks():
    return drawn(camera(), np.random.default_rng(2))


def lying(grey, quarter):
    return np.ascontiguousarray(np.rot90(grey, -quarter))  # clockwise


@pytest.mark.parametrize("exif", [PHONE, NOTHING])
@pytest.mark.parametrize("quarter", [1, 3])
def test_on_a_wall_of_courses_sheets_may_hang_on_their_side(bricks, quarter, exif):
    assert quarters_to_turn(bricks, [hung(quarter)], "masonry", exif) == (0, True)


@pytest.mark.parametrize("exif", [PHONE, NOTHING])
@pytest.mark.parametrize("quarter", [1, 3])
def test_a_photo_whose_courses_stand_on_end_is_turned_by_its_sheets(bricks, quarter, exif):
    grey = lying(bricks, quarter)
    assert quarters_to_turn(grey, [hung(quarter, np.array(grey.shape[::-1]) / 2)], "masonry", exif) == (quarter, True)


def test_level_lines_are_the_longer_ones_by_as_much_whichever_way_the_photo_lies(bricks):
    seen = level_over_upright(bricks, [hung(0)])
    # bricks of 215 x 65 mm: 215 of level edge to 65 of upright, of which the shorter are seen less
    assert seen > np.log(215 / 65)
    assert level_over_upright(lying(bricks, 1), [hung(1, (600.0, 800.0))]) == pytest.approx(-seen, abs=0.1)


@pytest.mark.parametrize(("quarter", "wall"), [(1, "render"), (2, "render"), (2, "masonry")])
def test_where_the_wall_tells_nothing_the_cameras_own_word_is_taken(bricks, quarter, wall):
    assert quarters_to_turn(bricks, [hung(quarter)], wall, PHONE) == (0, False)
    assert quarters_to_turn(bricks, [hung(quarter)], wall, NOTHING) == (quarter, False)
    assert quarters_to_turn(bricks, [hung(quarter)], wall, ExifFacts(orientation=6)) == (0, False)


def test_sheets_that_hang_differently_say_nothing_of_the_photo(bricks):
    assert quarters_to_turn(bricks, [hung(0), hung(1)], "masonry", NOTHING) == (0, True)
    assert quarters_to_turn(bricks, [hung(0)], "masonry", NOTHING) == (0, True)
    assert quarters_to_turn(bricks, [], "masonry", NOTHING) == (0, True)


def rectangle(degrees=0.0, times=1, sheet=False):
    """Return a drawn rectangle four times as wide as high, and a sheet full of upright bars below it if asked for."""
    grey = np.full((800 * times, 1000 * times), 190, np.uint8)
    ends = cv2.boxPoints(((500.0 * times, 250.0 * times), (600.0 * times, 150.0 * times), degrees))
    cv2.fillConvexPoly(grey, np.rint(ends * 16).astype(np.int32), 60, cv2.LINE_AA, shift=4)
    for x in range(440, 560, 20) if sheet else ():
        grey[540 * times : 700 * times, x * times : (x + 10) * times] = 40
    return grey


@pytest.mark.parametrize(("degrees", "told"), [(0.0, np.log(4)), (14.0, np.log(4)), (-14.0, np.log(4)), (30.0, 0.0)])
def test_edges_count_by_their_length_up_to_a_slant_of_20_degrees(degrees, told):
    """A wall seen at a slant; 600 px over 150 px. At 30 degrees they are neither level nor upright."""
    assert level_over_upright(rectangle(degrees), []) == pytest.approx(told, abs=0.1)


@pytest.mark.parametrize("times", [1, 3])
def test_what_is_printed_on_a_sheet_says_nothing_of_the_wall_in_photos_of_any_size(times):
    """Twelve upright edges of 160 px on the sheet would outweigh the 1200 px of level ones."""
    at = [hung(1, (500.0 * times, 620.0 * times), 0.9 * times)]
    assert level_over_upright(rectangle(times=times, sheet=True), at) == pytest.approx(np.log(4), abs=0.1)


@pytest.mark.parametrize("wall", ["masonry", "siding"])
def test_a_wall_whose_level_lines_are_longer_by_a_third_tells_which_way_up_it_is(wall):
    """Photos of such walls show 12 % or more (practice, own renderings); log(4/3) is 0.29."""
    grey = np.full((800, 1000), 190, np.uint8)
    grey[100:400, 300:700] = 60
    assert quarters_to_turn(grey, [hung(1, (500.0, 620.0))], wall, NOTHING) == (0, True)


def test_a_camera_that_gives_its_model_alone_is_a_camera(bricks):
    assert quarters_to_turn(bricks, [hung(1)], "render", ExifFacts(model="One")) == (0, False)
