"""Pieces of the wall that look like a page, on drawn walls of known courses."""

from __future__ import annotations

import numpy as np
import pytest

from vision.pages.grain import grain, smoothness
from vision.pages.in_courses import in_courses

COURSE, LONG, JOINT = 60, 180, 8  # px


def wall(courses=True, seed=1):
    """Return a wall (720, 960, 3) of white bricks in half bond, with joints a little darker."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:720, :960]
    row = y // COURSE
    column = (x + LONG // 2 * (row % 2)) // LONG
    joint = (y % COURSE < JOINT) | ((x + LONG // 2 * (row % 2)) % LONG < JOINT)
    tone = rng.uniform(185, 215, (40, 40))[row, column] if courses else 200.0
    light = np.where(joint & courses, 165.0, tone) + rng.normal(0, 2, y.shape)
    return np.repeat(np.clip(light, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def box(left, top, width, height):
    return np.array([[left, top], [left + width, top], [left + width, top + height], [left, top + height]], float)


def with_page(rgb, quad, tone=200):
    (x0, y0), (x1, y1) = quad[0].astype(int), quad[2].astype(int)
    rgb = rgb.copy()
    rgb[y0:y1, x0:x1] = tone
    return rgb


BRICK = box(4 * LONG + JOINT - LONG // 2 - 180, 5 * COURSE + JOINT, 68, COURSE - JOINT)


def test_a_brick_has_joints_that_go_on_at_its_head_and_foot():
    assert in_courses(wall(), BRICK, None)


@pytest.mark.parametrize("top", [200, 213, 228, 240])
def test_a_page_over_several_courses_has_joints_between_its_head_and_foot_too(top):
    page = box(300, top, 170, 220)
    assert not in_courses(with_page(wall(), page), page, None)


def test_a_page_on_a_bare_wall_is_no_piece_of_it():
    page = box(300, 240, 170, 220)
    assert not in_courses(with_page(wall(courses=False), page), page, None)


def test_what_lies_in_the_opening_is_no_wall():
    left, right = box(0, 0, BRICK[0, 0] - 5, 719), box(BRICK[1, 0] + 5, 0, 950 - BRICK[1, 0], 719)
    assert in_courses(wall(), BRICK, left)
    assert in_courses(wall(), BRICK, right)
    assert not in_courses(wall(), BRICK, box(-10, 0, 990, 719))


def test_at_the_rim_of_the_photo_there_is_too_little_to_say():
    assert not in_courses(wall()[:, int(BRICK[0, 0]) - 2 : int(BRICK[1, 0]) + 3], BRICK - [BRICK[0, 0] - 2, 0], None)


def test_paper_is_smooth_and_brick_is_not():
    rgb = wall()
    rng = np.random.default_rng(2)
    rough = np.clip(rgb + rng.normal(0, 9, rgb.shape[:2])[..., None], 0, 255).astype(np.uint8)
    page = box(300, 213, 170, 220)
    rough[213:433, 300:470] = np.clip(200 + rng.normal(0, 2, (220, 170)), 0, 255).astype(np.uint8)[..., None]
    seen = grain(rough)
    assert smoothness(seen, page) == 1.0
    assert smoothness(seen, BRICK) < 0.6
    assert smoothness(seen, BRICK + 5000) == pytest.approx(0.1)
