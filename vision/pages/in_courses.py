"""Whether what looks like a page is a piece of the wall: a brick, or a board between two laps.

Joints and laps run on. Beside a brick they lie at its head and at its foot, a joint's breadth farther out or nearer,
and between these there is none. Beside a page there are others, at other heights: it covers several courses.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array
from vision.srgb import LINEAR

FROM, TO, STATIONS = 0.1, 0.8, 40  # beside it, of its width
LEAST_STATIONS = 12
ABOVE = 0.2  # of its height: joints are 10 mm, bricks 50 mm or more; so far out a line may lie
INTO = 0.05
CLOSE = 0.09  # of its height, to head and foot: cards are as high as bricks, and a joint may lie above and below one
BETWEEN = 0.15  # of its height, from head and foot
PLACES, HALF = 280, 5  # from above its head to below its foot, and on either side of a line
STRONGER = 2.0  # than what lies between
FAINTEST = 0.015  # of square-root light


def in_courses(rgb: NDArray[np.uint8], quad: Array, opening_px: Array | None, *, closely: bool = False) -> bool:
    """Return whether lines of the wall go on from head and foot of a quadrilateral (4, 2) px, and none between them.

    `opening_px` (4, 2): what lies in the opening is no wall. `closely`: only lines at the very head and foot count.
    """
    beyond = CLOSE if closely else ABOVE
    to_photo = np.asarray(
        cv2.getPerspectiveTransform(np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32), quad.astype(np.float32)),
        float,
    )
    down = np.linspace(-ABOVE, 1 + ABOVE, PLACES)
    for along in (np.linspace(-TO, -FROM, STATIONS), np.linspace(1 + FROM, 1 + TO, STATIONS)):
        grid = np.stack(np.meshgrid(along, down, indexing="ij"), -1).reshape(-1, 1, 2)
        px = np.asarray(cv2.perspectiveTransform(grid, to_photo), float).reshape(STATIONS, PLACES, 2)
        if _lines_at_both_ends(rgb, px, down, opening_px, beyond):
            return True
    return False


def _lines_at_both_ends(
    rgb: NDArray[np.uint8], px: Array, down: Array, opening_px: Array | None, beyond: float
) -> bool:
    """Return whether strips (A, V, 2) px beside it show lines at its head and foot and none between."""
    shows = ((px >= 0) & (px <= np.array(rgb.shape[1::-1]) - 1)).all((1, 2))
    if opening_px is not None:
        outline = opening_px.astype(np.float32)
        middles = px[:, px.shape[1] // 2]
        shows &= np.array([cv2.pointPolygonTest(outline, (float(x), float(y)), False) < 0 for x, y in middles])
    if shows.sum() < LEAST_STATIONS:
        return False
    x, y = np.moveaxis(np.rint(px[shows]).astype(np.intp), 2, 0)
    light = np.median(np.sqrt(LINEAR[rgb[y, x]]).mean(2), axis=0)
    total = np.cumsum(light)
    lines = np.abs(2 * total[HALF:-HALF] - total[: -2 * HALF] - total[2 * HALF :]) / HALF
    at = down[HALF:-HALF]
    between = float(lines[(at > BETWEEN) & (at < 1 - BETWEEN)].max())
    head = float(lines[(at > -beyond) & (at < INTO)].max())
    foot = float(lines[(at > 1 - INTO) & (at < 1 + beyond)].max())
    return min(head, foot) > max(STRONGER * between, FAINTEST)
