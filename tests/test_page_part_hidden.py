"""Pages of which tape, leaves or a hand hide corners or parts, drawn and rendered; their corners are known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.test_page_find import asked, photo, prior
from vision.pages.of_photo import solve_page_photo
from vision.pages.paper import BOTH, alike_all_round
from vision.pages.part_hidden import straight_sides
from vision.pages.quads import fitted, outline_groups
from vision.request import Reference, Warning_

PAGE = np.array([[101.0, 50], [249, 60], [241, 252], [95, 243]])


def outline(shape):
    contours, _ = cv2.findContours(shape, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    largest = max(contours, key=cv2.contourArea)
    return largest, cv2.contourArea(largest)


def page():
    shape = np.zeros((300, 350), np.uint8)
    cv2.fillPoly(shape, [PAGE.astype(np.int32)], 255)
    return shape


def without(shape, *polygons, value=0):
    shape = shape.copy()
    for p in polygons:
        cv2.fillPoly(shape, [np.rint(p).astype(np.int32)], value)
    return shape


def taped(corner, length=50, breadth=16):
    """Return a strip of tape (4, 2) px across a corner of the page."""
    out = corner - PAGE.mean(0)
    out = out / np.linalg.norm(out)
    along = np.array([-out[1], out[0]])
    place = corner - 4 * out
    return place + np.array(
        [s * length / 2 * along + t * breadth / 2 * out for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    )


def every(quads):
    return np.ones(len(quads), bool)


def test_corners_under_tape_are_where_the_sides_cross():
    shape = without(page(), *(taped(c) for c in PAGE))
    quad = straight_sides(*outline(shape))
    assert min(np.abs(np.roll(quad, k, 0) - PAGE).max() for k in range(4)) < 4


def test_a_leaf_over_a_third_of_a_side_leaves_the_side():
    leaf = np.array([[90.0, 120], [130, 125], [150, 150], [125, 185], [88, 180]])
    quad = straight_sides(*outline(without(page(), leaf)))
    assert min(np.abs(np.roll(quad, k, 0) - PAGE).max() for k in range(4)) < 4


def test_a_round_thing_has_no_four_sides():
    shape = np.zeros((300, 350), np.uint8)
    cv2.circle(shape, (170, 150), 90, 255, -1)
    assert straight_sides(*outline(shape)) is None


def test_a_page_without_one_whole_side_is_not_guessed():
    half = np.array([[80.0, 150], [270, 20], [300, 280], [80, 280]])
    assert straight_sides(*outline(without(page(), half))) is None


def test_sides_of_a_taped_page_are_fitted_where_they_are_bare():
    shape = np.pad(without(page(), *(taped(c) for c in PAGE)), ((0, 250), (0, 250)))
    rgb = np.repeat(np.where(shape > 0, 230, 90).astype(np.uint8)[..., None], 3, 2)
    groups = outline_groups(rgb, 20.0, every, every, 5, coloured=False, hidden=True)
    group = min(groups, key=lambda g: float(np.abs(g[0].rough - PAGE).max()))
    assert any(o.hidden for o in group)
    assert np.abs(np.median(fitted(group), axis=0) - PAGE).max() < 2


def test_a_joint_beside_the_paper_is_not_its_side():
    wall = np.full((300, 400, 3), 90, np.uint8)
    wall[210:218, 100:300] = 170  # a joint a little below the page
    wall[80:201, 150:251] = 225
    paper = np.array([[150.0, 80], [250, 80], [250, 200], [150, 200]])
    assert alike_all_round(wall, paper) == 1
    joint = paper.copy()
    joint[2:, 1] += 17
    assert alike_all_round(wall, joint) == BOTH


def test_a_leaf_on_a_side_does_not_make_paper_a_board():
    wall = np.full((300, 400, 3), 140, np.uint8)
    wall[80:201, 150:251] = 225
    wall[110:160, 130:185] = 40
    assert alike_all_round(wall, np.array([[150.0, 80], [250, 80], [250, 200], [150, 200]])) == 1


@pytest.mark.parametrize("turn", [0, 2])
def test_pages_taped_at_all_corners_are_found_and_solved(turn):
    rgb, truth, true = photo()
    for quad in true:
        for k in range(4):
            corner, middle = quad[(k + turn) % 4], quad.mean(0)
            out = (corner - middle) / np.linalg.norm(corner - middle)
            along, size = np.array([-out[1], out[0]]), np.sqrt(cv2.contourArea(quad.astype(np.float32)))
            tape = [
                corner + size * (s * 0.16 * along + (t * 0.05 - 0.03) * out)
                for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))
            ]
            cv2.fillPoly(rgb, [np.rint(tape).astype(np.int32)], (214, 205, 176))
    solved = solve_page_photo(rgb, asked(truth), Reference("letter"), prior(), "masonry")
    assert not isinstance(solved, Warning_)
    assert min(np.abs(solved.outlines_px[0] - q).max() for q in true) < 1.5
