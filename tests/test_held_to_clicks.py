"""Facts about corners that are said to be exact, on a drawn opening with two lines around it. Oracle: the drawing."""

import cv2
import numpy as np
import pytest

from vision.camera import Camera
from vision.request import SIDES
from vision.sides.tracing import trace_sides
from vision.stations import ENDS

CAMERA = Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 1000.0, 400.0, 400.0)  # 1 mm/px in the plane z = 0
OUTER = np.array([[200.0, 200.0], [600.0, 200.0], [600.0, 620.0], [200.0, 620.0]])
INNER = OUTER + 10.0 * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
Z_MM = dict.fromkeys(SIDES, 0.0)


@pytest.fixture(scope="module")
def picture():
    """A wall, a band of 10 px as of a dark reveal, and glass: two clear lines on every side."""
    grey = np.full((800, 800), 170.0)
    for corners, tone in ((OUTER, 110.0), (INNER, 40.0)):
        x0, y0, x1, y1 = (int(v) for v in (*corners[0], *corners[2]))
        grey[y0:y1, x0:x1] = tone
    noisy = cv2.GaussianBlur(grey, (0, 0), 0.8) + np.random.default_rng(2).normal(0, 2, grey.shape)
    return np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def traced(picture, corners_px, click_px):
    return trace_sides(picture, CAMERA, corners_px - 0.5, click_px, Z_MM, "render", "back")


def off_px(trace, corners_px):
    """How far the middle of a side lies off the line between two corners."""
    a, b = corners_px[list(ENDS[trace.side])] - 0.5 - [400.0, 400.0]
    along = (b - a) / np.linalg.norm(b - a)
    return abs(float((trace.origin_mm - a) @ [-along[1], along[0]]))


@pytest.mark.parametrize(("corners", "sure"), [(OUTER, 0.98), (INNER, 0.75)], ids=["outer", "inner"])
def test_exact_corners_choose_between_the_lines_of_all_sides(picture, corners, sure):
    """The inner line was hardly likely before: a click that may be astray makes it no more than likely."""
    for trace in traced(picture, corners, 1.0).values():
        assert off_px(trace, corners) < 0.5
        assert trace.candidates[0].weight > sure


def test_corners_of_which_nobody_says_that_they_are_exact_choose_nothing(picture):
    """Contract: bare corners carry a click of 3 px, and are rough."""
    by_outer, by_inner = (traced(picture, corners, 3.0) for corners in (OUTER, INNER))
    for side in ("head", "left", "right"):
        assert off_px(by_outer[side], OUTER) < 0.5
        assert off_px(by_inner[side], OUTER) < 0.5


def test_exact_corners_on_nothing_change_nothing(picture):
    """Bayes: what is as unlikely by every line leaves their odds as they were."""
    between = (OUTER + INNER) / 2
    rough, exact = (traced(picture, between, click)["left"] for click in (3.0, 0.5))
    assert off_px(exact, OUTER) == pytest.approx(off_px(rough, OUTER), abs=0.01)
    assert exact.candidates[0].weight == pytest.approx(rough.candidates[0].weight, abs=0.01)
