"""Corners that a job gives: four of something flat, and what keeps points from being them, in one sentence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.request import CORNERS, Array

FURTHEST_PX = 1e6  # no photo within the contract's limits is so wide
SHORTEST_PX = 5.0  # guess: below two clicks' scatter no side could be measured
_SIDES_CROSS = (
    "the sides cross each other or run back: put every corner where it is in the photo, in the order top left, top "
    "right, bottom right, bottom left"
)


def corner_fault(points: Sequence[tuple[float, float] | None], *, upright: bool) -> str | None:
    """Return why points are not the four corners of something flat, or None.

    Parameters
    ----------
    points : sequence of (x, y) or None
        Pixels of the upright photo, y down; None for a corner out of view.
    upright : bool
        The first one must also be the top left as seen in the photo.
    """
    if len(points) != 4:
        return f"{len(points)} points: give the 4 corners, top left first, then clockwise"
    if None in points:
        return _part_fault(points) if upright else "a corner of a reference is out of view: give all four, or none"
    corners = np.asarray(points, dtype=np.float64)
    sides = np.roll(corners, -1, axis=0) - corners
    after = np.roll(sides, -1, axis=0)
    # Turn at each corner; with y down a clockwise walk turns to the positive side.
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    if np.all(turns < 0):
        return "the corners run counter-clockwise: give top left, top right, bottom right, bottom left"
    if not np.all(turns > 0):
        inward = (np.flatnonzero(turns <= 0) + 1) % 4  # turns[0] is at the second corner
        return _corner_inward(int(inward[0])) if len(inward) == 1 else _SIDES_CROSS
    return _side_fault(sides, upright=upright)


def _side_fault(sides: Array, *, upright: bool) -> str | None:
    """Return why the sides (4, 2) of a convex outline, px, are too short or begin at the wrong corner, or None."""
    if np.hypot(*sides.T).min() < SHORTEST_PX:
        return f"two corners are less than {SHORTEST_PX:g} px apart: point at each corner where it is in the photo"
    across = sides[0] - sides[2]
    if upright and across[0] <= abs(across[1]):
        return "the first corner is not the top left of the upright photo: start there, then clockwise"
    return None


def _part_fault(points: Sequence[tuple[float, float] | None]) -> str | None:
    """Return why the corners in view cannot be those of an opening that is seen in part, or None."""
    seen = [(i, p) for i, p in enumerate(points) if p is not None]
    if not seen:
        return "no corner is in view: leave corners out, or give at least one"
    left_above = {0: (0, 0), 1: (1, 0), 2: (1, 1), 3: (0, 1)}
    for i, a in seen:
        for j, b in seen:
            (xa, ya), (xb, yb) = left_above[i], left_above[j]
            if (xa < xb and a[0] >= b[0]) or (ya < yb and a[1] >= b[1]):
                return "the corners in view are out of order: top left, top right, bottom right, bottom left"
    return None


def corner_array(points: Sequence[tuple[float, float] | None]) -> Array:
    """Return points without a fault as a read-only array (n, 2), px; NaN for a corner out of view."""
    array = np.array([(np.nan, np.nan) if p is None else p for p in points], dtype=np.float64)
    array.setflags(write=False)
    return array


def _corner_inward(corner: int) -> str:
    """Return that an outline has a dent at one corner, or none at all there, with what to do.

    Examples
    --------
    >>> _corner_inward(2)[:52]
    'the outline is bent inward or straight at the bottom'
    """
    return (
        f"the outline is bent inward or straight at the {CORNERS[corner]} corner: move that corner, or the one beside "
        "it that was moved too far, back to where it is in the photo"
    )
