"""How much light a photo got, and the noise of its dark: so that what is read of its sides does not depend on either.

A dark photo shows the same steps with fewer grey levels; told in shares of its own white they are what they were. Noise
in the dark is cut off at black, which leaves what is cut off one-sided and so a mean that is too light: of a Gaussian
of zero mean and standard deviation s by s / sqrt(2 pi) = 0.4 s (rectified normal distribution, Socci, Lee & Seung
1998). Against that pedestal a dark reveal looks half as deep as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import ndtr

from vision.request import Array
from vision.srgb import LINEAR, LUMA

# Linear light of the brightest half percent. Of 31 photos by daylight, practice and own renderings, all had 0.395 and
# more; metering sets 18 % reflectance to 0.18, so that paper lies at 0.6 to 0.9.
WHITE, WHITE_SHARE = 0.4, 0.5
MOST_GAIN = 100.0  # of a photo of hardly any light
TILE_PX, TILES = 8, 800  # side and about how many tiles of the photo that are read
DARK_SHARE = 0.1  # of the tiles: those in which black is looked for
# Second differences in both directions: blind to steps along an axis and to slopes, so what is left is noise (Immerkaer
# 1996, Fast noise variance estimation; the sum of its squared weights is 36).
LAPLACE = np.array([[1.0, -2.0, 1.0], [-2.0, 4.0, -2.0], [1.0, -2.0, 1.0]], np.float32) / 6.0

_Z = np.concatenate([np.linspace(-3.0, 6.0, 181)])
_DENSITY = np.exp(-0.5 * _Z**2) / np.sqrt(2 * np.pi)
_MEAN = _Z * ndtr(_Z) + _DENSITY  # of max(0, z + n), n standard normal
_SD = np.sqrt((_Z**2 + 1) * ndtr(_Z) + _Z * _DENSITY - _MEAN**2)


@dataclass(frozen=True, slots=True)
class Light:
    """The gain that brings a photo's linear light to usual brightness, and the noise (sd) of its black (3,) by channel.

    The noise is that of a pixel before it was cut off at 0, in the light so multiplied; 0 where nothing is cut off.
    """

    gain: float
    black: tuple[float, float, float] = (0.0, 0.0, 0.0)


def linear(codes: NDArray[np.uint8], gain: float = 1.0) -> NDArray[np.float32]:
    """Return codes (h, w, 3) in linear light times a gain; OpenCV's table takes a quarter of the time of NumPy's."""
    return np.asarray(cv2.LUT(codes, np.float32(gain) * LINEAR), np.float32)


def light_of(rgb: NDArray[np.uint8]) -> Light:
    """Return how much light a photo (H, W, 3) uint8 got."""
    step = max(int(np.sqrt(rgb.shape[0] * rgb.shape[1] / TILES)), TILE_PX)
    rows, columns = (np.arange(0, n - TILE_PX + 1, step) for n in rgb.shape[:2])
    if not len(rows) or not len(columns):
        return Light(1.0)
    every = sliding_window_view(rgb, (TILE_PX, TILE_PX), axis=(0, 1))[::step, ::step].transpose(0, 1, 3, 4, 2)
    tiles = linear(np.ascontiguousarray(every).reshape(-1, TILE_PX, 3)).reshape(-1, TILE_PX, TILE_PX, 3)
    means = np.einsum("npc->nc", tiles.reshape(-1, TILE_PX**2, 3)) / np.float32(TILE_PX**2)
    white = float(np.percentile(means @ np.array(LUMA), 100 - WHITE_SHARE))
    gain = float(np.clip(WHITE / max(white, 1e-6), 1.0, MOST_GAIN))
    dark = tiles[means.sum(axis=1) <= np.quantile(means.sum(axis=1), DARK_SHARE)]
    rough = ndimage.convolve(dark, LAPLACE[None, :, :, None])[:, 1:-1, 1:-1]
    noise, level = np.median(np.sqrt((rough**2).mean(axis=(1, 2))), axis=0), np.median(dark.mean(axis=(1, 2)), axis=0)
    z = np.interp(level / np.maximum(noise, 1e-9), _MEAN / _SD, _Z)
    black = np.where(z < _Z[-1], gain * noise / np.interp(z, _Z, _SD), 0.0)
    return Light(gain, (float(black[0]), float(black[1]), float(black[2])))


def without_pedestal(mean: Array, black: tuple[float, float, float]) -> Array:
    """Return the light (..., 3) whose mean (..., 3), with noise of that sd cut off at 0, is given; none below 0."""
    out = np.maximum(mean, 0.0).astype(float)
    for c, noise in enumerate(black):
        if noise > 0:
            share = out[..., c] / noise
            out[..., c] = np.where(share < _MEAN[-1], noise * np.maximum(np.interp(share, _MEAN, _Z), 0.0), out[..., c])
    return out
