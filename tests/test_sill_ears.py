"""Facts about the ends of projecting sills, drawn from geometry: a box before a wall, seen by a pinhole camera.

Oracle: OpenCV's projectPoints for the corners of the box, areas by 4 x 4 samples a pixel.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.drawn_sills import LONG, OUT, WALL, WIDTH, camera_at, drawn
from vision.camera import Camera
from vision.request import SIDES
from vision.sides.finding import find_side
from vision.sides.held import _weighed_by_ends
from vision.sides.held_by_ears import held_against_ears
from vision.sides.side_ends import SideEnd
from vision.sides.sill_ears import read_ear


def ear(camera, photo, off, *, right):
    """Return the reading from a line that lies off mm outward (down) of the arris."""
    corner = np.array([WIDTH / 2 if right else -WIDTH / 2, off])
    return read_ear(photo, camera, corner, np.array([1.0, 0.0]), -OUT, OUT, right=right)


@pytest.mark.parametrize("right", [False, True])
@pytest.mark.parametrize("off", [-5.0, 0.0, 4.0])
@pytest.mark.parametrize("fall", [0.0, 6.0])
def test_the_arris_of_a_sill_of_one_tone_is_where_its_outline_turns(right, off, fall):
    camera = camera_at(60.0, 700.0)
    told = ear(camera, drawn(camera, fall=fall, seed=3), off, right=right)
    assert told is not None
    assert_allclose(told.offset_mm + off, 0.0, rtol=0, atol=0.7)  # 0.5 px
    assert told.scale_mm < 2.0
    assert_allclose(told.beyond_mm, LONG, rtol=0, atol=1.0)


@pytest.mark.parametrize("top", [(0.75, 0.73, 0.69), (0.33, 0.32, 0.30)])
def test_the_tone_of_the_top_does_not_move_the_turn(top):
    camera = camera_at(0.0, 700.0)
    told = ear(camera, drawn(camera, top=top, seed=5), 0.0, right=True)
    assert told is not None
    assert_allclose(told.offset_mm, 0.0, rtol=0, atol=0.9)


def test_a_sill_seen_from_its_own_height_shows_no_turn():
    camera = camera_at(0.0, 5.0)
    assert ear(camera, drawn(camera), 0.0, right=True) is None


def test_a_sill_of_the_walls_tone_tells_nothing():
    camera = camera_at(0.0, 700.0)
    assert ear(camera, drawn(camera, top=WALL, front=WALL, seed=1), 0.0, right=True) is None


def test_a_sill_that_runs_out_of_the_photo_tells_nothing():
    camera = camera_at(0.0, 700.0)
    photo = drawn(camera, seed=2)[:, 400:]
    moved = Camera(camera.rotation, camera.translation_mm, camera.focal_px, camera.cx - 400, camera.cy)
    assert ear(moved, photo, 0.0, right=False) is None


def sides_of_a_sill_of_one_tone():
    """Return camera, photo and the sides found about it: the sill by its own lines alone, the arris unseen."""
    camera = camera_at(60.0, 700.0)
    photo = drawn(camera, seed=3)
    corners = np.array([[-500, -150, 0], [500, -150, 0], [500, 0, -OUT], [-500, 0, -OUT]])
    k = np.array([[camera.focal_px, 0, camera.cx], [0, camera.focal_px, camera.cy], [0, 0, 1.0]])
    px = cv2.projectPoints(corners.astype(float), np.zeros(3), camera.translation_mm, k, np.zeros(4))[0].reshape(-1, 2)
    depth = {"head": 0.0, "right": 0.0, "sill": -OUT, "left": 0.0}
    found = {s: find_side(photo, camera, px, 1.0, depth, "masonry", "front", s) for s in SIDES}
    return camera, photo, found


def test_an_arris_that_no_line_shows_is_taken_from_both_ends():
    camera, photo, found = sides_of_a_sill_of_one_tone()
    before = found["sill"]
    far = np.array([0.4 if line.shape[0] > 10 else 0.0 for line in before.lines])  # shades of the front, none clear
    unsure = replace(before, weights=far / max(np.count_nonzero(far), 1), ghost=None)
    jamb = dict.fromkeys(("left", "right"), before)
    jambs = {s: replace(f, strip=replace(f.strip, depth_mm=0.0)) for s, f in jamb.items()}
    after = held_against_ears(photo, camera, found | jambs | {"sill": unsure}, "masonry", "front")["sill"]
    assert after.ghost is not None
    assert after.ghost.leads
    middle = after.strip.origin_mm + after.strip.u_mm[-1] / 2 * after.strip.direction
    assert_allclose(middle[1] + after.ghost.shape[0], 0.0, rtol=0, atol=0.9)
    assert 0.3 < after.ghost.u_mm < 2.0
    assert float(after.weights.sum()) + after.ghost.weight <= 0.99 + 1e-9  # contract: 1 % to another line


def test_a_sill_that_does_not_stand_out_or_an_inner_line_asked_for_is_left_as_found():
    camera, photo, found = sides_of_a_sill_of_one_tone()
    flush = {s: replace(found["sill"], strip=replace(found["sill"].strip, depth_mm=-OUT)) for s in ("left", "right")}
    assert held_against_ears(photo, camera, found | flush, "masonry", "front")["sill"] is found["sill"]
    assert held_against_ears(photo, camera, found, "masonry", "frame")["sill"] is found["sill"]


def test_a_sill_of_which_no_line_is_likely_at_all_is_left_as_found():
    camera, photo, found = sides_of_a_sill_of_one_tone()
    jambs = {s: replace(found["sill"], strip=replace(found["sill"].strip, depth_mm=0.0)) for s in ("left", "right")}
    none = replace(found["sill"], weights=0 * found["sill"].weights, ghost=None)
    assert held_against_ears(photo, camera, found | jambs | {"sill": none}, "masonry", "front")["sill"] is none
    assert _weighed_by_ends("sill", none, (SideEnd(0.0, 0.7), None), "masonry") is none
