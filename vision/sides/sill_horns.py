"""Where the ends of a projecting sill say that its front arris is.

A projecting sill mostly runs on beyond the jambs. There its top meets the wall's face in a plain line between two
materials, seen best of all, and known in depth: the plane of the jambs. The front arris lies in front of that line by
the sill's known projection, so its place in the photo follows even where top and front are of one colour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vision.camera import Camera
from vision.request import Array, Side
from vision.sides.search import Search
from vision.strips.profiles import block_means, cut_strip
from vision.strips.strip_line import steps_across

ZONE_MM = (20.0, 85.0)  # guess: sills run on by 40 to 150 mm
PEAKS = 3  # places of the foot that are kept
LEAST_STEP = 0.03  # in the root of linear light; about 5 grey levels
LEAST_SHARE = 0.25  # of the strongest step


@dataclass(frozen=True, slots=True, eq=False)
class Horns:
    """One reading of both ends: where the arris should be at the left and right end (2,) px outward, and its weight."""

    ends_px: Array
    weight: float


def find_horns(rgb: NDArray[np.uint8], camera: Camera, search: Search, depth_mm: Mapping[Side, float]) -> list[Horns]:
    """Return the readings of the ends of a projecting sill, the most likely first; none where nothing is seen."""
    if search.foot_px <= 1:
        return []
    a, b = search.ends_mm
    length = float(np.hypot(*(b - a)))
    along = (b - a) / length
    near, far = ZONE_MM
    depth = float(depth_mm["sill"])
    left = _peaks(rgb, camera, np.array([a - along * far, a - along * near]), depth, search)
    right = _peaks(rgb, camera, np.array([b + along * near, b + along * far]), depth, search)
    lever = 1 + (near + far) / length  # the zones' middles lie beyond the ends of the side
    out = []
    for v_left, m_left in left:
        for v_right, m_right in right:
            middle, half = (v_left + v_right) / 2, (v_right - v_left) / 2 / lever
            tilt = abs(half) / search.inner_px
            ends = np.array([middle - half, middle + half]) + search.foot_px
            out.append(Horns(ends, m_left * m_right * float(np.exp(-0.5 * (2 * tilt) ** 2))))
    best = max((h.weight for h in out), default=1.0)
    out = [Horns(h.ends_px, h.weight / best) for h in out if h.weight > 0.1 * best]
    return sorted(out, key=lambda h: -h.weight)


def _peaks(
    rgb: NDArray[np.uint8], camera: Camera, ends_mm: Array, depth: float, search: Search
) -> list[tuple[float, float]]:
    """Return place (px outward) and share of the strongest of the steps of one zone that may be the foot."""
    inner = search.inner_px + search.foot_px + search.fall_px
    strip = cut_strip(rgb, camera, "sill", ends_mm, depth, inner + 9, search.outer_px + 9)
    if strip is None:
        return []
    _, profiles = block_means(strip, 4)
    at = strip.v_mm / strip.mm_per_px
    step, _, _ = steps_across(np.nan_to_num(profiles), float(at[1] - at[0]))
    size = np.linalg.norm(step.mean(axis=0), axis=-1)
    size[size < ndimage.maximum_filter1d(size, 9)] = 0
    size[(at < -inner - 2) | (at > search.outer_px - search.foot_px + 2)] = 0
    found: list[tuple[float, float]] = []
    for i in np.argsort(-size):
        if size[i] < LEAST_STEP or len(found) == PEAKS or (found and size[i] < LEAST_SHARE * size.max()):
            break
        found.append((float(at[i]), float(size[i] / size.max())))
    return found
