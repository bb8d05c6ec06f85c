"""Proportions on the wall, against OpenCV's projection of things whose sizes are known."""

import cv2
import numpy as np
import pytest

from vision.pages.plane import U_SQUARE_MM, laid_on_wall, likeness, ratio_on_wall
from vision.priors import camera_prior

SIZE = (4032, 3024)
LETTER = (215.9, 279.4)
OPENING = np.array([[-600.0, -400], [600, -400], [600, 400], [-600, 400]])


def seen(corners, yaw, pitch, focal=2850.0):
    """Return corners (4, 2) mm of the wall as OpenCV's pinhole sees them from 2.5 m."""
    turn = cv2.Rodrigues(np.radians([pitch, yaw, 2.0]))[0]
    matrix = np.array([[focal, 0, 2015.5], [0, focal, 1511.5], [0, 0, 1.0]])
    points = np.column_stack([corners, np.zeros(4)])
    return cv2.projectPoints(points, turn, np.array([0.0, 0, 2500.0]), matrix, None)[0].reshape(4, 2)


def rectangle(width, height, x=-800.0, y=0.0, degrees=3.0):
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]
    return half @ np.array([[c, s], [-s, c]]) + [x, y]


PRIOR = camera_prior(2850.0, 0.03, SIZE, known=True)


@pytest.mark.parametrize("yaw", [-35, -15, 0, 20, 35])
@pytest.mark.parametrize("pitch", [-20, 0, 15])
def test_sides_have_the_ratio_that_the_thing_has_on_the_wall(yaw, pitch):
    on_wall = laid_on_wall(seen(rectangle(300, 200), yaw, pitch), seen(OPENING, yaw, pitch), PRIOR)
    sides = np.hypot(*(np.roll(on_wall, -1, axis=0) - on_wall).T)
    assert sides[0] / sides[1] == pytest.approx(1.5, abs=0.02)


@pytest.mark.parametrize("yaw", [-30, 0, 30])
@pytest.mark.parametrize("clicks", range(4))
def test_a_page_is_taken_and_a_lamps_pane_or_vent_is_not_with_rough_clicks(yaw, clicks):
    rng = np.random.default_rng(clicks)
    opening = seen(OPENING, yaw, -12) + rng.normal(0, 8, (4, 2))
    prior = camera_prior(2850.0 * np.exp(rng.normal(0, 0.03)), 0.03, SIZE, known=True)

    def taken(width, height):
        return likeness(seen(rectangle(width, height), yaw, -12), LETTER, opening, prior, 4.0) > 0.05

    assert taken(215.9, 279.4)
    assert taken(279.4, 215.9)  # lying on its side
    assert not taken(120, 230)
    assert not taken(250, 252)


def test_what_is_not_square_on_the_wall_is_no_page():
    skewed = rectangle(*LETTER) + np.array([[60.0, 0], [60, 0], [0, 0], [0, 0]])
    assert likeness(seen(skewed, 10, 0), LETTER, seen(OPENING, 10, 0), PRIOR, 4.0) == 0


def test_of_two_alike_the_nearer_in_proportion_is_the_likelier():
    opening = seen(OPENING, 20, -12)
    page, other = (likeness(seen(rectangle(215.9, h), 20, -12), LETTER, opening, PRIOR, 1.0) for h in (279.4, 294.0))
    assert page > 0.95
    assert other < 0.4


@pytest.mark.parametrize(("yaw", "pitch"), [(0, 0), (25, -12), (35, 15)])
def test_the_uncertainty_of_the_ratio_is_its_scatter_over_lenses_clicks_and_openings_out_of_square(yaw, pitch):
    """The oracle: 200 draws of focal length, centre, distortion, clicks and corners, seen by OpenCV."""
    rng = np.random.default_rng(7)
    page, click = rectangle(*LETTER), 4.0
    true = np.log(LETTER[1] / LETTER[0])
    z = []
    for _ in range(200):
        focal = 2850.0 * np.exp(rng.normal(0, PRIOR.u_log_focal))
        centre = np.array([2015.5, 1511.5]) + rng.normal(0, PRIOR.u_centre_px, 2)
        bend = np.array([rng.normal(0, PRIOR.u_k1), 0, 0, 0, 0])
        turn = cv2.Rodrigues(np.radians([pitch, yaw, 2.0]))[0]
        matrix = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
        corners = np.vstack([page, OPENING + rng.normal(0, U_SQUARE_MM, (4, 2))])
        px = cv2.projectPoints(np.column_stack([corners, np.zeros(8)]), turn, np.array([0.0, 0, 2500.0]), matrix, bend)
        p = px[0].reshape(8, 2)
        ratio, u, _ = ratio_on_wall(p[:4], p[4:] + rng.normal(0, click, (4, 2)), PRIOR, 1.14, click)
        z.append((ratio - true) / u)
    assert np.sqrt(np.mean(np.square(z))) == pytest.approx(1, abs=0.15)
