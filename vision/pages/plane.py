"""Whether a four-sided thing has the proportions of a reference when it is laid on the wall that the opening lies in.

The opening's sides run with the wall's two directions, so their vanishing points give the wall's slant (Hartley and
Zisserman 2004, ch. 8.6); a lamp's pane or a vent that looks like a page from its corners alone then has other sides.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.priors import CameraPrior
from vision.request import Array

OTHER_RATIO = 0.12  # of the logarithm of the ratio of the sides: beyond it another thing, whatever the clicks
U_SQUARE_MM = 3.0  # guess: how far a corner of the opening is out of square
U_CUT_MM, U_CORNER_PX = 1.15, 0.7  # ISO 216: +-2 mm as rectangular; corners as found, curl and shadow (a guess)
RIVALS = 5.0  # other things have any ratio in a range about five times as wide as a page's scatter
NOT_SQUARE = 0.15  # cosine of a corner's angle; 0.14 was the largest of 3600 draws


def laid_on_wall(quad: Array, opening_px: Array, prior: CameraPrior) -> Array:
    """Return a quadrilateral's corners (4, 2) on the wall, in units of the wall's distance.

    Parameters
    ----------
    quad : (4, 2) px.
    opening_px : rough corners (4, 2) px of the opening, top left first, clockwise.
    prior : focal length and principal point.
    """
    camera = np.array([[prior.focal_px, 0, prior.cx], [0, prior.focal_px, prior.cy], [0, 0, 1.0]])
    rays = _rays(opening_px, camera)
    # The plane of the two directions: each is where opposite sides meet.
    across = _cross(_cross(rays[0], rays[1]), _cross(rays[3], rays[2]))
    down = _cross(_cross(rays[0], rays[3]), _cross(rays[1], rays[2]))
    across, down = across / np.linalg.norm(across), down / np.linalg.norm(down)
    normal = _cross(across, down)
    normal = normal / np.linalg.norm(normal)
    seen = _rays(quad, camera)
    points = seen / (seen @ normal)[:, None]
    second = _cross(normal, across)
    return np.column_stack([points @ across, points @ second])


def ratio_on_wall(
    quad: Array, opening_px: Array, prior: CameraPrior, px_per_mm: float, click_px: float
) -> tuple[float, float, float]:
    """Return what a quadrilateral's sides are on the wall: |log| of their ratio, its u, largest cosine of a corner.

    Parameters
    ----------
    quad, opening_px : (4, 2) px; `click_px` of each coordinate of the opening's corners, which are out of square too.
    px_per_mm : on the wall.

    Notes
    -----
    First order propagation (GUM 5.1.2) by finite differences, from the opening's corners and the prior of the camera.
    """

    def ratio(opening: Array, camera: CameraPrior, quad: Array = quad) -> float:
        sides = np.roll(p := laid_on_wall(quad, opening, camera), -1, axis=0) - p
        lengths = np.hypot(*sides.T)
        return float(np.log((lengths[0] + lengths[2]) / (lengths[1] + lengths[3])))

    sides = np.roll(p := laid_on_wall(quad, opening_px, prior), -1, axis=0) - p
    lengths = np.hypot(*sides.T)
    turns = (sides * np.roll(sides, -1, axis=0)).sum(1) / (lengths * np.roll(lengths, -1))
    here = ratio(opening_px, prior)
    u_px = float(np.hypot(click_px, U_SQUARE_MM * px_per_mm))
    moved = [ratio(opening_px + u_px * step.reshape(4, 2), prior) - here for step in np.eye(8)]
    moved.append(ratio(opening_px, replace(prior, focal_px=prior.focal_px * np.exp(prior.u_log_focal))) - here)
    moved.append(ratio(opening_px, replace(prior, cx=prior.cx + prior.u_centre_px)) - here)
    moved.append(ratio(opening_px, replace(prior, cy=prior.cy + prior.u_centre_px)) - here)
    moved.append(ratio(_bent(opening_px, prior), prior, _bent(quad, prior)) - here)
    return abs(here), float(np.linalg.norm(moved)), float(np.abs(turns).max())


def likeness(
    quad: Array,
    size_mm: tuple[float, float],
    opening_px: Array,
    prior: CameraPrior,
    click_px: float,
) -> float:
    """Return how like the reference a quadrilateral is on the wall, upright or lying: 1 alike, 0 another thing.

    The likelihood of its proportions if it is the reference over that if it is anything, at most 1. `click_px` is the
    standard uncertainty of each coordinate of the opening's corners.
    """
    area = abs(cv2.contourArea(quad.astype(np.float32)))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio, u, turn = ratio_on_wall(quad, opening_px, prior, np.sqrt(area / (size_mm[0] * size_mm[1])), click_px)
    off = abs(ratio - abs(float(np.log(size_mm[0] / size_mm[1]))))
    if not np.isfinite(u) or off > OTHER_RATIO or turn > NOT_SQUARE:
        return 0.0
    cut = U_CUT_MM / np.array(size_mm)
    u = float(np.linalg.norm([u, *cut, U_CORNER_PX / np.sqrt(area / 2)]))
    return float(min(1.0, RIVALS * np.exp(-((off / u) ** 2) / 2)))


def _bent(points: Array, prior: CameraPrior) -> Array:
    """Return points (N, 2) px as a lens moves them whose radial distortion is its standard uncertainty."""
    out = points - [prior.cx, prior.cy]
    r2 = (out**2).sum(1, keepdims=True) / prior.focal_px**2
    return np.asarray(points + out * prior.u_k1 * r2)


def _rays(points: Array, camera: Array) -> Array:
    return np.asarray(np.column_stack([points, np.ones(len(points))]) @ np.linalg.inv(camera).T)


def _cross(a: Array, b: Array) -> Array:
    """Return the vector product of two vectors (3,); NumPy's takes ten times as long for one."""
    (ax, ay, az), (bx, by, bz) = a.tolist(), b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])
