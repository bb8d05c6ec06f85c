"""What readings say of their opening without a photo: sizes nearly free, shape as walls are built."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from sizing.explaining.hypotheses import AXES
from sizing.units import READING_FROM_MM, READING_TO_MM
from vision.request import NINE, Array

# Guesses, with effect on explanations only: how little is known of width and height; how far an opening tapers and
# leans; how far a side bows at one station (design.md, The cross-check). Larger: fewer slips are explained.
_SIZE_U_MM = 500.0
_TAPER_U_MM = 6.0
_LEAN_U_MM = 10.0
_BOW_U_MM = 3.0


def vague_measures(readings_mm: Mapping[str, float]) -> tuple[Array, Array] | None:
    """Return nine measures (9,) mm and covariance (9, 9) mm2 that stand for the photo that is not there.

    Parameters
    ----------
    readings_mm : readings by name, mm.

    Returns
    -------
    tuple or None
        Sizes are the medians of the readings with a standard uncertainty of half a metre; what is known is the
        shape. None without a width and a height.

    Notes
    -----
    Linearised about a rectangle, so it needs medians within a few hundred mm.
    """
    sizes = []
    for axis in AXES[:2]:
        read = [readings_mm[n] for n in axis if READING_FROM_MM <= readings_mm.get(n, 0.0) <= READING_TO_MM]
        if not read:
            return None
        sizes.append(float(np.median(read)))
    w, h = sizes
    d = math.hypot(w, h)
    values = np.array([w, w, w, h, h, h, d, d, 0.0])
    rows = {name: i for i, name in enumerate(NINE)}

    def mode(u_mm: float, **parts: float) -> Array:
        column = np.zeros(9)
        for name, part in parts.items():
            column[rows[name]] = u_mm * part
        return column

    along = {"diagonal_down": w / d, "diagonal_up": w / d}
    modes = [
        mode(_SIZE_U_MM, width_top=1, width_middle=1, width_bottom=1, **along),
        mode(_SIZE_U_MM, height_left=1, height_middle=1, height_right=1, diagonal_down=h / d, diagonal_up=h / d),
        mode(_TAPER_U_MM, width_top=1, width_bottom=-1),
        mode(_TAPER_U_MM, height_left=1, height_right=-1),
        mode(_LEAN_U_MM, diagonal_down=-w / d, diagonal_up=w / d, out_of_square=-2 * w / d),
    ]
    own = np.array([0.5, 1.0, 0.5, 0.5, 1.0, 0.5, 0.5, 0.5, 1.0]) * _BOW_U_MM
    cov: Array = sum((np.outer(m, m) for m in modes), np.diag(own**2))
    return values, cov
