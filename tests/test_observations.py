"""Observation equations against differences of the picture they predict."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.camera import Camera
from vision.observations import (
    BLOOM,
    FIRST_REFERENCE,
    PER_REFERENCE,
    EdgeBlock,
    PhotoState,
    PriorBlock,
    point_block,
    reference_points,
)
from vision.uncertainty import jacobian

STEPS = np.array(
    [1e-6] * 3
    + [1e-3] * 3
    + [1e-6, 1e-2, 1e-2, 1e-5, 1e-5]
    + [1e-6] * 4
    + [1e-3, 1e-3, 1e-6, 1e-3, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3] * 2
)
HALF = np.array([108.0, 140.0])


def state():
    rotation = np.asarray(cv2.Rodrigues(np.array([0.15, -0.25, 0.05]))[0], float)
    camera = Camera(rotation, np.array([-500.0, -60.0, 2600.0]), 2850.0, 2030.0, 1500.0, 0.02, -0.004)
    references = np.array([[1.0, 2, 0.1, -0.8, 0.01, -0.02, 1, -2, 0.1], [1250, 90, 0.3, 3, 0.02, -0.01, -2, 1, 0.2]])
    return PhotoState(camera, np.array([0.01, -0.005]), references)


def edges(reference):
    rng = np.random.default_rng(1)
    angle = rng.uniform(0, 6, 12)
    normal = np.column_stack([np.cos(angle), np.sin(angle)])
    plane = rng.uniform(-100, 100, (12, 2))
    return EdgeBlock(
        reference, plane, HALF, rng.uniform(0, 3000, (12, 2)), normal, rng.uniform(0.1, 1, 12), np.ones(12)
    )


@pytest.mark.parametrize(
    "block",
    [
        edges(0),
        edges(1),
        point_block(1, np.array([[-50.0, 20], [90, 10]]), HALF, np.zeros((2, 2)), 0.3),
        PriorBlock(np.array([6, 8, 12, 20]), np.zeros(4), np.array([1.0, 2, 3, 4]), "camera"),
    ],
)
def test_the_design_matrix_is_the_derivative_of_what_is_computed(block):
    """Oracle: central differences of the misclosures; observed minus computed, hence the sign."""
    s = state()
    expected = -jacobian(lambda x: block.linearised(s.moved(x))[0], np.zeros(s.unknowns), STEPS)
    scale = np.abs(expected).max(0) + 1e-9
    assert block.linearised(s)[1] / scale == pytest.approx(expected / scale, abs=2e-5)


def test_bloom_moves_printed_edges_along_their_normals_only():
    s, block = state(), edges(0)
    change = np.zeros(s.unknowns)
    change[FIRST_REFERENCE + BLOOM] = 0.3
    moved = block.linearised(s)[0] - block.linearised(s.moved(change))[0]
    assert moved * block.u_px == pytest.approx(np.full(12, 0.3))


def test_a_bulge_lifts_the_middle_of_the_page_toward_the_camera_and_not_its_rim():
    references = np.zeros((1, PER_REFERENCE))
    references[0, 6] = 2.0
    s = PhotoState(state().camera, np.zeros(2), references)
    points, _ = reference_points(s, 0, np.array([[0.0, 0], [108, 0], [-108, 50]]), HALF)
    assert points[:, 2] == pytest.approx([-2.0, 0, 0])


def test_a_sheet_printed_1_percent_wide_is_1_percent_wide_on_the_wall():
    s = PhotoState(state().camera, np.array([0.01, 0.0]), np.zeros((1, PER_REFERENCE)))
    points, _ = reference_points(s, 0, np.array([[-50.0, -80], [50, 80]]), HALF)
    assert points[1] - points[0] == pytest.approx([101, 160, 0])
