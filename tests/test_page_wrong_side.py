"""A joint taken for the foot of a card: told by a wall of exact courses seen by a known camera, and left out."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.camera import Camera, back_project, project
from vision.pages.wrong_side import without_wrong_side
from vision.priors import PAGE_SIZE_MM, camera_prior
from vision.request import Reference
from vision.solving.solve_pages import solve_rectangles
from vision.wall.lines import lined

SIZE = (1600, 1200)
PRIOR = camera_prior(1330.0, 0.03, SIZE, known=True)
ROTATION = np.asarray(cv2.Rodrigues(np.array([0.06, -0.08, 0.02]))[0], float)
CAMERA = Camera(ROTATION, np.array([20.0, -15.0, 1500.0]), 1300.0, 799.5, 599.5)
PLACE, CARD = np.array([-520.0, 30.0]), np.array(PAGE_SIZE_MM["id1"])
CORNERS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
LINES = "lines-disagree"


def drawn(rgb, xy, colour):
    px = project(CAMERA, np.column_stack([xy, np.zeros(len(xy))]))
    cv2.fillPoly(rgb, [np.rint(px * 256).astype(np.int32)], colour, cv2.LINE_AA, 8)


def wall(joint_mm):
    """Return bricks of 65 x 215 mm with joints of 10 mm, one of them `joint_mm` below the card, and the card."""
    rgb = np.full((SIZE[1], SIZE[0], 3), (165, 160, 150), np.uint8)
    top = PLACE[1] + CARD[1] / 2 + joint_mm - 75 * 20
    for row in range(40):
        for k in range(-8, 9):
            x = k * 225 + (112.5 if row % 2 else 0.0)
            y = top + 75 * row
            drawn(rgb, np.array([[x, y + 10], [x + 215, y + 10], [x + 215, y + 75], [x, y + 75]]), (150, 80, 60))
    drawn(rgb, PLACE + CARD / 2 * CORNERS, (168, 168, 198))
    blurred = cv2.GaussianBlur(rgb, (0, 0), 0.8).astype(float)
    return np.clip(blurred + np.random.default_rng(2).normal(0, 1.5, rgb.shape), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def solved():
    rgb = wall(0.0)
    corners = project(CAMERA, np.column_stack([PLACE + CARD / 2 * CORNERS, np.zeros(4)]))
    return rgb, solve_rectangles([corners], Reference("id1"), PRIOR, "masonry", 1.0, rgb)


def with_wrong(rgb, alone, i, px):
    """Return the photo solved with one side of the card `px` farther out."""
    sides = list(alone.traced[0].sides)
    sides[i] = replace(sides[i], pixel=sides[i].pixel + px * sides[i].normal)
    wrong = replace(alone.traced[0], sides=tuple(sides))
    return solve_rectangles(alone.outlines_px, Reference("id1"), PRIOR, "masonry", 1.0, rgb, [wrong])


def seen(rgb, before):
    return lined(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), before, None, "masonry")


def again(rgb, before, found, reference):
    return without_wrong_side(rgb, before, found, reference, PRIOR, "masonry", None, None)


@pytest.fixture(scope="module")
def mistaken(solved):
    rgb, alone = solved
    before = with_wrong(rgb, alone, 2, 3.5)
    return rgb, before, seen(rgb, before)


def width_at(camera):
    """Return what 1000 mm of the wall across the middle of the picture measure by a camera."""
    ends = project(CAMERA, np.array([[-300.0, 0, 0], [700.0, 0, 0]]))
    return float(np.linalg.norm(np.diff(back_project(camera, ends, 0.0), axis=0)))


def test_a_foot_that_is_a_joint_is_left_out_and_said(mistaken):
    rgb, before, found = mistaken
    assert LINES in {w.code for w in found.warnings}
    better = again(rgb, before, found, Reference("id1"))
    said = [w.message for w in better.warnings if w.code == "references-disagree"]
    assert LINES not in {w.code for w in better.warnings}
    assert len(said) == 1
    assert "the foot" in said[0]
    assert width_at(better.adjusted.state.camera) == pytest.approx(1000, abs=12)
    assert abs(width_at(found.adjusted.state.camera) - 1000) > 50


def test_lines_agree_with_a_sound_card(solved):
    rgb, alone = solved
    found = seen(rgb, alone)
    assert not {w.code for w in found.warnings} & {LINES, "references-disagree"}
    assert width_at(found.adjusted.state.camera) == pytest.approx(1000, abs=12)


def test_a_size_that_somebody_measured_may_be_wrong_itself(mistaken):
    rgb, before, found = mistaken
    assert again(rgb, before, found, Reference("given", *CARD.tolist())) is found
