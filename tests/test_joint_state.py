import cv2
import numpy as np
import pytest

from vision.camera import UNKNOWNS, Camera, project
from vision.in_photo import InPhoto
from vision.joint.state import (
    JointState,
    Layout,
    SideSeen,
    depths_known,
    in_first_frame,
    interior_known,
    nearly_placed,
    one_camera,
    one_direction,
    same_place,
    whitening,
)
from vision.observations import PER_REFERENCE, WALL, PhotoState, PriorBlock
from vision.stations import Line
from vision.uncertainty import jacobian

FRAME = np.array([320.0, -45.0, 0.04])


def camera(turn, shift, focal):
    rotation = np.asarray(cv2.Rodrigues(np.array(turn))[0], float)
    return Camera(rotation, np.array(shift), focal, 2010.0, 1490.0, 0.02, -0.004)


def state():
    photos = (
        PhotoState(camera([0.1, -0.3, 0.02], [-500.0, -60, 2600], 2850.0), np.array([0.001, 0]), np.zeros((1, 9))),
        PhotoState(
            camera([-0.1, 0.4, 0.0], [-300.0, 10, 2200], 2840.0),
            np.array([0.001, 0]),
            np.array([[5.0, -3, 0.02, -0.5, 0, 0, 0, 0, 0]]),
        ),
    )
    u = photos[0].unknowns
    first, second = np.arange(u), np.arange(u, 2 * u)
    second[UNKNOWNS : UNKNOWNS + 2] = first[UNKNOWNS : UNKNOWNS + 2]
    at = Layout(
        (first, second),
        2 * u + np.arange(3).reshape(1, 3),
        2 * u + 3 + np.arange(5).reshape(1, 5),
        2 * u + 8 + np.arange(12).reshape(4, 3),
        2 * u + 20,
    )
    frames = np.array([[0.0, 0, 0], FRAME])
    interiors = np.array([[np.log(2845), 2011.0, 1489.0, 0.02, -0.004]])
    sides = np.array([[1.0, 0.002, -3], [0, 0, 1], [-2, -0.001, -20], [0.5, 0.001, 0]])
    return JointState(photos, frames, interiors, sides, at)


LINE = Line(np.array([100.0, 80]), np.array([0.0, 1]), np.array([1.0, 0]), 1200.0)
COV = np.array([[0.3, 0.1], [0.1, 0.4]])
AT = state().layout


def first_end_seen(photo):
    return project(state().photos[photo].camera, np.array([[150.0, 100, -20], [160, 1200, -20]]))


@pytest.mark.parametrize(
    "block",
    [
        SideSeen(0, 1, LINE, first_end_seen(0), whitening(COV)),
        SideSeen(1, 2, LINE, first_end_seen(1), whitening(COV)),
        same_place(AT, (1, 0), (0, 0), np.array([0.3, 0.3, 1e-3])),
        one_direction(AT, 1, WALL.start),
        nearly_placed(AT, 1, np.array([5.0, -3, 0.1]), 2.0),
        one_camera(AT, 1, 0, np.array([0.002, 3.0, 3.0, 1e-4, 1e-4])),
        interior_known(AT, 0, np.array([8.0, 2000, 1500, 0, 0]), np.array([0.03, 20, 20, 0.03, 0.01])),
        depths_known(AT, np.zeros(4), np.eye(4) + 2.0),
        InPhoto(1, PriorBlock(np.array([11, 13, 17]), np.zeros(3), np.array([1.0, 2, 3]), "camera")),
    ],
)
def test_the_design_matrix_is_the_derivative_of_what_is_computed(block):
    """Oracle: central differences of the misclosures; observed minus computed, hence the sign."""
    s = state()
    photo = [1e-6] * 3 + [1e-3] * 3 + [1e-6, 1e-2, 1e-2, 1e-5, 1e-5] + [1e-6] * 4 + [1e-3] * PER_REFERENCE
    steps = np.array(photo * 2 + [1e-3, 1e-3, 1e-6] + [1e-6, 1e-2, 1e-2, 1e-5, 1e-5] + [1e-3, 1e-6, 1e-2] * 4)
    expected = -jacobian(lambda x: block.linearised(s.moved(x))[0], np.zeros(AT.unknowns), steps)
    scale = np.abs(expected).max(0) + 1e-7
    assert block.linearised(s)[1] / scale == pytest.approx(expected / scale, abs=2e-4)


def test_a_shared_unknown_moves_in_both_photos():
    s = state()
    increment = np.zeros(AT.unknowns)
    increment[UNKNOWNS] = 0.002
    moved = s.moved(increment)
    assert [p.size[0] for p in moved.photos] == pytest.approx([0.003, 0.003])


def test_frames_turn_and_shift_as_a_rotation_matrix_does():
    """Oracle: OpenCV's rotation about the axis of sight."""
    points = np.array([[10.0, 20], [-300, 45]])
    turn = cv2.Rodrigues(np.array([0, 0, FRAME[2]]))[0][:2, :2]
    assert in_first_frame(FRAME, points) == pytest.approx(points @ turn.T + FRAME[:2])


def test_whitened_errors_have_unit_covariance():
    w = whitening(COV)
    assert w @ COV @ w.T == pytest.approx(np.eye(2))


def test_the_first_photos_frame_is_never_moved():
    moved = state().moved(np.ones(AT.unknowns))
    assert moved.frames[0] == pytest.approx(np.zeros(3))
    assert moved.frames[1] == pytest.approx(FRAME + 1)
