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


# Guesses, in covered points of lines: a label over what must be seen, over what people are told to look at, a leader
# through another label, over a leader.
_HIDES, _SPOILS, _CROSSES, _OVER_LEADER = 400.0, 300.0, 60.0, 30.0


def placed(
    wanted: Sequence[Wanted],
    picture_px: tuple[int, int],
    avoid_px: Array,
    gap_px: int = 4,
    keep_off: Sequence[Box] = (),
    reach_px: int = 8,
    telling_px: Array | None = None,
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
    keep_off : sequence of Box
        What a label covers only where there is no other place: the sheets that the photo is measured by.
    reach_px : int
        A label farther from its line has a leader.
    telling_px : (N, 2) float64, optional
        Points of what people are told to look at, a few px apart: corners, a side in doubt. Covered only where there
        is no other place but over `keep_off`.

    Notes
    -----
    Greedy: each takes the candidate that covers the fewest points, then the nearest to the middle of its
    line. Candidates are places along the line, on it and beside it, then a grid over the whole picture. A leader, where
    one is needed, goes through no other label.
    """
    telling = _counting(np.empty((0, 2)) if telling_px is None else telling_px, picture_px)
    room = _Room(picture_px, _counting(avoid_px, picture_px), telling, gap_px, reach_px, tuple(keep_off), [], [])
    for label in wanted:
        best = _best(_along(label, gap_px), label, room)
        if best is None or best[0] >= _SPOILS:
            best = min((b for b in (best, _best(_grid(label, picture_px, gap_px), label, room)) if b), default=None)
        if best is None:
            return None
        room.boxes.append(best[1])
        room.leaders.append(leader(label.line_px, best[1], reach_px))
    return tuple(room.boxes)


def leader(line_px: Array, box: Box, reach_px: int) -> Array | None:
    """Return the leader (2, 2) px from a box to the nearest point of its line; None where it stands beside it."""
    centre = np.array([box[0] + box[2], box[1] + box[3]]) / 2
    nearest = line_px[np.argmin(np.linalg.norm(line_px - centre, axis=1))]
    half = np.array([box[2] - box[0], box[3] - box[1]]) / 2
    if (np.abs(nearest - centre) <= half + reach_px).all():
        return None
    return np.stack([np.clip(nearest, box[:2], box[2:]), nearest])


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


@dataclass(frozen=True, slots=True, eq=False)
class _Room:
    """What a label is placed among: `avoid` and `telling` count points left of and above a pixel.

    `boxes` and `leaders` grow.
    """

    picture_px: tuple[int, int]
    avoid: NDArray[np.int32]
    telling: NDArray[np.int32]
    gap_px: int
    reach_px: int
    keep_off: tuple[Box, ...]
    boxes: list[Box]
    leaders: list[Array | None]


def _best(centres: Array, label: Wanted, room: _Room) -> tuple[float, Box] | None:
    """Return the free box of least cost with its cost, or None."""
    size = np.array(label.size_px)
    corner = np.rint(centres - size / 2).astype(np.int64)
    free = ((corner >= 0) & (corner + size <= room.picture_px)).all(axis=1)
    for other in room.boxes:
        free &= ~_overlapped(corner, size, other, room.gap_px)
    if not free.any():
        return None
    centres, corner = centres[free], corner[free]
    away = np.abs(centres - label.line_px.mean(axis=0)) / room.picture_px
    cost = _counted(room.avoid, corner, size) + 20.0 * (away[:, 0] + away[:, 1])
    cost += _SPOILS * (_counted(room.telling, corner, size) > 0)
    hidden, hides = np.zeros(len(corner)), np.zeros(len(corner), bool)
    for other in room.keep_off:
        shared = np.minimum(corner + size, other[2:]) - np.maximum(corner, other[:2])
        hidden += np.maximum(shared, 0).prod(axis=1)
        hides |= _overlapped(corner, size, other)
    cost += _HIDES * hidden / size.prod() + _HIDES * hides
    over = np.zeros(len(corner), bool)
    for crossed in (_points(at) for at in room.leaders if at is not None):
        within = (crossed >= corner[:, None]) & (crossed < (corner + size)[:, None])
        over |= within.all(axis=2).any(axis=1)
    cost += _OVER_LEADER * over
    best: tuple[float, int, Box] | None = None
    for i in np.argsort(cost, kind="stable"):
        if best is not None and cost[i] > best[0]:
            break
        left, top = (int(v) for v in corner[i])
        box, crosses = (left, top, left + label.size_px[0], top + label.size_px[1]), 0.0
        own = leader(label.line_px, box, room.reach_px)
        if own is not None:
            on = _points(own)
            crosses = _CROSSES * sum(bool(_within(on, other).any()) for other in room.boxes)
        this = (float(cost[i]) + crosses, int(i), box)
        best = this if best is None else min(best, this)
    return None if best is None else (best[0], best[2])


def _overlapped(corner: NDArray[np.int64], size: NDArray[np.int64], other: Box, gap_px: int = 0) -> NDArray[np.bool_]:
    """Return which boxes (M, 2) of one size come nearer than gap_px to another."""
    apart = (corner + size + gap_px <= other[:2]) | (np.array(other[2:]) + gap_px <= corner)
    return np.asarray(~apart.any(axis=1))


def _counting(points: Array, picture_px: tuple[int, int]) -> NDArray[np.int32]:
    """Return how many points (N, 2) lie left of and above each corner of the picture's pixels: (H + 1, W + 1)."""
    x, y = np.floor(points).T
    width, height = picture_px
    inside = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    counts = np.zeros((height + 1, width + 1), np.int32)
    np.add.at(counts, (y[inside].astype(np.int64) + 1, x[inside].astype(np.int64) + 1), 1)
    for axis in (0, 1):
        np.cumsum(counts, axis=axis, out=counts)
    return counts


def _counted(before: NDArray[np.int32], corner: NDArray[np.int64], size: NDArray[np.int64]) -> NDArray[np.int32]:
    """Return how many points lie in boxes (M, 2) of one size."""
    (left, top), (right, bottom) = corner.T, (corner + size).T
    return np.asarray(before[bottom, right] - before[top, right] - before[bottom, left] + before[top, left])


def _within(points: Array, box: Box) -> NDArray[np.bool_]:
    x, y = points.T
    return np.asarray((x >= box[0]) & (x < box[2]) & (y >= box[1]) & (y < box[3]))


def _points(line: Array) -> Array:
    """Return points (N, 2) every few px of a straight line (2, 2)."""
    part = np.linspace(0.0, 1.0, max(2, int(np.linalg.norm(line[1] - line[0]) / 4)))[:, None]
    return np.asarray(line[0] + part * (line[1] - line[0]))
