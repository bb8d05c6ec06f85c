"""The transfer function of sRGB (IEC 61966-2-1:1999), by which a photo's codes become linear light."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.request import Array

LUMA = (0.2126, 0.7152, 0.0722)  # of red, green and blue light, ITU-R BT.709


def linear_light(values: ArrayLike) -> Array:
    """Return linear light 0..1 of sRGB codes 0..255, of any shape.

    Examples
    --------
    >>> linear_light([0, 255]).tolist()
    [0.0, 1.0]
    """
    v = np.asarray(values, float) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


LINEAR: NDArray[np.float32] = linear_light(np.arange(256)).astype(np.float32)  # linear light by 8-bit code (256,)
