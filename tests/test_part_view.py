"""A wide opening of which each photo shows one end, on rendered scenes with their exact truth."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.exif import exif_block
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from tests.views import camera_at, photo_of
from vision.errors import RequestError
from vision.estimate import estimate_opening
from vision.request import NINE, CheckBar, Estimate, NotMeasured, OpeningRequest, PhotoRequest, Quantity
from vision.sides.part_view import hides_a_corner, trace_part

SLIDER = np.array([[-1200.0, -500], [1200, -502], [1201, 500], [-1201, 501]])
WIDTH, HEIGHT = 1280, 960
BAR = CheckBar(Quantity(150.0, 0.05), Quantity(200.0, 0.05))
SIDES = ("head", "right", "sill", "left")
PAGES = (Sheet(0, (-1480.0, -130.0)), Sheet(1, (-90.0, 560.0)), Sheet(2, (1290.0, -90.0)))


def seen_from(x, yaw):
    R, t = pose(np.array([x, 60.0, 1900.0]), yaw, 0.0, 0.5)
    f = film_focal_px(26, WIDTH, HEIGHT)
    camera = Camera(WIDTH, HEIGHT, f, WIDTH / 2, HEIGHT / 2, 0.01, -0.002, R, t, 26)
    return Scene("part", camera, Opening(smooth_sides(SLIDER)), sheets=PAGES, wall=Wall("render"), oversample=1)


@pytest.fixture(scope="module")
def ends(tmp_path_factory):
    """Return the photo requests of both ends and the truth."""
    folder = tmp_path_factory.mktemp("ends")
    asked = []
    for name, x, yaw in (("left", -650.0, 0.0), ("right", 650.0, 0.0)):
        rgb, truth = render(seen_from(x, yaw))
        path = folder / f"{name}.jpg"
        Image.fromarray(rgb).save(path, "JPEG", quality=94, exif=exif_block(26, 1))
        corners = np.asarray(truth["corners_px"], float)
        outside = (corners < 0).any(1) | (corners > [WIDTH - 1, HEIGHT - 1]).any(1)
        corners[outside] = np.nan
        asked.append(PhotoRequest(path, corners_px=corners))
    return asked, truth


def request(photos):
    return OpeningRequest(tuple(photos), "render", check_bar=BAR, edge_offset=dict.fromkeys(SIDES, Quantity(0.0, 0.3)))


def test_each_photo_shows_two_corners(ends):
    assert [int(np.isfinite(p.corners_px).all(1).sum()) for p in ends[0]] == [2, 2]
    assert all(hides_a_corner(p.corners_px) for p in ends[0])


def test_two_ends_with_a_sheet_in_both_give_the_whole_within_what_is_claimed(ends):
    asked, truth = ends
    found = estimate_opening(request(asked))
    assert isinstance(found, Estimate)
    error = found.values_mm - np.array([truth["measures_mm"][n] for n in NINE])
    U95 = 2 * np.sqrt(np.diag(found.cov_mm2))
    assert (np.abs(error[:8]) < 1.3 * U95[:8]).all()
    assert U95[:3].max() < 15
    assert [len(photo.sides_px) for photo in found.photos] == [3, 3]  # to be looked at: the sides in view as traced


def test_one_end_alone_is_not_measured_and_says_what_to_take(ends):
    found = estimate_opening(request(ends[0][:1]))
    assert isinstance(found, NotMeasured)
    assert found.code == "parts-not-joined"
    assert "overlap" in found.why


def test_no_corner_in_view_is_refused():
    with pytest.raises(RequestError, match="no corner"):
        trace_part(np.zeros((9, 9, 3), np.uint8), None, np.full((4, 2), np.nan), 3.0, {}, "render", "front")


@pytest.mark.parametrize("down_px", range(0, 30, 4))
def test_the_lower_half_of_a_door_is_traced_where_the_wall_s_lines_leave_the_picture_s_rim_at_once(down_px):
    """Lines of the wall that rise from the rim of the picture: none of the sides in view runs there."""
    photo = photo_of(camera_at(0, 0, 2500), [("sheet A", -830.0, 30.0, 0.0)], np.random.default_rng(1))
    corners = photo.corners_px + np.array([0, down_px])
    corners[:2] = np.nan
    rising = replace(photo.solved.adjusted.state, wall=np.array([-0.5, 0.0]))
    white = np.full((3024, 4032, 3), 255, np.uint8)
    found = trace_part(white, rising, corners, 3.0, dict.fromkeys(SIDES, 0.0), "render", "front")
    assert set(found) == {"left", "right", "sill"}
