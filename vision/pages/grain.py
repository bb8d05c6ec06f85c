"""How grainy a reduced photo is from place to place: brick and stucco are, paper only by the camera's noise."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array

SIZE = 5  # px, of the places
# Share of the photo that is evenest, by which its noise is known, and the least there is, in codes of lightness.
EVENEST, LEAST = 0.03, 0.6
# Times the noise: pages have 0.4 to 1.2, in 100 renderings and the practice photos; bricks taken for one 1.2 to 8, half
# of them more than 5.
PAPER = 2.0
INNER = 0.7  # of an outline
FLOOR = 0.1  # of a rating


@dataclass(frozen=True, slots=True, eq=False)
class Grain:
    """Lightness (h, w), its standard deviation about each place (h, w), both in codes, and what noise alone makes."""

    light: NDArray[np.float32]
    deviation: Array
    noise: float


def grain(small: NDArray[np.uint8]) -> Grain:
    """Return the grain of a reduced photo (h, w, 3)."""
    light = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2LAB)[..., 0], np.float32)
    mean, square = (np.asarray(cv2.blur(v, (SIZE, SIZE))) for v in (light, light * light))
    deviation = np.sqrt(np.maximum(square - mean**2, 0))
    return Grain(light, deviation, max(LEAST, float(np.quantile(deviation[::4, ::4], EVENEST))))


def smoothness(seen: Grain, quad: Array) -> float:
    """Return 0 to 1: whether an outline (4, 2) px of the reduced photo is as smooth inside as paper."""
    middle = quad.mean(0)
    inner = middle + INNER * (quad - middle)
    low = np.maximum(np.floor(inner.min(0)).astype(int), 0)
    high = np.ceil(inner.max(0)).astype(int) + 1
    part = seen.deviation[low[1] : high[1], low[0] : high[0]]
    if not part.size:
        return FLOOR
    mask = np.zeros(part.shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(inner - low).astype(np.int32)], 1)
    own = part[mask > 0]
    times = float(np.median(own)) / seen.noise if len(own) else PAPER / FLOOR
    return float(np.clip((PAPER / max(times, 1e-6)) ** 2, FLOOR, 1.0))
