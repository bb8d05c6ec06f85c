"""An outline seen exactly, six points a side."""

import numpy as np

from vision.page_sides.fit import TracedSide
from vision.page_sides.traced import TracedQuad
from vision.request import Array


def seen_exactly(corners_px: Array) -> TracedQuad:
    """Return the outline of corners (4, 2) px, each point of a side to 0.05 px, with a scatter of 0.1 px."""
    sides = []
    for k in range(4):
        d = corners_px[(k + 1) % 4] - corners_px[k]
        along = np.linspace(0.1, 0.9, 6)
        normal = np.tile(np.array([d[1], -d[0]]) / np.linalg.norm(d), (6, 1))
        sides.append(TracedSide(corners_px[k] + along[:, None] * d, normal, np.full(6, 0.05), along, 1.0, 0.1, 0.5))
    return TracedQuad(corners_px, tuple(sides), 0.8)
