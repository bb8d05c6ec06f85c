"""A picture saved anew says nothing new. Oracle: the same picture alone; a true second view does add (design)."""

import numpy as np
import pytest
from PIL import Image

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.exif import exif_block
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from vision.estimate import estimate_opening
from vision.request import SIDES, CheckBar, OpeningRequest, PhotoRequest, Quantity

WIDTH, HEIGHT = 1152, 864
PAGES = (Sheet(0, (-560.0, -130.0), 1.2), Sheet(1, (370.0, -90.0), -0.7))


def shot(x, yaw):
    R, t = pose(np.array([x, -60.0, 1500.0]), yaw, -2.0, 0.5)
    camera = Camera(WIDTH, HEIGHT, film_focal_px(26, WIDTH, HEIGHT), 578.0, 430.0, 0.015, -0.003, R, t, 26)
    sides = smooth_sides(np.array([[-302.0, -400], [300, -401], [301, 400], [-300, 402]]))
    return render(Scene("v", camera, Opening(sides), sheets=PAGES, wall=Wall("render"), oversample=1))


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """Return requests of a photo, of it saved anew, of it made smaller, and of another view."""
    folder, asked = tmp_path_factory.mktemp("views"), []
    for name, x, yaw in (("a", 40.0, 1.0), ("b", 420.0, 15.0)):
        rgb, truth = shot(x, yaw)
        corners = np.array(truth["corners_px"])
        picture = Image.fromarray(rgb)
        copies = [("", 1.0, 95)] if name == "b" else [("", 1.0, 95), ("-anew", 1.0, 75), ("-small", 0.75, 85)]
        for end, scale, quality in copies:
            path = folder / f"{name}{end}.jpg"
            picture.resize((int(WIDTH * scale), int(HEIGHT * scale))).save(
                path, quality=quality, exif=exif_block(26, 1)
            )
            asked.append(
                PhotoRequest(path, corners_px=scale * (corners + 0.5) - 0.5, trace=False, click_px=scale * 0.5)
            )
    return asked


def u_of(*asked):
    offset = dict.fromkeys(SIDES, Quantity(0.0, 0.3))
    bars = CheckBar(Quantity(150, 0.1), Quantity(200, 0.1))
    found = estimate_opening(OpeningRequest(asked, "render", check_bar=bars, edge_offset=offset))
    return np.sqrt(np.diag(found.cov_mm2))[:8]


@pytest.mark.parametrize("copy", [1, 2])
def test_a_picture_saved_anew_or_smaller_makes_nothing_surer(photos, copy):
    surest = np.minimum(u_of(photos[0]), u_of(photos[copy]))
    assert (u_of(photos[0], photos[copy]) >= 0.999 * surest).all()


def test_a_view_from_another_place_makes_it_surer(photos):
    assert (u_of(photos[0], photos[3])[:6] < 0.9 * np.minimum(u_of(photos[0]), u_of(photos[3]))[:6]).all()
