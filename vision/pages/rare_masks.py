"""Black and white pictures of where a reduced photo has colours that the wall has not."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from vision.pages.masks import Mask
from vision.pages.rarity import SURROUND_MM, Colours, beside
from vision.request import Array

OPENINGS_MM = (700.0, 1000.0, 1400.0, 2000.0, 2800.0)  # square root of their area: scales that are tried
TIMES = (0.5, 2.0)  # of the reference's own area: what more of the wall has is not rare (a guess)
BRIDGED = 0.22  # of the shorter side: a stripe (ISO/IEC 7811-2, from memory: 10 of 54 mm)


def rare_masks(seen: Colours, opening_px: Array, size_mm: tuple[float, float]) -> Iterator[tuple[Mask, float]]:
    """Give masks (h, w) of colours that are rare outside an opening (4, 2) px, for openings of several sizes.

    Stripes across a reference are bridged. Each comes with by how much (px) an outline in it is too small.
    """
    side_px = float(np.sqrt(abs(cv2.contourArea(opening_px.astype(np.float32)))))
    for side_mm in OPENINGS_MM:
        px_per_mm = side_px / side_mm
        outside = beside(seen, opening_px, SURROUND_MM * px_per_mm)
        k = max(round(BRIDGED * min(size_mm) * px_per_mm), 1) + 1
        for times in TIMES:
            most = times * size_mm[0] * size_mm[1] * px_per_mm**2
            mask = np.asarray(outside.everywhere <= most, np.uint8)[seen.bins] * np.uint8(255)
            mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)), np.uint8)
            yield np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((k, k), np.uint8)), np.uint8), 0.0
