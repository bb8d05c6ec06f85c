"""Doubts about openings that nobody pointed at. Figures are common practice, no source."""

import cv2
import numpy as np
import pytest

from vision.arris_snap import _alike_outside
from vision.camera import Camera, back_project, project
from vision.found import doubt
from vision.outline import find_outlines
from vision.side_weights import SideCandidate
from vision.sides import SideTrace

CORNERS_MM = np.array([[-500, -600], [500, -600], [500, 600], [-500, 600.0]])
ENDS = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}
CAMERA = Camera(np.eye(3), np.array([0, 0, 2500.0]), 1500.0, 1000.0, 750.0)


def traces(weight):
    """Return four sides where the corners are, the head with that weight."""
    made = {}
    for side, (a, b) in ENDS.items():
        step = CORNERS_MM[b] - CORNERS_MM[a]
        one = (SideCandidate(weight if side == "head" else 0.98, 0.0, 0.0, "edge"),)
        none = np.zeros(0)
        middle, along = (CORNERS_MM[a] + CORNERS_MM[b]) / 2, step / np.linalg.norm(step)
        made[side] = SideTrace(
            side, 0.0, middle, along, np.eye(2) * 1e-4, 0.0, none, none, 0.3, 0.3, 0.9, hidden=False, candidates=one
        )
    return made


@pytest.mark.parametrize(("weight", "asks"), [(0.98, False), (0.7, False), (0.3, True), (0.01, True)])
def test_a_line_that_another_one_outweighs_needs_a_person(weight, asks):
    seen = project(CAMERA, np.column_stack([CORNERS_MM, np.zeros(4)]))
    assert np.allclose(back_project(CAMERA, seen, 0.0), CORNERS_MM)  # the oracle: similar triangles at 2.5 m
    warning = doubt(CAMERA, seen, traces(weight))
    assert (warning is not None) == asks
    if asks:
        assert "head" in warning.message


def test_a_frame_within_a_trim_is_not_the_trim():
    # from the edge: a frame 50 wide, and 154 out the trim's outer side, left and right alike
    assert _alike_outside(np.array([0.0, 50.2, 153.6]), np.array([0.0, 51.2, 154.7]), 50.7)
    assert not _alike_outside(np.array([0.0, 92.0]), np.array([0.0, 93.0, 190.0]), 92.5)


@pytest.mark.parametrize("degrees", [0.0, 1.5, 3.0])
def test_a_leaning_rectangle_shows_both_its_ends(degrees):
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    corners = np.array([[-110, -90], [110, -90], [110, 90], [-110, 90]]) @ np.array([[c, s], [-s, c]]) + 200
    mask = np.zeros((400, 400), np.uint8)
    cv2.fillConvexPoly(mask, np.rint(corners).astype(np.int32), 1)
    found = find_outlines(mask, np.ones_like(mask))
    assert len(found) == 1
    assert found[0].ends_seen
    assert np.abs(found[0].corners - corners).max() < 3
