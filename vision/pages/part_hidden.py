"""The four sides of an outline of which tape, leaves or a hand hide corners or parts.

The hull of such an outline is no quadrilateral. Its long straight edges still lie on four lines, each with the region
on its own side of it, and these cross in the corners that are hidden.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array

STRAIGHT = 0.012  # of the length around: farther from it an edge is not one line
TURNED = np.deg2rad(22)  # of a side to the common directions: perspective
SAME_LINE = 0.03  # of the size
LEAST, LEAST_ALL = 0.25, 0.55  # of each side that must be straight, and of all together
FILLED = 0.6  # share of the outline that its region fills at least


def straight_sides(contour: NDArray[np.generic], area: float) -> Array | None:
    """Return the corners (4, 2) px at which four long straight edges of a contour (N, 1, 2) px cross, or None."""
    around = cv2.arcLength(contour, True)  # type: ignore[arg-type]
    polygon = cv2.approxPolyDP(contour, max(STRAIGHT * around, 1.0), True)  # type: ignore[arg-type]
    p = np.asarray(polygon, float).reshape(-1, 2)
    if not 4 <= len(p) <= 40:
        return None
    x, y = p.T
    if (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() < 0:
        p = p[::-1]
    edges = np.roll(p, -1, axis=0) - p
    length = np.hypot(*edges.T)
    angle = np.arctan2(edges[:, 1], edges[:, 0])
    main = np.angle((length**2 * np.exp(4j * angle)).sum()) / 4
    size = float(np.sqrt(area))
    lines, seen = [], []
    for k in range(4):
        off = np.angle(np.exp(1j * (angle - main - k * np.pi / 2)))
        of_side = np.flatnonzero(np.abs(off) < TURNED)
        if not len(of_side):
            return None
        best, most = None, 0.0
        for i in of_side[np.argsort(-length[of_side])[:3]]:
            d = edges[i] / length[i]
            normal = np.array([d[1], -d[0]])
            far = np.maximum(
                np.abs((p[of_side] - p[i]) @ normal), np.abs((p[of_side] + edges[of_side] - p[i]) @ normal)
            )
            on = float(length[of_side[far < SAME_LINE * size]].sum())
            if on > most:
                best, most = (*normal, float(normal @ p[i])), on
        if best is None:
            return None
        lines.append(best)
        seen.append(most)
    quad = np.empty((4, 2))
    for k in range(4):
        pair = np.array([lines[k - 1], lines[k]])
        if abs(np.linalg.det(pair[:, :2])) < 0.5:
            return None
        quad[k] = np.linalg.solve(pair[:, :2], pair[:, 2])
    sides = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    share = np.array(seen) / np.maximum(sides, 1e-9)
    if share.min() < LEAST or sum(seen) < LEAST_ALL * sides.sum():
        return None
    whole = cv2.contourArea(quad.astype(np.float32))
    return quad if FILLED * whole < area < 1.25 * whole else None
