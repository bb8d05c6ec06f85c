"""Courses as observations: derivative, projection and whitening against oracles outside."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.camera import Camera
from vision.observations import FIRST_REFERENCE, PER_REFERENCE, PhotoState
from vision.uncertainty import jacobian
from vision.wall.courses import Pieces, across_along, course_block, group, whitening

WALL = np.array([0.02, -0.003])


def state():
    rotation = np.asarray(cv2.Rodrigues(np.array([0.15, -0.25, 0.05]))[0], float)
    camera = Camera(rotation, np.array([-300.0, -60.0, 2600.0]), 1450.0, 1030.0, 770.0, 0.05, -0.01)
    return PhotoState(camera, np.zeros(2), np.zeros((1, PER_REFERENCE)), WALL)


def seen(s, xy):
    """Return the pixels of wall points by OpenCV."""
    c = s.camera
    matrix = np.array([[c.focal_px, 0, c.cx], [0, c.focal_px, c.cy], [0, 0, 1]])
    turn = cv2.Rodrigues(c.rotation)[0]
    xyz = np.column_stack([xy, np.zeros(len(xy))])
    return cv2.projectPoints(xyz, turn, c.translation_mm, matrix, np.array([c.k1, c.k2, 0, 0, 0]))[0].reshape(-1, 2)


def lines(rng, scatter=0.0):
    """Return points (N, 2) mm on three horizontals and two verticals of the wall, course (N,), upright (N,)."""
    points, course, upright = [], [], []
    for i, (offset, up) in enumerate([(-500, False), (0, False), (640, False), (-700, True), (900, True)]):
        along = np.sort(rng.uniform(-1000, 1000, 9))
        angle = WALL[0] + (WALL[1] + np.pi / 2 if up else 0)
        d, n = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
        points.append(along[:, None] * d + (offset + rng.normal(0, scatter, 9))[:, None] * n)
        course += [i] * 9
        upright += [up] * 9
    return np.concatenate(points), np.array(course), np.array(upright)


def block(rng, scatter=0.0):
    points, course, upright = lines(rng, scatter)
    s = state()
    pixel = seen(s, points)
    _, along = across_along(s, pixel, upright)
    whiten = whitening(course, along, rng.uniform(0.3, 1.2, len(course)), np.full(5, 1e-3))
    return course_block(s, pixel, upright, course, whiten)


def test_lines_of_the_wall_seen_by_opencv_have_no_misclosure():
    """Oracle: cv2.projectPoints with distortion; 1e-3 of a standard deviation is Newton's rest in `undistort`."""
    w, _ = block(np.random.default_rng(1)).linearised(state())
    assert len(w) == 5 * 8
    assert np.abs(w).max() < 1e-3


def test_the_design_matrix_is_the_derivative_of_the_misclosure():
    """Oracle: central differences; observed minus computed, hence the sign."""
    b, s = block(np.random.default_rng(2), 1.0), state()
    steps = np.array([1e-6] * 3 + [1e-3] * 3 + [1e-6, 1e-2, 1e-2, 1e-5, 1e-5] + [1e-6] * 4 + [1e-3] * PER_REFERENCE)
    w, a = b.linearised(s)
    slope = jacobian(lambda d: b.linearised(s.moved(d))[0], np.zeros(s.unknowns), steps)
    # where residuals are not zero, turning the axes changes nothing to first order: exact up to the distances squared
    assert a == pytest.approx(-slope, rel=1e-4, abs=1e-4 * np.abs(slope).max())
    assert np.abs(a[:, FIRST_REFERENCE:]).max() == 0
    assert np.isfinite(w).all()


def test_whitening_equals_least_squares_with_place_and_slope_as_unknowns():
    """Oracle: the dense normal equations with one free place and one slope of known sd a course as nuisances.

    Koch (1999), Parameter Estimation and Hypothesis Testing, 3.2.6 (Schur's complement).
    """
    rng = np.random.default_rng(3)
    course = np.repeat([0, 1, 2], [7, 4, 9])
    along, u = rng.uniform(-1500, 1500, 20), rng.uniform(0.2, 2, 20)
    u_slope = np.array([1e-3, 5e-4, 2e-3])
    a, y = rng.normal(0, 1, (20, 4)), rng.normal(0, 1, 20)
    t = whitening(course, along, u, u_slope)
    one = (course[:, None] == np.arange(3)).astype(float)
    mean = np.array([along[course == c].mean() for c in range(3)])
    b = np.hstack([one, one * (along - mean[course])[:, None]])
    p = np.diag(u**-2)
    nuisance = b.T @ p @ b + np.diag([0, 0, 0, *u_slope**-2])
    cross = a.T @ p @ b
    normal = a.T @ p @ a - cross @ np.linalg.solve(nuisance, cross.T)
    right = a.T @ p @ y - cross @ np.linalg.solve(nuisance, b.T @ p @ y)
    assert (t @ a).T @ (t @ a) == pytest.approx(normal, rel=1e-8)
    assert (t @ a).T @ (t @ y) == pytest.approx(right, rel=1e-8, abs=1e-10)


def test_a_course_of_one_point_says_nothing():
    assert whitening(np.array([0]), np.zeros(1), np.ones(1), np.ones(1)).shape == (0, 1)


def test_a_state_that_looks_past_the_wall_costs_infinitely_much():
    s = state()
    away = PhotoState(
        Camera(np.asarray(cv2.Rodrigues(np.array([0.0, 1.6, 0]))[0], float), s.camera.translation_mm, 1450, 1030, 770),
        s.size,
        s.references,
        s.wall,
    )
    assert np.isinf(block(np.random.default_rng(1)).linearised(away)[0]).all()


def test_bricks_are_grouped_by_course_and_by_the_side_of_the_light():
    """Courses 75 mm apart, tops and bottoms of joints of 10 mm, bricks laid to 1 mm: common practice."""
    rng = np.random.default_rng(5)
    s = state()
    points, truth, bright = [], [], []
    for i in range(10):
        for side in (0, 1):
            along = rng.uniform(-900, 900, 12)
            n = np.array([-np.sin(WALL[0]), np.cos(WALL[0])])
            offset = -350 + 75 * i + 10 * side + rng.normal(0, 1.0, 12)
            points.append(along[:, None] * [np.cos(WALL[0]), np.sin(WALL[0])] + offset[:, None] * n)
            truth += [2 * i + side] * 12
            bright += [1 - 2 * side] * 12
    pixel = seen(s, np.concatenate(points))
    n = len(pixel)
    label = group(s, Pieces(pixel, np.zeros(n, bool), np.array(bright, float), np.full(n, 200.0), np.ones(n)))
    pairs = {(a, b) for a, b in zip(label.tolist(), truth, strict=True) if a >= 0}
    assert len(pairs) == 20
    assert len({a for a, _ in pairs}) == 20
    assert (label >= 0).all()


@pytest.mark.parametrize(("apart_mm", "courses"), [(1300.0, 10), (300.0, 0)])
def test_one_brick_at_each_side_of_an_opening_is_a_course_where_they_lie_far_apart(apart_mm, courses):
    """Over 1.3 m bricks laid to 1 mm tell a slope to 1.1 mrad; over a brick's length they tell nothing."""
    rng = np.random.default_rng(8)
    s = state()
    run, n = np.array([np.cos(WALL[0]), np.sin(WALL[0])]), np.array([-np.sin(WALL[0]), np.cos(WALL[0])])
    at = [(a, -350 + 75 * i + rng.normal(0, 1.0)) for i in range(10) for a in (-apart_mm / 2, apart_mm / 2)]
    pixel = seen(s, np.array([a * run + b * n for a, b in at]))
    count = len(pixel)
    of = group(s, Pieces(pixel, np.zeros(count, bool), np.ones(count), np.full(count, 70.0), np.full(count, 1.0)))
    assert len(set(of) - {-1}) == courses
    if courses:
        assert (of[::2] == of[1::2]).all()


def test_scatter_alone_pulls_the_camera_nowhere():
    """Oracle: at the truth the expectation of an unbiased estimator's score is zero (Godambe 1960; from memory).

    Scatter is in the wall: taken in its mm it would vanish at the far end where the camera sees that end nearer.
    """
    rng, s = np.random.default_rng(3), state()
    points, course, upright = lines(rng)
    angle = WALL[0] + np.where(upright, WALL[1] + np.pi / 2, 0.0)
    across = np.stack([-np.sin(angle), np.cos(angle)], axis=1)
    scores = []
    for _ in range(400):
        pixel = seen(s, points + rng.normal(0, 3.0, (len(points), 1)) * across)
        _, along = across_along(s, pixel, upright)
        whiten = whitening(course, along, np.full(len(course), 3.0), np.full(5, 1e-6))
        w, a = course_block(s, pixel, upright, course, whiten).linearised(s)
        scores.append((a.T @ w)[[0, 1, 6]])  # turned about x and y, focal length
    mean, se = np.mean(scores, axis=0), np.std(scores, axis=0) / np.sqrt(len(scores))
    assert np.abs(mean / se).max() < 3.5
