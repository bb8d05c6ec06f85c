"""Facts about the texture of receding faces, on strips drawn by plane perspective."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from vision.camera import Camera
from vision.sides.texture import SURE_T, changes, find_end, likelihood_gain, texture_of
from vision.strips.profiles import Strip

CENTRE = np.array([350.0, -500.0, -2000.0])  # mm: 0.5 m above a sill 0.7 m long, 2 m before it


def strip(arris_mm=0.0, slope_px=0.0, step=1.0, grain=0.08, joints=False, seed=1):
    """Return a sill's strip, 1 mm a pixel: front outward of the arris, level top inward of it, both of one grain.

    A point of the top at depth z behind the arris is seen where the ray from the camera through it meets the strip's
    plane: moved by z / (D + z) of the way toward the foot of the camera's perpendicular (similar triangles).
    """
    rng = np.random.default_rng(seed)
    u = np.arange(0, 700, 1.5)
    v = np.arange(-25, 20.01, 0.5)
    tile = ndimage.gaussian_filter(rng.normal(size=(1024, 2048)), 1.2)
    tile = np.exp(grain * tile / tile.std())
    uu, vv = np.meshgrid(u, v, indexing="ij")
    edge = arris_mm + slope_px * (2 * uu / u[-1] - 1)
    below = np.maximum(edge - vv, 0.0)
    share = below / (edge - CENTRE[1] + 1e-9)  # of the way from the arris to the camera's foot
    z = share * -CENTRE[2] / (1 - share)
    x = uu + (uu - CENTRE[0]) * share / (1 - share)
    top = below > 0
    rows = np.where(top, 600 + z, vv - edge)
    light = ndimage.map_coordinates(tile, [rows + 100, x + 300], order=1, mode="wrap")
    if joints:
        light = np.where(np.mod(x, 75) < 10, 1.6, light)
    light = 0.3 * light * np.where(top, step, 1.0)
    light = ndimage.gaussian_filter(light, (0.5, 1.4)) + rng.normal(0, 0.002, light.shape)
    colour = np.repeat(light[..., None], 3, axis=2).astype(np.float32)
    return Strip(colour, u, v, np.zeros(2), np.array([1.0, 0.0]), np.array([0.0, 1.0]), 0.0, 1.0)


def camera():
    return Camera(np.eye(3), -CENTRE, 2000.0, 0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize("joints", [False, True])
def test_an_arris_without_any_step_of_light_is_found_within_two_pixels(joints):
    texture = texture_of(strip(arris_mm=3.0, joints=joints), camera(), [])
    end = find_end(texture, (-12.0, 9.0), None, 5.0)
    assert end is not None
    assert end.t_value > SURE_T
    assert abs(end.shape[0] - 3.0) < 2.0
    assert abs(end.shape[1]) < 2.5


def test_a_slanted_line_does_not_hide_where_the_texture_ends():
    """A line through joints and stains, 9 px off parallel, is the only one; the corners point along the arris."""
    texture = texture_of(strip(arris_mm=3.0, slope_px=-1.0, joints=True), camera(), [])
    end = find_end(texture, (-12.0, 9.0), 9.0, 5.0)
    assert end is not None
    assert end.shape[:2] == pytest.approx([3.0, -1.0], abs=2.5)


def test_a_step_of_light_alone_is_no_end_of_a_texture():
    flat = strip(arris_mm=-60.0)  # all front
    rows = flat.v_mm < 2.0
    flat.colour[:, rows] *= 0.6
    texture = texture_of(flat, camera(), [])
    assert abs(changes(texture, np.array([[2.0, 0.0, 0.0]]))[0]) < 4.0
    assert find_end(texture, (-12.0, 9.0), 0.0, 5.0) is None


def test_light_and_shade_of_the_two_faces_do_not_move_the_evidence():
    shape = np.array([[0.0, 0.0, 0.0]])
    t = [changes(texture_of(strip(step=k), camera(), []), shape)[0] for k in (0.5, 1.0, 1.6)]
    assert np.ptp(t) < 0.35 * np.mean(t)


def test_a_smooth_face_says_nothing():
    t = changes(texture_of(strip(grain=0.0), camera(), []), np.array([[0.0, 0.0, 0.0]]))[0]
    assert abs(t) < 4.0


def test_the_likelihood_is_highest_where_the_faces_meet():
    texture = texture_of(strip(arris_mm=1.0), camera(), [])
    at = np.arange(-6.0, 8.1, 0.5)
    gain = likelihood_gain(texture, np.column_stack([at, 0 * at, 0 * at]))
    assert abs(at[gain.argmax()] - 1.0) <= 1.5
