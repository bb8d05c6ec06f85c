"""The printable reference sheet in millimetres: squares, markers, and every printed edge.

Sheet frame: origin at the top left corner of the pattern, x right, y down. The pattern is OpenCV's ChArUco layout
(3 x 4 squares of 60 mm, markers of 45 mm, DICT_4X4_50); ids 0-5 for A, 6-11 for B, 12-17 for C, 18-23 for D.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from vision.request import Array

LETTERS = "ABCD"
COLUMNS, ROWS = 3, 4
SQUARE_MM, MARKER_MM = 60.0, 45.0
WIDTH_MM, HEIGHT_MM = COLUMNS * SQUARE_MM, ROWS * SQUARE_MM
OUTLINE_MM = np.array([[0.0, 0.0], [WIDTH_MM, 0.0], [WIDTH_MM, HEIGHT_MM], [0.0, HEIGHT_MM]])  # of the pattern
MARKERS_PER_SHEET = 6
CHECK_BAR_ACROSS_MM, CHECK_BAR_ALONG_MM = 150.0, 200.0


def dictionary() -> cv2.aruco.Dictionary:
    """Return the marker dictionary of the sheets."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


@lru_cache(maxsize=8)
def marker_corners_mm(index: int) -> Array:
    """Return the corners (4, 2) mm of marker `index` (0-5 on its sheet), in OpenCV's order: clockwise from top left."""
    board = _board(0)
    corners = np.asarray(board.getObjPoints()[index], float)[:, :2]
    corners.setflags(write=False)
    return corners


@lru_cache(maxsize=1)
def saddles_mm() -> Array:
    """Return the chessboard saddles (6, 2) mm, row by row."""
    points = np.asarray(_board(0).getChessboardCorners(), float)[:, :2]
    points.setflags(write=False)
    return points


def _board(letter: int) -> cv2.aruco.CharucoBoard:
    ids = np.arange(letter * MARKERS_PER_SHEET, (letter + 1) * MARKERS_PER_SHEET)
    return cv2.aruco.CharucoBoard((COLUMNS, ROWS), SQUARE_MM, MARKER_MM, dictionary(), ids)


@lru_cache(maxsize=4)
def black_cells_mm(letter: int) -> Array:
    """Return black rectangles (N, 4) mm as x0, y0, x1, y1 that paint sheet `letter` (0-3): squares and marker cells.

    The cells of a marker are MARKER_MM / 6 wide (border of one cell, four bits); rectangles do not overlap.
    """
    cell = MARKER_MM / 6
    rects = [
        (c * SQUARE_MM, r * SQUARE_MM, (c + 1) * SQUARE_MM, (r + 1) * SQUARE_MM)
        for r in range(ROWS)
        for c in range(COLUMNS)
        if (r + c) % 2 == 0
    ]
    for k in range(MARKERS_PER_SHEET):
        x0, y0 = marker_corners_mm(k)[0]
        bits = cv2.aruco.generateImageMarker(dictionary(), letter * MARKERS_PER_SHEET + k, 6, borderBits=1)
        rects += [
            (x0 + j * cell, y0 + i * cell, x0 + (j + 1) * cell, y0 + (i + 1) * cell)
            for i, j in zip(*np.nonzero(np.asarray(bits) == 0), strict=True)
        ]
    cells = np.array(rects, float)
    cells.setflags(write=False)
    return cells
