"""Lines of the window or door in an opening as observations: frame, sashes and bars are straight and run parallel.

They say nothing of the opening's own sides, which masons make: whatever lies at those is left out, and the frame may
be set turned, racked and tilted in the wall. What stays is that its horizontals run alike and its uprights too. Seen
in perspective that shows how the wall faces the camera, and their straightness shows the distortion, on any wall.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray

from vision.observations import PhotoState
from vision.request import Array
from vision.wall.courses import LineBlock, across_along, axes_of
from vision.wall.line_blocks import LineKind, line_block, segment_block
from vision.wall.line_vote import vote
from vision.wall.segments import Segments

INSET = 0.04  # of the opening's width and height: nearer to its sides is the wall's own
# Guesses: a member of a frame runs with its fellows to 1.5 mm a metre and is bowed by 0.5 mm over a metre; a frame is
# set to 20 mm a metre, upright and level apart (the wall's own directions are another's business), and its plane to
# 5 mm a metre, about either axis.
FRAME = LineKind(150.0, 0.5, 1.5e-3, u_bow_mm=0.5, alike_mm=80.0)
U_SET_RAD, U_FACING_RAD = 0.02, 0.005
LEAST_PLACES = 3  # a frame has few lines, and little else is seen in it


def inside_opening(found: Segments, corners_px: Array | None) -> NDArray[np.bool_]:
    """Return which segments (N,) lie within an opening, clear of its sides; none where a corner is not in view."""
    if corners_px is None or not np.isfinite(corners_px).all() or not len(found):
        return np.zeros(len(found), bool)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    to_square = cv2.getPerspectiveTransform(np.asarray(corners_px, np.float32), square)
    at = cv2.perspectiveTransform(found.ends_px.reshape(1, -1, 2), to_square).reshape(-1, 4)
    return np.asarray(((at > INSET) & (at < 1 - INSET)).all(1))


def frame_start(found: Segments, state: PhotoState) -> LineBlock | None:
    """Return the segments of a frame by their ends, coarse, for a first adjustment; None: no frame is seen."""
    voted = vote(found, state, uprights=True, least_places=LEAST_PLACES)
    return None if voted is None else _freely_set(segment_block(voted, state, FRAME), state)


def frame_block(grey: cv2.typing.MatLike, found: Segments, state: PhotoState) -> LineBlock | None:
    """Return the lines of a frame among segments within the opening, placed to sub-pixel; None: no frame is seen."""
    voted = vote(found, state, uprights=True, least_places=LEAST_PLACES)
    lines = None if voted is None else line_block(grey, voted, state, FRAME)
    return None if lines is None else _freely_set(lines, state)


def _freely_set(lines: LineBlock, state: PhotoState) -> LineBlock:
    """Return lines that share unknown turns (level, upright) and tilts (about both axes) against the wall.

    Notes
    -----
    A line at y above the foot of the camera, in a plane tilted by t about the upright axis, is seen from the distance
    D to slope by t y / D. The four are normal, of known standard deviation, and taken into the covariance
    C = I + H H^T of the whitened observations, which are then whitened by the root of C.
    """
    across, along = across_along(state, lines.pixel, lines.upright)
    centre = state.camera.centre_mm()
    axis = axes_of(state, lines.upright)[0]
    foot = axis[:, 0] * centre[1] - axis[:, 1] * centre[0]
    fan = along * (across - foot) / abs(centre[2])
    either = np.stack([~lines.upright, lines.upright], axis=1)
    shared = np.concatenate([U_SET_RAD * along[:, None] * either, U_FACING_RAD * fan[:, None] * either], axis=1)
    h = lines.whiten @ shared
    root = np.linalg.cholesky(np.eye(len(h)) + h @ h.T)
    whiten = scipy.linalg.solve_triangular(root, lines.whiten.toarray(), lower=True)
    return replace(lines, whiten=scipy.sparse.csr_array(whiten))
