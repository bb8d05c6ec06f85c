"""Where the sides of an opening are searched, from its rough corners."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vision.camera import Camera
from vision.request import Array, Side
from vision.stations import ENDS
from vision.strips.profiles import outward, rough_ends, scale_mm_per_px

BARE_CLICK_PX = 3.0  # standard deviation of corners of which nobody says how exact they are (contract)
CLICK_PX_12MP = 16.0  # guess: reach of a careless click on a 12 MP photo; on others in proportion to its width
SILL_FALL = 0.17  # guess: a sill's top falls by up to 10 degrees


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Rough ends (2, 2) mm of a side and reach inward and outward, px at its middle.

    `foot_px`: how far inward of its front arris a projecting sill meets the jambs' plane in the photo, level top;
    `fall_px`: how much further with the steepest fall. Both 0 elsewhere. `either_px`: how far the end of a jamb at such
    a sill lies from both readings of its corner. `over_texture`: see `OVER_TEXTURE`. `black`: noise
    of black, standard deviation in linear light.
    """

    side: Side
    ends_mm: Array
    inner_px: float
    outer_px: float
    foot_px: float = 0.0
    fall_px: float = 0.0
    either_px: float = 0.0
    over_texture: float = 0.0
    black: float = 0.0


def plan_search(
    camera: Camera,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    sill_at: str,
    side: Side,
    shape: tuple[int, ...],
) -> Search:
    """Return where to look for a side.

    A click at a projecting sill may lie on its front arris or on the foot of the jamb behind it: the sill's search
    reaches both, and for the jambs the two readings are averaged.
    """
    reach = max(CLICK_PX_12MP * float(np.sqrt(shape[0] * shape[1] / 12.2e6)), 3 * click_px, 5.0) + 1
    pair = corners_px[list(ENDS[side])]
    depth, sill = float(depth_mm[side]), float(depth_mm["sill"])
    if side == "head":
        return Search(side, rough_ends(camera, pair, np.full(2, depth)), reach, reach)
    if side != "sill":
        on_sill = rough_ends(camera, pair, np.array([depth, sill]))
        on_jamb = rough_ends(camera, pair, np.full(2, depth))
        ends = (on_sill + on_jamb) / 2
        normal = outward(side, (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9))
        mm = scale_mm_per_px(camera, ends.mean(axis=0), normal, depth)
        either = abs(float((on_sill - on_jamb)[1] @ normal)) / 2 / mm
        return Search(side, ends, reach, reach, either_px=either)
    ends = rough_ends(camera, pair, np.full(2, sill))
    jamb = float(depth_mm["left"] + depth_mm["right"]) / 2
    out = jamb - sill
    if sill_at != "front" or out <= 3:
        return Search(side, ends, reach, reach)
    foot = rough_ends(camera, pair, np.full(2, jamb))
    direction = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9)
    normal = outward(side, direction)
    mm = scale_mm_per_px(camera, ends.mean(axis=0), normal, sill)
    behind = max(float(np.mean((foot - ends) @ normal)) / mm, 0.0)
    fall = SILL_FALL * out / mm
    return Search(side, ends, reach, reach + behind + fall, behind, fall)
