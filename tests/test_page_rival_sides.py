"""Lines beside a card's sides, told from them by its size (ISO/IEC 7810) and by drawn courses of a known wall."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.camera import Camera, back_project, project
from vision.pages.rival_sides import UNTOLD_SAYS, settled
from vision.priors import PAGE_SIZE_MM, camera_prior
from vision.request import Reference
from vision.solving.solve_pages import solve_rectangles
from vision.srgb import LINEAR
from vision.wall.lines import lined

SIZE = (1600, 1200)
PRIOR = camera_prior(1330.0, 0.03, SIZE, known=True)
ROTATION = np.asarray(cv2.Rodrigues(np.array([0.06, -0.08, 0.02]))[0], float)
CAMERA = Camera(ROTATION, np.array([20.0, -15.0, 1300.0]), 1300.0, 799.5, 599.5)
PLACE, CARD = np.array([-440.0, 30.0]), np.array(PAGE_SIZE_MM["id1"])
CORNERS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
ID1 = Reference("id1")


FINE = 4


def drawn(rgb, xy, colour):
    """Draw a polygon of the wall (N, 2) mm, four times finer: pixels whose middle lies in it."""
    px = project(CAMERA, np.column_stack([xy, np.zeros(len(xy))]))
    cv2.fillPoly(rgb, [np.rint(((px + 0.5) * FINE - 0.5) * 256).astype(np.int32)], colour, cv2.LINE_8, 8)


@pytest.fixture(scope="module")
def photo():
    """Return bricks of 65 x 215 mm, and a card with a dark stripe, whose head lies 3 mm below a joint."""
    rgb = np.full((SIZE[1] * FINE, SIZE[0] * FINE, 3), (165, 160, 150), np.uint8)
    top = PLACE[1] - CARD[1] / 2 - 3 - 10 - 75 * 15
    for row in range(32):
        for k in range(-6, 7):
            x, y = k * 225 + (112.5 if row % 2 else 0.0) + 40, top + 75 * row
            drawn(rgb, np.array([[x, y + 10], [x + 215, y + 10], [x + 215, y + 75], [x, y + 75]]), (150, 80, 60))
    drawn(rgb, PLACE + CARD / 2 * CORNERS, (168, 168, 198))
    stripe = np.array([[-1, -0.75], [1, -0.75], [1, -0.35], [-1, -0.35]])
    drawn(rgb, PLACE + CARD / 2 * stripe, (60, 60, 80))
    light = cv2.resize(LINEAR[rgb], SIZE, interpolation=cv2.INTER_AREA)
    light = np.maximum(cv2.GaussianBlur(light, (0, 0), 0.7), 0.0031308)
    code = 255 * (1.055 * light ** (1 / 2.4) - 0.055)  # sRGB, IEC 61966-2-1
    return np.clip(code + np.random.default_rng(2).normal(0, 1.5, code.shape), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def alone(photo):
    corners = project(CAMERA, np.column_stack([PLACE + CARD / 2 * CORNERS, np.zeros(4)]))
    return solve_rectangles([corners], ID1, PRIOR, "masonry", 1.0, photo)


def misread(photo, alone, moves):
    """Return the photo solved with sides of the card some pixels farther out."""
    sides = list(alone.traced[0].sides)
    for i, px in moves.items():
        sides[i] = replace(sides[i], pixel=sides[i].pixel + px * sides[i].normal)
    wrong = replace(alone.traced[0], sides=tuple(sides))
    return solve_rectangles(alone.outlines_px, ID1, PRIOR, "masonry", 1.0, photo, [wrong])


def again(photo, before):
    grey = cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY)
    found = lined(grey, before, None, "masonry")
    return found, *settled(photo, before, found, ID1, PRIOR, "masonry", None, None)


def width_at(solved):
    """Return what 1000 mm of the wall across the middle of the picture measure by a solved camera."""
    ends = project(CAMERA, np.array([[-300.0, 0, 0], [700.0, 0, 0]]))
    return float(np.linalg.norm(np.diff(back_project(solved.adjusted.state.camera, ends, 0.0), axis=0)))


def test_sound_sides_stay(photo, alone):
    found, before, after = again(photo, alone)
    assert after is found
    assert before is alone
    assert width_at(after) == pytest.approx(1000, abs=8)


@pytest.mark.parametrize("moves", [{0: -6.2}, {2: 3.0}, {1: 4.0}])
def test_a_side_misread_is_found_where_it_is(photo, alone, moves):
    """The head taken from the stripe's edge, the foot or a side from a line some pixels beside it."""
    found, _, after = again(photo, misread(photo, alone, moves))
    assert abs(width_at(found) - 1000) > 15
    assert width_at(after) == pytest.approx(1000, abs=8)
    (i,) = moves
    side = after.traced[0].sides[i]
    assert np.abs((side.pixel - alone.traced[0].sides[i].pixel.mean(0)) @ side.normal[0]).max() < 0.5


def test_where_no_lines_fit_the_uncertainty_says_so(photo, alone):
    """A card painted over with the wall's mean: its sides are nowhere."""
    hidden = photo.copy()
    px = project(CAMERA, np.column_stack([PLACE + CARD * 0.8 * CORNERS, np.zeros(4)]))
    cv2.fillPoly(hidden, [np.rint(px).astype(np.int32)], (150, 90, 70))
    taken = misread(hidden, alone, {0: -6.2, 1: 4.0})
    _, before, after = again(hidden, taken)
    said = {w.code: w.message for w in after.warnings}
    assert said.get("references-disagree") == UNTOLD_SAYS
    u = [np.sqrt(s.adjusted.covariance[5, 5]) for s in (taken, after)]
    assert u[1] > 2 * u[0]
    assert before is not after


def test_without_lines_of_the_wall_nothing_is_changed(photo, alone):
    flat = np.full_like(photo, 120)
    found, before, after = again(flat, alone)
    assert before is alone
    assert after is found
