"""A start for the wall's lines where one small reference shows the wall's slant badly: that of the opening's corners.

Opposite sides of an opening run together in the photo by the slant of the wall (Hartley and Zisserman 2004, ch. 8.6).
They are no proof of it: the start chooses lines, and those decide.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.camera import Camera, back_project, undistort
from vision.observations import DEPTH, PhotoState
from vision.request import Array
from vision.solving.solved import Solved
from vision.solving.start import rigid_motion

STEPS = 128  # of the photo: corners as they come here, so that the start stays while one is moved a little (a guess)


def rough_corners(corners_px: Array | None, size_px: int) -> Array | None:
    """Return the corners (4, 2) px to the next of the steps of the photo's long side; None where not all are known."""
    if corners_px is None or not np.isfinite(corners_px).all():
        return None
    step = size_px / STEPS
    return np.asarray(np.rint(corners_px / step) * step)


def as_opening_lies(solved: Solved, corners_px: Array) -> PhotoState | None:
    """Return the state in which the wall lies as the opening's corners (4, 2) px say; None where they say nothing.

    The first reference keeps its place in the photo and its size.
    """
    state = solved.adjusted.state
    camera, outline = state.camera, solved.outlines_px[0]
    plane = back_project(camera, outline, float(state.references[0, DEPTH]))
    rays = _rays(camera, corners_px)
    across = np.cross(np.cross(rays[0], rays[1]), np.cross(rays[3], rays[2]))
    down = np.cross(np.cross(rays[0], rays[3]), np.cross(rays[1], rays[2]))
    lengths = np.linalg.norm(across), np.linalg.norm(down)
    if min(lengths) < 1e-12 or not np.isfinite(plane).all():
        return None
    across, down = across / lengths[0] * np.sign(across[0]), down / lengths[1] * np.sign(down[1])
    normal = np.cross(across, down)
    normal /= np.linalg.norm(normal)
    wall = np.column_stack([across, np.cross(normal, across), normal])
    seen = _rays(camera, outline) @ wall  # in the wall's axes
    if (seen[:, 2] < 0.2).any():
        return None
    seen = seen[:, :2] / seen[:, 2:]
    scale = float(np.linalg.norm(plane - plane.mean(0)) / np.linalg.norm(seen - seen.mean(0)))
    x, y, turn = rigid_motion(plane, seen * scale)
    c, s = np.cos(turn), np.sin(turn)
    rotation = wall @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    shift = wall @ np.array([x, y, scale])
    moved = Camera(rotation, shift, camera.focal_px, camera.cx, camera.cy, camera.k1, camera.k2)
    return replace(state, camera=moved)


def _rays(camera: Camera, px: Array) -> Array:
    xy = undistort(camera, px)
    return np.column_stack([xy, np.ones(len(xy))])
