"""Whether a picture was joined from several views, though its file is silent: on a cylinder, or one photo twice.

Phones join a panorama on a cylinder; messengers and people put one photo twice into one picture.

On a cylinder an angle about the upright axis is a length along the picture (Szeliski and Shum 1997, section 2). Two
sheets far apart then fit no single view, however its lens is bent, and fit one again when the picture is rolled flat.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.adjustment import adjust
from vision.observations import EdgeBlock
from vision.request import Array, Warning_
from vision.solving.solved import Solved

RADII = (0.8, 1.0, 1.25)  # of the focal length that the file tells: the cylinder's need not be that
# Cost per printed edge (gross errors left out), from which the cylinder is tried at all, and the part of it that the
# cylinder leaves. Practice photos and renderings of two sheets: 0.1 to 0.5 and 2 to 25; rolled up: 0.8 to 2 and 0.2.
STRAINED, LEFT = 0.6, 0.5

# The halves of 60 practice photos and real ones agree to 0.8 at most, those of a photo joined with itself to 0.99.
SMALL_PX, AGREE = 200, 0.97


def joined_with_itself(grey: NDArray[np.uint8]) -> Warning_ | None:
    """Return `not-one-view` where both halves (left and right, or top and bottom) of a photo (H, W) are one picture.

    Its sheets may then fit one wide lens and a slanted wall, with small uncertainties.
    """
    by = max(1, min(grey.shape) // (2 * SMALL_PX))
    less = cv2.resize(grey, (grey.shape[1] // by, grey.shape[0] // by), interpolation=cv2.INTER_AREA)
    for across in (less, less.T):
        height = max(round(SMALL_PX * across.shape[0] / across.shape[1]), 24)
        small = cv2.resize(np.ascontiguousarray(across), (SMALL_PX, height), interpolation=cv2.INTER_AREA)
        y, x = round(0.15 * height), round(0.08 * SMALL_PX)  # room to lie elsewhere: a border may part the two
        first = np.ascontiguousarray(small[y : height - y, x : SMALL_PX // 2 - x])
        second = np.ascontiguousarray(small[:, SMALL_PX // 2 :])
        if first.std() > 1 and cv2.matchTemplate(second, first, cv2.TM_CCOEFF_NORMED).max() > AGREE:
            return Warning_(
                "not-one-view",
                "the picture shows the same photo twice, side by side or one above the other, so nothing can be "
                "measured in it; send the photo by itself, as the camera wrote it",
            )
    return None


def rolled(solved: Solved, focal_px: float, size_px: tuple[int, int]) -> Warning_ | None:
    """Return `not-one-view` where the sheets of a solved photo fit a cylinder and no single view; else None.

    With one sheet, which fits either, nothing can be told.
    """
    edges = [b for b in solved.blocks if isinstance(b, EdgeBlock)]
    count = sum(len(b.u_px) for b in edges)
    if len({b.reference for b in edges}) < 2 or solved.adjusted.cost < STRAINED * count:
        return None
    middle = (np.array(size_px) - 1) / 2
    for radius in RADII:
        flat = [_unrolled(b, radius * focal_px, middle) if isinstance(b, EdgeBlock) else b for b in solved.blocks]
        if adjust(flat, solved.adjusted.state, iterations=40).cost < LEFT * solved.adjusted.cost:
            return Warning_(
                "not-one-view",
                "the picture was joined from several views (panorama): its sheets fit no single view, so nothing can "
                "be measured in it; take one ordinary photo from farther away",
            )
    return None


def _unrolled(block: EdgeBlock, radius_px: float, middle: Array) -> EdgeBlock:
    along = np.column_stack([-block.normal[:, 1], block.normal[:, 0]])
    tangent = flat_px(block.pixel + along, radius_px, middle) - flat_px(block.pixel - along, radius_px, middle)
    tangent /= np.hypot(*tangent.T)[:, None]
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return replace(block, pixel=flat_px(block.pixel, radius_px, middle), normal=normal)


def flat_px(pixel: Array, radius_px: float, middle: Array) -> Array:
    """Return where points (N, 2) px of a cylinder lie in the plane that touches it at `middle` (2,)."""
    angle = np.clip((pixel[:, 0] - middle[0]) / radius_px, -1.3, 1.3)
    x = radius_px * np.tan(angle)
    return np.column_stack([x, (pixel[:, 1] - middle[1]) / np.cos(angle)]) + middle
