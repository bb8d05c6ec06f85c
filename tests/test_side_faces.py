"""Side faces of a card seen aslant, against the projection of its foot."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.exact_outline import seen_exactly
from vision.camera import Camera, back_project, project
from vision.observations import DEPTH, PER_REFERENCE, PhotoState
from vision.page_sides.block import side_block
from vision.solving.side_faces import side_faces_mm
from vision.wall.line_vote import _agreeing

THICK = 0.76  # mm, ISO/IEC 7810
HALF = np.array([85.60, 53.98]) / 2
PLANE = HALF * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])


def state(x, y):
    """Return a camera (x, y) mm aside of a card, 1.2 m before it and turned, and the card 1 mm proud of the wall."""
    turn = cv2.Rodrigues(np.array([0.05, -0.1, 0.02]))[0]
    camera = Camera(turn, -turn @ np.array([x, y, -1200.0]), 1500.0, 800.0, 600.0)
    references = np.zeros((1, PER_REFERENCE))
    references[0, DEPTH] = -1.0
    return PhotoState(camera, np.zeros(2), references)


@pytest.mark.parametrize(("x", "y"), [(500.0, 0.0), (-400.0, 300.0), (250.0, -350.0)])
def test_a_side_face_reaches_beyond_its_side_as_far_as_its_foot_is_seen(x, y):
    """Oracle: the foot of each side, a thickness behind the front, projected and laid back on the front's plane."""
    seen = state(x, y)
    faces = side_faces_mm(seen, 0, PLANE, HALF, "id1")
    foot = project(seen.camera, np.column_stack([(PLANE + np.roll(PLANE, -1, axis=0)) / 2, np.full(4, -1.0 + THICK)]))
    beyond = back_project(seen.camera, foot, -1.0) - (PLANE + np.roll(PLANE, -1, axis=0)) / 2
    outward = np.array([[0, -1], [1, 0], [0, 1], [-1, 0.0]])
    assert faces == pytest.approx(np.maximum((beyond * outward).sum(1), 0), abs=1e-6)
    assert (faces > 0).sum() == (x != 0) + (y != 0)


def test_paper_and_rectangles_of_unknown_thickness_have_no_faces():
    assert side_faces_mm(state(500.0, 0.0), 0, PLANE, HALF, "letter") is None
    assert side_faces_mm(state(500.0, 0.0), 0, PLANE, HALF, "given") is None


def test_a_side_seen_in_the_middle_of_its_face_is_where_it_should_be_and_less_sure():
    """u: anywhere between both edges of the face, rectangular (GUM 4.3.7)."""
    seen = state(500.0, 0.0)
    faces = side_faces_mm(seen, 0, PLANE, HALF, "id1")
    grown = PLANE + 0.5 * faces[1] * np.array([[0, 0], [1, 0], [1, 0], [0, 0.0]])
    corners = project(seen.camera, np.column_stack([grown, np.full(4, -1.0)]))
    traced = seen_exactly(corners)
    with_face, without = (side_block(0, traced, PLANE, HALF, "id1", f) for f in (faces, None))
    right = slice(6, 12)
    assert np.abs(with_face.linearised(seen)[0]).max() < 0.02
    assert np.abs(without.linearised(seen)[0][right]).max() > 0.2
    whole = [np.linalg.inv(b.whitener.T @ b.whitener)[right, right].mean() for b in (with_face, without)]
    px_per_mm = np.linalg.norm(corners[2] - corners[1]) / 53.98
    assert whole[0] - whole[1] == pytest.approx((faces[1] * px_per_mm) ** 2 / 12, rel=0.02)


def test_uprights_are_looked_for_though_the_horizontal_is_turned_as_far_as_paper_ever_is():
    """Then few directions are left to try: seen on a rendering with a card, whose wall was not measured."""
    y = np.arange(8) * 75.0
    ends = np.stack([np.column_stack([np.zeros(8), y]), np.column_stack([np.full(8, 300.0), y + 300 * 0.244])], axis=1)
    found = _agreeing(ends, 0.276, 5)
    assert found is not None
    assert found[1] == pytest.approx(np.arctan(0.244), abs=0.01)
