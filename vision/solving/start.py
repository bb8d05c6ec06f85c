"""First values of camera and references, from homographies and a prior focal length."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision.camera import Camera, back_project
from vision.observations import DEPTH, PER_REFERENCE, TURN, PhotoState, X, Y
from vision.priors import STANDOFF_MM, CameraPrior
from vision.request import Array


def start_states(
    prior: CameraPrior, plane_mm: Sequence[Array], pixels: Sequence[Array], turn_rad: float = 0.0
) -> list[PhotoState]:
    """Return possible states, one or two a seed reference; `plane_mm[i]` (N, 2) are seen at `pixels[i]` (N, 2).

    A single plane seen weakly in perspective has two poses (Collins and Bartoli 2014, IPPE): both are tried. The
    largest two references are tried as seeds; the first reference always carries the frame, in which it is turned by
    `turn_rad`.
    """
    k = np.array([[prior.focal_px, 0, prior.cx], [0, prior.focal_px, prior.cy], [0, 0, 1.0]])
    order = np.argsort([-np.ptp(p, axis=0).prod() for p in pixels])[:2]
    states = []
    for seed in order:
        world = np.column_stack([plane_mm[seed], np.zeros(len(plane_mm[seed]))])
        bent = np.array([prior.k1, prior.k2, 0.0, 0.0])
        count, turns, shifts, _ = cv2.solvePnPGeneric(world, pixels[seed], k, bent, flags=cv2.SOLVEPNP_IPPE)
        for i in range(count):
            rotation = np.asarray(cv2.Rodrigues(turns[i])[0], float)
            shift = np.asarray(shifts[i], float).ravel()
            camera = Camera(rotation, shift, prior.focal_px, prior.cx, prior.cy, prior.k1, prior.k2)
            state = _placed(camera, plane_mm, pixels, turn_rad)
            if state is not None:
                states.append(state)
    return states


def _placed(camera: Camera, plane_mm: Sequence[Array], pixels: Sequence[Array], turn_rad: float) -> PhotoState | None:
    """Return the state with every reference placed by back projection and the frame moved to the first one."""
    places = np.zeros((len(pixels), 3))
    for i, (plane, pixel) in enumerate(zip(plane_mm, pixels, strict=True)):
        wall = back_project(camera, pixel, 0.0)
        if not np.isfinite(wall).all():
            return None
        places[i] = rigid_motion(plane, wall)
    # frame of the first reference, turned: X = R0 X' + p0
    x0, y0, turn0 = places[0] - [0, 0, turn_rad]
    c, s = np.cos(turn0), np.sin(turn0)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    moved = Camera(
        camera.rotation @ turn,
        camera.translation_mm + camera.rotation @ np.array([x0, y0, 0.0]),
        camera.focal_px,
        camera.cx,
        camera.cy,
        camera.k1,
        camera.k2,
    )
    references = np.zeros((len(pixels), PER_REFERENCE))
    references[:, [X, Y]] = (places[:, :2] - [x0, y0]) @ turn[:2, :2]
    references[:, TURN] = (places[:, 2] - turn0 + np.pi) % (2 * np.pi) - np.pi
    references[:, DEPTH] = -STANDOFF_MM
    return PhotoState(moved, np.zeros(2), references)


def rigid_motion(plane: Array, wall: Array) -> Array:
    """Return x, y, turn of the rigid motion that takes `plane` (N, 2) nearest to `wall` (N, 2) (Umeyama 1991)."""
    a, b = plane - plane.mean(0), wall - wall.mean(0)
    turn = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    c, s = np.cos(turn), np.sin(turn)
    shift = wall.mean(0) - np.array([[c, -s], [s, c]]) @ plane.mean(0)
    return np.array([*shift, turn])
