"""The camera against OpenCV's projection, scipy's derivatives and similar triangles."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.differentiate import jacobian

from vision.camera import UNKNOWNS, Camera, back_project, project, project_jacobian, undistort


def camera(turn=(0.1, -0.2, 0.05), shift=(40.0, -60.0, 2500.0), k1=0.03, k2=-0.008):
    rotation = np.asarray(cv2.Rodrigues(np.array(turn))[0], float)
    return Camera(rotation, np.array(shift), 2795.7, 2013.3, 1508.2, k1, k2)


def wall_points(n=40, depth=100.0):
    return np.random.default_rng(1).uniform([-900, -700, -depth], [900, 700, depth], (n, 3))


def square_on(z_mm=3000.0):
    return Camera(np.eye(3), np.array([0, 0, z_mm]), 2795.7, 2015.5, 1511.5)


def test_projection_agrees_with_opencv():
    """Oracle: cv2.projectPoints with k1, k2 and no tangential part."""
    c, xyz = camera(), wall_points()
    k = np.array([[c.focal_px, 0, c.cx], [0, c.focal_px, c.cy], [0, 0, 1.0]])
    lens = np.array([c.k1, c.k2, 0, 0])
    seen = cv2.projectPoints(xyz, cv2.Rodrigues(c.rotation)[0], c.translation_mm, k, lens)[0].reshape(-1, 2)
    assert project(c, xyz) == pytest.approx(np.asarray(seen), abs=1e-7)
    assert project_jacobian(c, xyz)[0] == pytest.approx(np.asarray(seen), abs=1e-7)


def test_points_behind_the_camera_have_no_pixel():
    seen = project(square_on(), np.array([[0, 0, -3001.0], [0, 0, 0.0]]))
    assert np.isnan(seen[0]).all()
    assert seen[1] == pytest.approx([2015.5, 1511.5])


def _derivatives(function, n, step):
    """Oracle: scipy.differentiate.jacobian at zero, order 8; `function` takes (n,)."""

    def vectorised(x):
        flat = x.reshape(n, -1)
        return np.stack([function(v) for v in flat.T], axis=-1).reshape(-1, *x.shape[1:])

    return jacobian(vectorised, np.zeros(n), initial_step=step).df


@pytest.mark.parametrize("lens", [(0.0, 0.0), (0.03, -0.008), (-0.2, 0.1)])
def test_the_jacobian_by_the_unknowns_agrees_with_scipy(lens):
    c, xyz = camera(k1=lens[0], k2=lens[1]), wall_points(4)
    scale = np.array([1e-2] * 3 + [10.0] * 3 + [1e-2, 1, 1, 1e-2, 1e-2])
    expected = _derivatives(lambda x: project(c.moved(x * scale), xyz).ravel(), UNKNOWNS, 0.5).reshape(4, 2, UNKNOWNS)
    assert project_jacobian(c, xyz)[1] * scale == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_the_jacobian_by_the_point_agrees_with_scipy():
    c, xyz = camera(), wall_points(4)
    by_point = project_jacobian(c, xyz)[2]
    for i, p in enumerate(xyz):
        expected = _derivatives(lambda d, p=p: project(c, (p + d)[None]).ravel(), 3, 5.0)
        assert by_point[i] == pytest.approx(expected, rel=1e-6, abs=1e-8)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.floats(-0.12, 0.12),
    st.floats(-0.05, 0.05),
    st.floats(-0.6, 0.6),
    st.floats(-0.6, 0.6),
    st.floats(-150, 150),
)
def test_a_wall_point_seen_and_traced_back_is_the_same_point(k1, k2, pitch, yaw, z_mm):
    c = camera((pitch, yaw, 0.3), k1=k1, k2=k2)
    xy = np.random.default_rng(2).uniform(-600, 600, (20, 2))
    seen = project(c, np.column_stack([xy, np.full(20, z_mm)]))
    assert back_project(c, seen, z_mm) == pytest.approx(xy, abs=1e-5)


def test_undistortion_takes_the_lens_away():
    """Oracle: the ideal coordinates x / z of the points, and OpenCV's own iterations."""
    c, xyz = camera(), wall_points()
    p = xyz @ c.rotation.T + c.translation_mm
    seen = project(c, xyz)
    assert undistort(c, seen) == pytest.approx(p[:, :2] / p[:, 2:], abs=1e-12)
    k = np.array([[c.focal_px, 0, c.cx], [0, c.focal_px, c.cy], [0, 0, 1.0]])
    end = (cv2.TERM_CRITERIA_MAX_ITER | cv2.TERM_CRITERIA_EPS, 100, 1e-14)
    theirs = cv2.undistortPoints(seen[:, None], k, np.array([c.k1, c.k2, 0, 0]), criteria=end).reshape(-1, 2)
    assert undistort(c, seen) == pytest.approx(np.asarray(theirs), abs=1e-9)


def test_the_principal_point_undistorts_to_the_axis():
    assert undistort(camera(), np.array([[2013.3, 1508.2]])) == pytest.approx(np.zeros((1, 2)), abs=1e-12)


def test_pixels_beyond_the_fold_of_a_strong_lens_stay_finite():
    assert np.isfinite(undistort(camera(k1=-0.5, k2=0.0), np.array([[9e3, 9e3]]))).all()


def test_rays_that_miss_the_plane_give_no_place():
    behind = square_on().centre_mm()[2] - 2000
    assert np.isnan(back_project(square_on(), np.array([[10.0, 20.0]]), behind)).all()


@pytest.mark.parametrize(("proud_mm", "measured_mm"), [(100.0, 883.92), (-100.0, 944.88)])
def test_a_reference_out_of_the_plane_scales_by_similar_triangles(proud_mm, measured_mm):
    """Derived: Z 3000 mm, 914.4 mm object, reference 100 mm nearer or farther: 914.4 (1 -+ d/Z)."""
    c = square_on()
    ends = project(c, np.array([[-457.2, 0, 0], [457.2, 0, 0]]))
    a, b = back_project(c, ends, -proud_mm)
    assert b[0] - a[0] == pytest.approx(measured_mm, abs=1e-9)


def test_914_mm_at_3007_5_mm_cover_850_pixels():
    """Derived: Z = f W / w = 2795.7 x 914.4 / 850 = 3007.5 mm."""
    ends = project(square_on(3007.5), np.array([[-457.2, 0, 0], [457.2, 0, 0]]))
    assert ends[1, 0] - ends[0, 0] == pytest.approx(850, abs=0.01)


def test_a_wall_turned_by_5_degrees_shows_its_near_edge_3_percent_longer():
    """Derived: (Z + W/2 sin) / (Z - W/2 sin) = 1.02948 at Z 3000, W 1000."""
    turn = np.asarray(cv2.Rodrigues(np.array([0, np.radians(5), 0]))[0], float)
    c = Camera(turn, np.array([0, 0, 3000.0]), 2795.7, 0, 0)
    uv = project(c, np.array([[-500, 0, 0], [-500, 100, 0], [500, 0, 0], [500, 100, 0.0]]))
    lengths = np.linalg.norm(uv[1::2] - uv[::2], axis=1)
    assert lengths.max() / lengths.min() == pytest.approx(1.02948, abs=1e-5)


def test_the_centre_of_projection_is_projected_to_nothing():
    c = camera()
    assert c.rotation @ c.centre_mm() + c.translation_mm == pytest.approx(np.zeros(3), abs=1e-9)


def test_moving_by_an_increment_turns_from_the_left():
    """Oracle: OpenCV's composition of rotation vectors."""
    c, d = camera(), np.array([0.1, 0.2, -0.3, 1, 2, 3, 0.1, 5, 6, 0.01, 0.02])
    m = c.moved(d)
    both = cv2.composeRT(cv2.Rodrigues(c.rotation)[0], np.zeros((3, 1)), d[:3, None], np.zeros((3, 1)))[0]
    assert m.rotation == pytest.approx(np.asarray(cv2.Rodrigues(both)[0]), abs=1e-12)
    assert [m.focal_px, m.cx, m.cy, m.k1, m.k2] == pytest.approx(
        [c.focal_px * np.exp(0.1), c.cx + 5, c.cy + 6, c.k1 + 0.01, c.k2 + 0.02]
    )


def test_an_increment_moves_the_wall_by_its_millimetres_to_first_order():
    c = camera()
    for longer in (0.0, 1e-4):
        d = np.array([0, 0, 0, 0.1, -0.2, 0.3, longer, 0.05, 0.06, 0, 0])
        assert c.moved(d).translation_mm == pytest.approx(c.translation_mm + d[3:6], abs=2e-4)


def test_a_longer_lens_further_off_shows_the_same_wall_however_long():
    """Oracle: the pinhole. Where the wall stands square, only the ratio of focal length and distance shows."""
    square = Camera(np.eye(3), np.array([300.0, -200.0, 3000.0]), 2900.0, 2000.0, 1500.0)
    for longer in (-0.3, 0.01, 0.3):
        d = np.zeros(UNKNOWNS)
        d[3:7] = *(longer * square.translation_mm * np.array([0, 0, 1])), longer
        wall = np.array([[0.0, 0, 0], [900, 0, 0], [0, 1200, 0]])
        assert project(square.moved(d), wall) == pytest.approx(project(square, wall), abs=1e-9)


def test_an_increment_to_another_camera_leads_there():
    c, d = camera(), np.array([0.1, 0.2, -0.3, 40, -70, 300, 0.2, 50, -60, 0.01, 0.02])
    there = c.moved(d)
    assert c.increment_to(there) == pytest.approx(d)
    behind = replace(c, translation_mm=np.array([10.0, 20.0, -500.0]))
    assert behind.moved(behind.increment_to(there)).translation_mm == pytest.approx(there.translation_mm)
    assert behind.moved(d).translation_mm == pytest.approx(behind.translation_mm + d[3:6])
