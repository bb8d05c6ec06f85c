"""A curled page: sides seen exactly by a known camera, bent as a parabola."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.camera import Camera, project
from vision.observations import BULGE_X, PER_REFERENCE, PhotoState, reference_points
from vision.page_sides.fit import TracedSide
from vision.page_sides.traced import TracedQuad
from vision.priors import camera_prior
from vision.request import Reference
from vision.solving.solve_pages import BENT_MM, solve_rectangles

HALF = np.array([215.9, 279.4]) / 2
PLANE = HALF * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
TURN = np.asarray(cv2.Rodrigues(np.array([0.08, -0.1, 0.01]))[0], float)
CAMERA = Camera(TURN, np.array([-450.0, 60.0, 1500.0]), 1300.0, 799.5, 599.5)
PRIOR = camera_prior(1300.0, 0.03, (1600, 1200), known=True)


def seen(bulge_mm):
    """Return the traced sides of a Letter page bent by a bulge across and along (2,) mm."""
    references = np.zeros((1, PER_REFERENCE))
    references[0, BULGE_X : BULGE_X + 2] = bulge_mm
    state = PhotoState(CAMERA, np.zeros(2), references)

    def put(points):
        return project(CAMERA, reference_points(state, 0, points, HALF)[0])

    sides = []
    for k in range(4):
        a, b = PLANE[k], PLANE[(k + 1) % 4]
        along = np.linspace(0.1, 0.9, 12)
        d = np.diff(put(np.array([a, b])), axis=0)[0]
        normal = np.tile(np.array([d[1], -d[0]]) / np.linalg.norm(d), (12, 1))
        sides.append(TracedSide(put(a + along[:, None] * (b - a)), normal, np.full(12, 0.02), along, 1.0, 0.03, 0.5))
    return TracedQuad(put(PLANE), tuple(sides), (0.8, 0.8))


def solved(bulge_mm):
    traced = seen(bulge_mm)
    return solve_rectangles([traced.corners_px], Reference("letter"), PRIOR, "masonry", 1.0, None, [traced])


@pytest.mark.parametrize("bulge_mm", [(0.0, 6.0), (5.0, 0.0), (0.0, -4.0)])
def test_a_curled_page_is_measured_as_it_bends_and_said_to_bend(bulge_mm):
    found = solved(bulge_mm)
    bent = found.adjusted.state.references[0, BULGE_X : BULGE_X + 2]
    assert bent == pytest.approx(bulge_mm, abs=0.6)
    assert "reference-bent" in {w.code for w in found.warnings}


def test_a_flat_page_is_not_said_to_bend():
    found = solved((0.3, -0.4))
    assert np.abs(found.adjusted.state.references[0, BULGE_X : BULGE_X + 2]).max() < BENT_MM
    assert "reference-bent" not in {w.code for w in found.warnings}
