"""Whether an opening that was found without corners was also traced without doubt."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.camera import Camera, back_project
from vision.request import SIDES, Array, Side, Warning_
from vision.sides import FailedSide, SideTrace

ENDS: Mapping[Side, tuple[int, int]] = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}
NORMAL: Mapping[Side, tuple[float, float]] = {"head": (0, -1), "right": (1, 0), "sill": (0, 1), "left": (-1, 0)}
MOVED_MM = 14.0  # the search places a side within about this
PROJECTING_MM = 70.0  # a sill's front may stand so far below the foot of the jambs in the picture
RIVAL_WEIGHT = 0.1
RIVAL_MM = 2.0  # nearer rivals are ends of one rounded arris


def doubt(camera: Camera, corners_px: Array, traces: Mapping[Side, SideTrace | FailedSide]) -> Warning_ | None:
    """Return why a person must point at the corners all the same, or None.

    A side counts when it was traced over most of its length near where the search had put it, and no rival line of
    weight lies as near to that.

    Parameters
    ----------
    camera : adjusted camera.
    corners_px : (4, 2) px as found.
    traces : the sides as traced from them.
    """
    for side in SIDES:
        t = traces[side]
        if isinstance(t, FailedSide):
            return _ask(f"the {side} is not seen clearly")
        if t.hidden:
            return _ask(f"the {side} is partly hidden")
        moved = _moved(camera, corners_px, t)
        outer = PROJECTING_MM if side == "sill" else MOVED_MM
        if not -MOVED_MM < moved < outer:
            return _ask(f"the {side} may be one of several lines")
        reach = max(abs(moved), MOVED_MM)
        for rival in t.candidates[1:]:
            near = abs(moved + rival.shift_mm) < reach or side == "sill"
            if rival.weight > RIVAL_WEIGHT and near and abs(rival.shift_mm) > RIVAL_MM:
                return _ask(f"the {side} may be one of several lines")
    return None


def _moved(camera: Camera, corners_px: Array, trace: SideTrace) -> float:
    """Return how far outward in mm the traced side lies from the line between the corners found."""
    a, b = back_project(camera, corners_px[list(ENDS[trace.side])], trace.depth_mm)
    along = (b - a) / np.linalg.norm(b - a)
    across = np.array([along[1], -along[0]])
    across *= np.sign(across @ np.array(NORMAL[trace.side]))
    return float((trace.origin_mm - a) @ across)


def _ask(reason: str) -> Warning_:
    return Warning_(
        "corners-needed", f"the opening was found but {reason}; give its four corners roughly, or point at that line"
    )
