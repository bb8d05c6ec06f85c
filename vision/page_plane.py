"""Whether a four-sided thing has the proportions of a reference when it is laid on the wall that the opening lies in.

The opening's sides run with the wall's two directions, so their vanishing points give the wall's slant (Hartley and
Zisserman 2004, ch. 8.6); a lamp's pane or a vent that looks like a page from its corners alone then has other sides.
"""

from __future__ import annotations

import numpy as np

from vision.priors import CameraPrior
from vision.request import Array

# By simulation: clicks of 4 px at 12 MP, corners 2 mm out of square and 3 % of focal length move the logarithm of the
# ratio of the sides by 0.008 to 0.023 from a square view to 40 degrees; clicks of 8 px by 0.04 at most (1 sd).
U_RATIO, OTHER_RATIO = 0.025, 0.12
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
    across = np.cross(np.cross(rays[0], rays[1]), np.cross(rays[3], rays[2]))
    down = np.cross(np.cross(rays[0], rays[3]), np.cross(rays[1], rays[2]))
    across, down = across / np.linalg.norm(across), down / np.linalg.norm(down)
    normal = np.cross(across, down)
    normal = normal / np.linalg.norm(normal)
    seen = _rays(quad, camera)
    points = seen / (seen @ normal)[:, None]
    second = np.cross(normal, across)
    return np.column_stack([points @ across, points @ second])


def likeness(quad: Array, size_mm: tuple[float, float], opening_px: Array, prior: CameraPrior) -> float:
    """Return how like the reference a quadrilateral is on the wall, upright or lying: 1 alike, 0 another thing."""
    on_wall = laid_on_wall(quad, opening_px, prior)
    if not np.isfinite(on_wall).all():
        return 0.0
    sides = np.roll(on_wall, -1, axis=0) - on_wall
    lengths = np.hypot(*sides.T)
    turns = (sides * np.roll(sides, -1, axis=0)).sum(1) / (lengths * np.roll(lengths, -1))
    ratio = abs(float(np.log((lengths[0] + lengths[2]) / (lengths[1] + lengths[3]))))
    off = abs(ratio - abs(float(np.log(size_mm[0] / size_mm[1]))))
    if off > OTHER_RATIO or np.abs(turns).max() > NOT_SQUARE:
        return 0.0
    return float(np.exp(-((off / U_RATIO) ** 2) / 2))


def _rays(points: Array, camera: Array) -> Array:
    return np.asarray(np.column_stack([points, np.ones(len(points))]) @ np.linalg.inv(camera).T)
