"""The lines of each side weighed anew by a person's clicks, where these are said to be nearer than careless ones.

Corners put down roughly only tell where to look. Who looks at the picture, points exactly and says so chooses.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.camera import Camera
from vision.request import ANOTHER_LINE, EXACT_CLICK_PX, Array, Side, Wall
from vision.sides.finding import FailedSide, FoundSide
from vision.sides.reweighed import line_shapes, whole_weights, with_weights
from vision.stations import ENDS
from vision.strips.profiles import rough_ends

ASTRAY = 0.03  # guess: share of exact clicks that are on something else


def held_to_clicks(
    camera: Camera,
    found: Mapping[Side, FoundSide | FailedSide],
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    wall: Wall,
) -> dict[Side, FoundSide | FailedSide]:
    """Return the sides with their lines weighed by how far off the corners they run, in clicks.

    Parameters
    ----------
    corners_px : (4, 2) px, top left first, clockwise.
    click_px : standard deviation of a corner per axis.
    depth_mm : z of the plane of each side.

    Notes
    -----
    Bayes, with clicks as normal but for those astray. A jamb is held to its upper end: the lower corner lies on the
    sill, whose plane may be another.
    """
    held = dict(found)
    for side, own in found.items():
        if click_px > EXACT_CLICK_PX or isinstance(own, FailedSide):
            continue
        strip, shapes = own.strip, line_shapes(own)
        half = strip.u_mm[-1] / 2
        ends = rough_ends(camera, corners_px[list(ENDS[side])], np.full(2, depth_mm[side])) - strip.origin_mm
        at = shapes[:, :1] + shapes[:, 1:2] * (ends @ strip.direction / half - 1)
        off = (at - ends @ strip.normal) / (click_px * strip.mm_per_px)
        told = off if side in ("head", "sill") else off[:, :1]
        before = whole_weights(own)
        after = before * (ASTRAY + (1 - ASTRAY) * np.exp(-0.5 * (told**2).sum(axis=1)))
        if not after.sum() > 0:
            continue
        other = max(1 - float(before.sum()), 0.0) * ASTRAY
        after *= min(1 / (float(after.sum()) + other), (1 - ANOTHER_LINE) / float(after.sum()))
        held[side] = with_weights(side, own, after, own.ghost, wall)
    return held
