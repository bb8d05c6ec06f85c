"""The side faces of a card that the camera sees beside its front: they make it look larger on the side toward it."""

from __future__ import annotations

import numpy as np

from vision.observations import PhotoState, reference_points
from vision.request import Array

THICK_MM = {"id1": 0.76}  # ISO/IEC 7810; paper has none, that of a given rectangle is not known


def side_faces_mm(state: PhotoState, k: int, plane_mm: Array, half_mm: Array, kind: str) -> Array | None:
    """Return how far (4,) mm the side faces of reference `k` reach beyond its sides, as seen in its own plane.

    Parameters
    ----------
    plane_mm : its corners (4, 2) from its middle, clockwise from the top left one.

    Notes
    -----
    None for a kind without faces. A face is seen where the camera stands outward of its side: its foot, a thickness
    behind the front, then lies in the front's plane where the ray through it crosses that, by the intercept theorem.
    """
    if kind not in THICK_MM:
        return None
    corners = reference_points(state, k, plane_mm, half_mm)[0]
    to_camera = state.camera.centre_mm() - (corners + np.roll(corners, -1, axis=0)) / 2
    along = (np.roll(corners, -1, axis=0) - corners)[:, :2]
    outward = np.column_stack([along[:, 1], -along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    beyond = (to_camera[:, :2] * outward).sum(1) * THICK_MM[kind] / (np.abs(to_camera[:, 2]) + THICK_MM[kind])
    return np.asarray(np.maximum(beyond, 0.0))
