"""Pictures put together from photos of one opening are refused. Oracle: contract, *Warnings* (`not-one-view`)."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from vision.estimate import estimate_opening
from vision.quality.panorama import joined_with_itself
from vision.request import NotMeasured, OpeningRequest, PhotoRequest

RECTANGLE = np.array([[-350.0, -300], [350, -300], [350, 300], [-350, 300]])
SHEETS = (Sheet(0, (-640.0, -130.0), 1.5), Sheet(1, (450.0, -90.0), -2.0))


def photo(x_mm=30.0, yaw_deg=3.0):
    r, t = pose(np.array([x_mm, -40.0, 1700.0]), yaw_deg, -2.0, 0.5)
    camera = Camera(1024, 768, film_focal_px(26, 1024, 768), 511.5, 383.5, 0.0, 0.0, r, t)
    rgb, truth = render(Scene("t", camera, Opening(smooth_sides(RECTANGLE)), SHEETS, Wall(), oversample=1))
    return rgb, np.array(truth["rough_corners_px"], float)


@pytest.fixture(scope="module")
def one():
    return photo()


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("border", [0, 16])
def test_a_photo_beside_itself_is_seen_to_be_one_twice(one, axis, border):
    grey = one[0][:, :, 1]
    parted = np.pad(grey, border, constant_values=255)
    said = joined_with_itself(np.concatenate([parted, parted], axis=axis))
    assert said is not None
    assert said.code == "not-one-view"
    assert joined_with_itself(grey) is None


def test_two_views_put_side_by_side_are_not_measured(one, tmp_path):
    rgb, corners = one
    Image.fromarray(np.concatenate([rgb, photo(-500.0, -18.0)[0]], axis=1)).save(tmp_path / "p.jpg", quality=92)
    said = estimate_opening(OpeningRequest((PhotoRequest(tmp_path / "p.jpg", corners_px=corners),)))
    assert isinstance(said, NotMeasured)
    assert said.photos[0].error is not None
    assert said.photos[0].error.code == "not-one-view"
