"""Lines drawn on a picture, in pixels of it: with a dark halo, in dashes, as dimensions."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pictures.looks import HALO, Colour, Look
from vision.request import Array

Pixels = NDArray[np.uint8]


def scaled(points_px: Array, scale: float) -> Array:
    """Return finite points (N, 2) of the scaled picture; pixel centres stay at integers."""
    points = np.asarray(points_px, np.float64).reshape(-1, 2)
    points = (points + 0.5) * scale - 0.5
    kept: Array = points[np.isfinite(points).all(axis=1) & (np.abs(points) < 1e5).all(axis=1)]
    return kept


def resampled(line: Array, step_px: float) -> Array:
    """Return points every step_px along a polyline (M, 2)."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    if len(line) < 2 or length[-1] == 0.0:
        return line
    at = np.linspace(0.0, length[-1], max(2, int(min(length[-1] / step_px, 20_000)) + 1))
    return np.column_stack([np.interp(at, length, line[:, 0]), np.interp(at, length, line[:, 1])])


def draw_line(canvas: Pixels, line: Array, colour: Colour, stroke: int, dashes: Sequence[float] = ()) -> None:
    """Draw a polyline in place, with a dark halo, in dashes given in stroke widths."""
    if len(line) < 2:
        return
    pieces = [line]
    if dashes:
        fine = resampled(line, 1.0)
        lengths = np.maximum(1, np.round(np.array(dashes) * stroke * 2).astype(int))
        on = np.repeat(np.arange(len(lengths)) % 2 == 0, lengths)
        shown = on[np.arange(len(fine)) % len(on)]
        starts = np.flatnonzero(np.diff(np.concatenate([[False], shown, [False]]).astype(int)))
        pieces = [fine[a:b] for a, b in zip(starts[::2], starts[1::2], strict=True) if b - a > 1]
    # cv2 takes sub-pixel places as integers with `shift` binary digits
    fixed = [np.round(piece * 16).astype(np.int32).reshape(-1, 1, 2) for piece in pieces]
    cv2.polylines(canvas, fixed, False, HALO, 2 * stroke + 1, cv2.LINE_AA, 4)
    cv2.polylines(canvas, fixed, False, colour, stroke, cv2.LINE_AA, 4)


def draw_dimension(canvas: Pixels, line: Array, look: Look, stroke: int) -> None:
    """Draw a dimension line with a bar across each end."""
    stroke = round(stroke * look.weight)
    draw_line(canvas, line, look.colour, stroke, look.dashes)
    along = line[1] - line[0]
    length = float(np.linalg.norm(along))
    if length == 0.0:
        return
    across = np.array([-along[1], along[0]]) / length * 5 * stroke
    for end in line:
        draw_line(canvas, np.vstack([end - across, end + across]), look.colour, stroke)
