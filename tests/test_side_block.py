"""Errors of one side of a page go together: its block against the covariance written out."""

from __future__ import annotations

import numpy as np
import pytest

from tests.exact_outline import seen_exactly
from vision.camera import Camera
from vision.observations import BULGE_X, DEPTH, PER_REFERENCE, PhotoState, reference_slice
from vision.page_sides.block import U_BESIDE_MM, U_SIDE_PX, side_block

HALF = np.array([105.0, 148.5])  # A4, ISO 216
PLANE = HALF * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])


def state():
    camera = Camera(np.eye(3), np.array([0.0, 0, 1000.0]), 1000.0, 500.0, 400.0)
    return PhotoState(camera, np.zeros(2), np.zeros((1, PER_REFERENCE)))


def traced():
    """Return the outline of an A4 page at 1 px a mm, six points a side, seen exactly."""
    return seen_exactly(PLANE + np.array([500.0, 400.0]))


def test_an_outline_seen_exactly_has_no_misclosure():
    w, _ = side_block(0, traced(), PLANE, HALF, "a4").linearised(state())
    assert np.abs(w).max() < 1e-6


def test_many_points_do_not_place_a_side_better_than_what_moves_it_whole():
    """Depth alone free: u of the page's size in px is that of four sides moved whole, however many points there are."""
    _, a = side_block(0, traced(), PLANE, HALF, "a4").linearised(state())
    size = a[:, reference_slice(0).start + DEPTH]  # nearer: all sides move out by half a size a metre
    u_depth = 1 / np.sqrt(size @ size)
    whole = np.sqrt(U_SIDE_PX**2 + 0.05**2 + U_BESIDE_MM["a4"] ** 2 + 0.05**2 / 6)
    moves = np.array([0.1485, 0.105, 0.1485, 0.105])  # px a mm of depth
    assert u_depth == pytest.approx(whole / np.sqrt((moves**2).sum()), rel=0.02)


def test_a_side_grown_by_bloom_moves_outward():
    block = side_block(0, traced(), PLANE, HALF, "a4")
    grown = state()
    grown.references[0, -1] = 0.1
    w, _ = block.points.linearised(grown)
    assert w == pytest.approx(np.full(24, -0.1), abs=1e-6)


def test_the_design_matrix_is_the_derivative():
    block, h = side_block(0, traced(), PLANE, HALF, "a4"), 1e-4
    _, a = block.linearised(state())
    for k in (6, 11, reference_slice(0).start + BULGE_X, reference_slice(0).start + DEPTH):
        d = np.zeros(state().unknowns)
        d[k] = h
        there, back = (block.linearised(state().moved(s * d))[0] for s in (1, -1))
        assert a[:, k] == pytest.approx((back - there) / (2 * h), abs=2e-3)
