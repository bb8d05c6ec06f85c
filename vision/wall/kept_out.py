"""Which segments may be the wall's own lines: those outside references, and clear of what goes with an opening.

The opening's own sides are no proof of squareness, and sill, lintel and trim are set with them. Courses are none of
that: they end at the jambs, and in a close view the bricks beside those are half of what is seen of the wall.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.camera import back_project, project
from vision.observations import PhotoState
from vision.request import Array, Wall
from vision.wall.segments import Segments, clipped

REFERENCE_MARGIN = 1.5  # pattern to page and its shadow
OPENING_MARGIN_MM = {"masonry": 40.0, "render": 40.0, "siding": 130.0, "panel": 130.0}  # trim goes with the opening
# Level lines beside the jambs: neither these nor the trim along them have any, and the corners may be put a finger's
# width off (a guess).
JAMB_MARGIN_MM = 10.0
# Head and sill may run on beside the jambs, as lintel, horns or trim: how far, and how far up or down (guesses).
RUN_ON_MM = {"masonry": 150.0, "render": 150.0, "siding": 190.0, "panel": 190.0}
HEAD_UP_MM, SILL_DOWN_MM, INWARD_MM = 60.0, 100.0, 20.0
# What is left out about the opening ends on a grid of this pitch: while a corner is moved within its square the wall's
# lines stay the same to the last digit, and with them the camera and what was traced by it (a guess: two fingers).
GRID_MM, JAMB_GRID_MM = 60.0, 30.0
FAR_MM = 2000.0  # where a corner out of view is put


def of_the_wall(
    found: Segments, state: PhotoState, outlines_px: Sequence[Array], corners_px: Array | None, wall: Wall
) -> Segments:
    """Return the segments outside references (outlines (4, 2) px) and opening (corners (4, 2) px; None: not known)."""
    keep = about(outlines_px)
    if corners_px is None or not len(found):
        return clipped(found, keep)
    runs = _level(found, state)
    free = [
        clipped(found.some(runs == level), [*keep, *opening_outlines(state, corners_px, wall, level=level)])
        for level in (True, False)
    ]
    return Segments(np.concatenate([f.ends_px for f in free]))


def about(outlines_px: Sequence[Array]) -> list[Array]:
    """Return the outlines (4, 2) px of references, with the margin of their paper."""
    return [o.mean(0) + REFERENCE_MARGIN * (o - o.mean(0)) for o in outlines_px]


def _level(found: Segments, state: PhotoState) -> NDArray[np.bool_]:
    """Return which segments (N,) run nearer to the first reference's x than to its y."""
    ends = back_project(state.camera, found.ends_px.reshape(-1, 2), 0.0).reshape(-1, 2, 2)
    run = np.abs(ends[:, 1] - ends[:, 0])
    return np.asarray(run[:, 0] > run[:, 1])


def opening_outlines(state: PhotoState, corners_px: Array, wall: Wall, *, level: bool) -> list[Array]:
    """Return the outlines (4, 2) px about an opening within which nothing is a wall line; those not on the wall go.

    Notes
    -----
    The corners on the wall, moved out by the margins of the wall and on to the next line of a grid. Corners that do not
    lie on the wall as the camera sees it stand as they are.
    """
    q = _whole(back_project(state.camera, corners_px, 0.0))
    away = np.where(q < q.mean(0), -1.0, 1.0)

    def seen(moved: Array, grid: tuple[float, float]) -> Array:
        """Return the corners (4, 2) on the wall in the photo, on to the next line of the grid."""
        outward = np.where(moved < moved.mean(0), -1.0, 1.0)
        at = outward * np.ceil(outward * moved / grid) * grid
        polygon = project(state.camera, np.column_stack([at, np.zeros(4)]))
        return polygon if np.isfinite(polygon).all() else np.asarray(corners_px, float)

    margin = OPENING_MARGIN_MM[wall]
    if level:
        wide = q + away * (RUN_ON_MM[wall], 0.0)
        head = _band(wide[0], wide[1], max(margin, HEAD_UP_MM), INWARD_MM)
        sill = _band(wide[3], wide[2], INWARD_MM, max(margin, SILL_DOWN_MM))
        outlines = [seen(q + away * (JAMB_MARGIN_MM, margin), (JAMB_GRID_MM, GRID_MM))]
        outlines += [seen(band, (GRID_MM, JAMB_GRID_MM)) for band in (head, sill)]
    else:
        outlines = [seen(q + away * margin, (GRID_MM, GRID_MM))]
    return [o for o in outlines if np.isfinite(o).all()]


def _band(left: Array, right: Array, up_mm: float, down_mm: float) -> Array:
    """Return the outline (4, 2) mm of what lies so far above and below the line from one point to another."""
    up, down = np.array([0, -up_mm]), np.array([0, down_mm])
    return np.array([left + up, right + up, right + down, left + down])


def _whole(corners_mm: Array) -> Array:
    """Return corners (4, 2) from the top left clockwise, those out of view (NaN) put far off or opposite the others."""
    q = corners_mm
    for _ in range(2):  # with one corner in view the one opposite comes last
        seen, put = np.asarray(np.isfinite(q).all(1)), q.copy()
        for i, beside, above, x, y in ((0, 1, 3, -1, -1), (1, 0, 2, 1, -1), (2, 3, 1, 1, 1), (3, 2, 0, -1, 1)):
            if seen[i]:
                continue
            if seen[beside] and seen[above] and seen[(i + 2) % 4]:
                put[i] = q[beside] + q[above] - q[(i + 2) % 4]
            elif seen[beside]:
                put[i] = q[beside] + [x * FAR_MM, 0]
            elif seen[above]:
                put[i] = q[above] + [0, y * FAR_MM]
        q = put
    return q
