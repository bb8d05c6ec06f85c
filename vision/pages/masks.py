"""Black and white pictures of a reduced photo, at many levels and in several colours, in which even regions show."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pages.grain import grain
from vision.request import Array

Mask = NDArray[np.uint8]
EVEN = 2.0  # of the noise: what may be paper
DARKER = 0.3  # of what is even: paper is none of it
BANDS = (3, 6)  # codes on either side: light and noise; the steps of levels too
OPENED = np.ones((3, 3), np.uint8)
OUT_PX = 4.5  # the grain of a side's step is seen three pixels in, four and a half from a corner
LEAST, MOST = 0.02, 0.997  # shares of the pixels between which the levels lie


def masks(small: NDArray[np.uint8], levels: int, *, coloured: bool) -> Iterator[tuple[Mask, float]]:
    """Give masks (h, w) of a picture (h, w, 3), each with by how much (px) an outline in it is too small.

    `coloured` asks for levels of hue too, not of lightness and saturation alone.
    """
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB)
    light, red, blue = (np.ascontiguousarray(lab[..., k]) for k in range(3))
    hues = (red, blue) if coloured else ()
    for channel in (light, np.ascontiguousarray(cv2.cvtColor(small, cv2.COLOR_RGB2HSV)[..., 1]), *hues):
        low, high = _range(np.asarray(channel))
        for level in np.unique(np.linspace(low, high, levels + 2)[1:-1].astype(int)):  # a faint hue has few
            yield np.asarray(cv2.threshold(channel, int(level), 255, cv2.THRESH_BINARY)[1], np.uint8), 0.0
    for block in (31, 81):
        for offset in (-4, -10, 4, 10):
            how = cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY
            yield np.asarray(cv2.adaptiveThreshold(light, 255, *how, block, offset), np.uint8), 0.0
    edges = cv2.Canny(light, 25, 60)
    for channel in (red, blue):
        edges = cv2.max(edges, cv2.Canny(channel, 15, 40))
    for k in (2, 3):
        yield np.asarray(255 - cv2.dilate(edges, np.ones((k, k), np.uint8)), np.uint8), 2.5


def paper_masks(small: NDArray[np.uint8], least: float) -> Iterator[tuple[Mask, float]]:
    """Give masks of what is even and of one lightness, among the lighter tones: paper on a wall nearly as bright.

    Of two levels that lie far apart neither parts such a page from the wall: its grain is brighter and darker. Levels
    that fewer than `least` even pixels have are left out.
    """
    seen = grain(small)
    even = (seen.deviation < EVEN * seen.noise).view(np.uint8) * np.uint8(255)
    light = seen.light.astype(np.uint8)
    count = np.bincount(light[even > 0], minlength=256)
    lowest = int(np.searchsorted(np.cumsum(count), DARKER * count.sum()))
    for breadth in BANDS:
        for level in range(lowest, 256, breadth):
            if count[max(level - breadth, 0) : level + breadth + 1].sum() < least:
                continue
            band = cv2.bitwise_and(cv2.inRange(light, level - breadth, level + breadth), even)
            yield np.asarray(cv2.morphologyEx(band, cv2.MORPH_OPEN, OPENED), np.uint8), OUT_PX


def _range(channel: Mask) -> Array:
    """Return the quantiles of a channel (by its histogram: sorting takes ten times as long)."""
    share = np.cumsum(np.bincount(channel.ravel(), minlength=256)) / channel.size
    return np.searchsorted(share, [LEAST, MOST]).astype(float)
