"""Where an opening lies of which corners are out of view, and that a reference beside it is found all the same."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from vision.pages.of_photo import solve_page_photo
from vision.pages.opening_roughly import roughly
from vision.priors import camera_prior
from vision.request import PhotoRequest, Reference
from vision.solving.solved import Solved

PHOTO = (640, 480)
SHOWN = np.array([[200.0, 100], [500, 100], [500, 400], [200, 400]])
LETTER = (215.9, 279.4)


@pytest.mark.parametrize("k", range(4))
def test_a_corner_out_of_view_is_put_opposite_the_three_that_are_seen(k):
    """A parallelogram has the fourth corner at a + c - b."""
    corners = SHOWN.copy()
    corners[k] = np.nan
    assert roughly(corners, PHOTO) == pytest.approx(SHOWN)


@pytest.mark.parametrize(
    ("out", "places"),
    [
        ((0, 1), [[200, 0], [500, 0]]),
        ((1, 2), [[639, 100], [639, 400]]),
        ((2, 3), [[500, 479], [200, 479]]),
        ((3, 0), [[0, 400], [0, 100]]),
    ],
)
def test_two_corners_out_of_view_are_put_on_the_border_beyond_the_side_that_is_seen(out, places):
    corners = SHOWN.copy()
    corners[list(out)] = np.nan
    assert roughly(corners, PHOTO)[list(out)] == pytest.approx(np.array(places, float), abs=5.01)  # half a step


def test_nothing_is_supposed_where_no_side_is_seen():
    corners = SHOWN.copy()
    corners[[0, 2]] = np.nan
    assert roughly(corners, PHOTO) is None
    assert roughly(None, PHOTO) is None


@pytest.mark.parametrize("out", [(0,), (1, 2)])
def test_a_page_that_nobody_pointed_out_is_found_beside_an_opening_that_the_photo_cuts(out):
    width, height = 1024, 768
    r, t = pose(np.array([-500.0, -40.0, 1500.0]), 3.0, -2.0, 0.5)
    f = film_focal_px(26, width, height)
    view = Camera(width, height, f, (width - 1) / 2, (height - 1) / 2, 0.0, 0.0, r, t)
    opening = Opening(smooth_sides(np.array([[-350.0, -300], [350, -300], [350, 300], [-350, 300]])))
    page = Sheet(0, (-640.0, -130.0), 1.5, stand_off_mm=0.5, plain="letter", stated_mm=LETTER)
    rgb, truth = render(Scene("t", view, opening, (page,), Wall(), oversample=1))
    corners = np.array(truth["rough_corners_px"])
    corners[list(out)] = np.nan
    prior = camera_prior(f, 0.03, (width, height), known=True)
    asked = PhotoRequest(Path("p.jpg"), corners_px=corners)
    solved = solve_page_photo(rgb, asked, Reference("letter"), prior, "masonry")
    assert isinstance(solved, Solved), solved
    assert np.abs(solved.outlines_px[0] - np.array(truth["references"][0]["corners_px"])).max() < 1.0
