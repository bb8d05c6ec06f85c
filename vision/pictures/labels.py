"""Where the labels of a drawing go: near their line, never on each other, rather not on other lines.

Picture frame: px, x right, y down. A box is (left, top, right, bottom).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Box = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """A label to be placed: its size (w, h) and the line or outline (N, 2) that it belongs to, px."""

    size_px: tuple[int, int]
    line_px: Array


def placed(
    wanted: Sequence[Wanted], picture_px: tuple[int, int], avoid_px: Array, gap_px: int = 4
) -> tuple[Box, ...] | None:
    """Return one box a label, none overlapping another, or None where they do not all fit.

    Parameters
    ----------
    wanted : sequence of Wanted
        Labels in the order of their importance; the first choose first.
    picture_px : tuple of int
        Width and height of the picture.
    avoid_px : (N, 2) float64
        Points of drawn lines that a label should rather not cover.
    gap_px : int
        Least distance between two boxes.

    Notes
    -----
    Greedy: each takes the candidate that covers the fewest points, then the nearest to the middle of its
    line. Candidates are places along the line, on it and beside it, then a grid over the whole picture.
    """
    boxes: list[Box] = []
    for label in wanted:
        near = _along(label, gap_px)
        box = _best(near, label, boxes, picture_px, avoid_px, gap_px)
        if box is None:
            box = _best(_grid(label, picture_px, gap_px), label, boxes, picture_px, avoid_px, gap_px)
        if box is None:
            return None
        boxes.append(box)
    return tuple(boxes)


def overlap(a: Box, b: Box, gap_px: int = 0) -> bool:
    """Return whether two boxes come nearer than gap_px.

    Examples
    --------
    >>> overlap((0, 0, 10, 10), (10, 0, 20, 10)), overlap((0, 0, 10, 10), (9, 9, 20, 20))
    (False, True)
    """
    apart_x = a[2] + gap_px <= b[0] or b[2] + gap_px <= a[0]
    apart_y = a[3] + gap_px <= b[1] or b[3] + gap_px <= a[1]
    return not (apart_x or apart_y)


def _along(label: Wanted, gap_px: int) -> Array:
    """Return box centres along the label's line and beside it (M, 2)."""
    line = label.line_px
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    parts = np.array([0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9]) * length[-1]
    on = np.column_stack([np.interp(parts, length, line[:, 0]), np.interp(parts, length, line[:, 1])])
    width, height = label.size_px
    dx, dy = width / 2 + 2 * gap_px, height / 2 + 2 * gap_px
    beside = np.array([[0.0, 0.0], [0.0, -dy], [0.0, dy], [dx, 0.0], [-dx, 0.0]])
    centres: Array = (on[:, None, :] + beside[None, :, :]).reshape(-1, 2)
    return centres


def _grid(label: Wanted, picture_px: tuple[int, int], gap_px: int) -> Array:
    """Return box centres all over the picture (M, 2)."""
    width, height = label.size_px
    step_x, step_y = max(8.0, width / 4), max(8.0, height / 2)
    x = np.arange(width / 2 + gap_px, picture_px[0] - width / 2 - gap_px, step_x)
    y = np.arange(height / 2 + gap_px, picture_px[1] - height / 2 - gap_px, step_y)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _best(
    centres: Array,
    label: Wanted,
    taken: Sequence[Box],
    picture_px: tuple[int, int],
    avoid_px: Array,
    gap_px: int,
) -> Box | None:
    """Return the free box of least cost, or None."""
    width, height = label.size_px
    middle = label.line_px.mean(axis=0)
    best: tuple[float, Box] | None = None
    for x, y in centres:
        left, top = round(float(x) - width / 2), round(float(y) - height / 2)
        box = (left, top, left + width, top + height)
        inside = left >= 0 and top >= 0 and box[2] <= picture_px[0] and box[3] <= picture_px[1]
        if not inside or any(overlap(box, other, gap_px) for other in taken):
            continue
        covered = (
            (avoid_px[:, 0] >= left) & (avoid_px[:, 0] < box[2]) & (avoid_px[:, 1] >= top) & (avoid_px[:, 1] < box[3])
        ).sum()
        away = abs(x - middle[0]) / picture_px[0] + abs(y - middle[1]) / picture_px[1]
        cost = float(covered) + 20.0 * float(away)
        if best is None or cost < best[0]:
            best = cost, box
    return None if best is None else best[1]
