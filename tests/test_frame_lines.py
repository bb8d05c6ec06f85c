"""Lines of the window in an opening: what a frame that is set askew may say of the wall, and what not."""

import cv2
import numpy as np
import pytest

from vision.camera import Camera, project
from vision.observations import PER_REFERENCE, PhotoState
from vision.wall.courses import course_block, whitening
from vision.wall.frame_lines import INSET, U_FACING_RAD, U_SET_RAD, _freely_set, inside_opening
from vision.wall.segments import Segments

PLACES = np.array([-500.0, -250, 0, 250, 500])


def state():
    turn = np.asarray(cv2.Rodrigues(np.array([0.05, -0.08, 0.01]))[0], float)
    camera = Camera(turn, turn @ np.array([-300.0, 200.0, 2200.0]), 1500.0, 1000.0, 750.0, 0.02, 0.0)
    return PhotoState(camera, np.zeros(2), np.zeros((1, PER_REFERENCE)))


def lines(height):
    """Return five level and five upright lines, as they are seen where their points lie at a depth given by x, y."""
    s = state()
    along = np.linspace(-450, 450, 7)
    level = np.array([[x, y] for y in PLACES for x in along])
    points = np.vstack([level, level[:, ::-1]])
    upright = np.repeat([False, True], len(level))
    pixel = project(s.camera, np.column_stack([points, height(points)]))
    course = np.repeat(np.arange(10), 7)
    whiten = whitening(course, np.tile(along, 10), np.full(70, 0.05), np.full(10, 1e-5))
    return course_block(s, pixel, upright, course, whiten), s


def cost(block, s):
    return float((block.linearised(s)[0] ** 2).sum())


def test_a_true_frame_behind_the_wall_fits_at_no_cost():
    """Lines parallel to the wall are seen parallel to it at any depth (similar triangles)."""
    block, s = lines(lambda p: np.full(len(p), 90.0))
    assert cost(_freely_set(block, s), s) == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("tilt", [(0.005, 0.0), (0.0, 0.005), (-0.0075, 0.004)])
def test_a_frame_that_faces_off_the_wall_costs_its_tilt_and_no_more(tilt):
    """Least squares with further normal unknowns costs the square of their values by their sd (Koch 1999, 3.2.6)."""
    block, s = lines(lambda p: 60 + p @ tilt)
    assert cost(block, s) > 100
    assert cost(_freely_set(block, s), s) == pytest.approx(((np.array(tilt) / U_FACING_RAD) ** 2).sum(), rel=0.25)


@pytest.mark.parametrize("turned", [0.01, -0.02])
def test_a_frame_that_is_turned_in_the_wall_costs_its_turn_for_levels_and_uprights(turned):
    block, s = lines(lambda p: np.full(len(p), 60.0))
    s = PhotoState(s.camera, s.size, s.references, np.array([turned, 0.0]))
    assert cost(_freely_set(block, s), s) == pytest.approx(2 * (turned / U_SET_RAD) ** 2, rel=0.05)


def test_only_what_lies_clear_of_the_sides_is_of_the_frame():
    corners = np.array([[100.0, 100], [1100, 100], [1100, 900], [100, 900]])
    edge = INSET * 1000
    ends = [
        [[100, 130], [1100, 130]],  # along the head
        [[100 + edge - 5, 200], [100 + edge - 5, 800]],  # beside the left jamb
        [[100 + edge + 5, 200], [100 + edge + 5, 800]],
        [[300, 500], [900, 500]],
        [[900, 500], [1300, 500]],  # out over the jamb
    ]
    inside = inside_opening(Segments(np.array(ends, float)), corners)
    assert inside.tolist() == [False, False, True, True, False]
    corners[2] = np.nan
    assert not inside_opening(Segments(np.array(ends, float)), corners).any()
    assert not inside_opening(Segments(np.array(ends, float)), None).any()
