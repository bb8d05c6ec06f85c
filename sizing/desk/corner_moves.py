"""Corners that follow when a side is put on another line of the photo; pixels of the photo as it was measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sizing.errors import InputError, Problem

Point = tuple[float, float]
# Corners from the top left, clockwise: those at the ends of each side, and the next ones along the sides that cross it.
ENDS: Mapping[str, tuple[tuple[int, int], tuple[int, int]]] = {
    "head": ((0, 3), (1, 2)),
    "right": ((1, 0), (2, 3)),
    "sill": ((2, 1), (3, 0)),
    "left": ((3, 2), (0, 1)),
}


def on_line(corners: Sequence[Point], side: str, line: tuple[Point, Point]) -> list[Point]:
    """Return the corners (4) with those of one side moved along their other sides onto a line.

    Raises
    ------
    InputError
        No such side, or the line runs along the sides that it should cross.
    """
    if side not in ENDS:
        raise InputError("no-such-side", [Problem(side[:40], "is no side: head, right, sill or left")])
    moved = list(corners)
    for corner, other in ENDS[side]:
        moved[corner] = _crossing((corners[corner], corners[other]), line)
    return moved


def _crossing(a: tuple[Point, Point], b: tuple[Point, Point]) -> Point:
    (ax, ay), (bx, by) = a[0], b[0]
    adx, ady = a[1][0] - ax, a[1][1] - ay
    bdx, bdy = b[1][0] - bx, b[1][1] - by
    across = adx * bdy - ady * bdx
    if abs(across) < 1e-9:
        raise InputError(
            "no-crossing", [Problem("line", "does not cross the sides beside it: drag the corners instead")]
        )
    t = ((bx - ax) * bdy - (by - ay) * bdx) / across
    return ax + t * adx, ay + t * ady
