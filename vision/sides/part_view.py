"""A photo that shows a part of an opening: sides traced from the corners in view to the rim of the picture."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from vision.camera import back_project, project
from vision.errors import RequestError
from vision.observations import PhotoState
from vision.request import SIDES, Array, Side, Wall
from vision.sides.finding import FailedSide
from vision.sides.tracing import SideTrace, trace_sides
from vision.stations import ENDS

RIM_PX = 24.0  # a side is followed to so near the rim of the picture
# Guess: how far a side may lean off the wall's direction, and the share of its length that a click may miss it by.
OFF_DIRECTION = 0.006
STEP_MM, FAR_MM = 20.0, 12000.0  # along a side from a corner in view, until the rim of the picture


def hides_a_corner(corners_px: Array | None) -> bool:
    """Return whether some corners (4, 2) px are not in view (NaN)."""
    return corners_px is not None and bool(np.isnan(corners_px).any())


def trace_part(
    rgb: NDArray[np.uint8],
    state: PhotoState,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    wall: Wall,
    sill_at: str,
    blur_px: tuple[float, float] | None = None,
) -> dict[Side, SideTrace | FailedSide]:
    """Return the sides in view as traced; those with both corners out of view are absent.

    Parameters
    ----------
    rgb : picture.
    state : adjusted photo; where a corner is out of view a side runs along the wall's direction.
    corners_px : (4, 2) px top left first, clockwise, NaN where not in view.
    click_px, depth_mm, wall, sill_at, blur_px : as for `trace_sides`.

    Raises
    ------
    RequestError : no corner is in view.
    """
    seen = np.asarray(np.isfinite(corners_px).all(axis=1))
    if not seen.any():
        raise RequestError("corners-missing", "no corner of the opening is given; give at least one that is in view")
    size = (rgb.shape[1], rgb.shape[0])
    found: dict[Side, SideTrace | FailedSide] = {}
    done: list[tuple[Array, dict[Side, SideTrace | FailedSide]]] = []
    for side in SIDES:
        if not seen[list(ENDS[side])].any():
            continue
        whole = _completed(state, corners_px, side, depth_mm, size)
        reach = _reach(corners_px, whole)
        again = next((t for w, t in done if np.abs(w - whole).max() < 1e-6), None)
        if again is None:
            click = float(np.hypot(click_px, OFF_DIRECTION * reach))
            again = trace_sides(rgb, state.camera, whole, click, depth_mm, wall, sill_at, blur_px)
            done.append((whole, again))
        found[side] = again[side]
    return found


def _completed(
    state: PhotoState, corners_px: Array, side: Side, depth_mm: Mapping[Side, float], size: tuple[int, int]
) -> Array:
    """Return four corners (4, 2) px for tracing `side`: its missing end lies where it leaves the picture."""
    z = float(np.mean(list(depth_mm.values())))
    whole = corners_px.copy()
    across = np.array([np.cos(state.wall[0]), np.sin(state.wall[0])])
    turn = state.wall[0] + state.wall[1]
    down = np.array([-np.sin(turn), np.cos(turn)])
    steps: tuple[tuple[int, int, Array], ...] = (
        (0, 1, across), (1, 0, -across), (3, 2, across), (2, 3, -across),
        (0, 3, down), (3, 0, -down), (1, 2, down), (2, 1, -down),
    )  # fmt: skip
    first, given = set(ENDS[side]), np.asarray(np.isfinite(corners_px).all(axis=1))

    def order(step: tuple[int, int, Array]) -> tuple[bool, bool]:
        return {step[0], step[1]} != first, not given[step[0]]

    for _ in range(3):  # the side itself first, then what only completes the outline, from what is in view
        for a, b, direction in sorted(steps, key=order):
            if np.isnan(whole[a]).any() or np.isfinite(whole[b]).all():
                continue
            end = _leaves(state, whole[a], direction, z, size)
            if end is None and given[a]:
                raise RequestError(
                    "corners-outside",
                    f"a side that should run on from corner {whole[a][0]:.0f},{whole[a][1]:.0f} is not in view; "
                    "give the corners that are in view and - for the others",
                )
            whole[b] = whole[a] if end is None else end  # at the rim it is in no side's way
    return whole


def _leaves(state: PhotoState, start_px: Array, direction: Array, z_mm: float, size: tuple[int, int]) -> Array | None:
    """Return where the wall's line from a pixel in `direction` (2,) comes to the rim of the picture; None: at once."""
    start = back_project(state.camera, start_px[None], z_mm)[0]
    along = start + np.arange(STEP_MM, FAR_MM, STEP_MM)[:, None] * direction
    pixels = project(state.camera, np.column_stack([along, np.full(len(along), z_mm)]))
    limit = np.array(size) - 1 - RIM_PX
    inside = np.asarray(np.isfinite(pixels).all(1) & (pixels >= RIM_PX).all(1) & (pixels <= limit).all(1))
    last = len(inside) if inside.all() else int(np.argmin(inside))
    return np.asarray(pixels[last - 1]) if last else None


def _reach(corners_px: Array, whole: Array) -> float:
    """Return how far the corners put in lie from those seen, px."""
    missing = np.isnan(corners_px).any(axis=1)
    if not missing.any():
        return 0.0
    return max(float(np.hypot(*(whole[i] - whole[j]).T)) for i in np.flatnonzero(missing) for j in ((i + 1) % 4, i - 1))
