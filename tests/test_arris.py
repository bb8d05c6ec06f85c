"""Rounded arrises that a photo resolves."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose
from scipy.special import ndtr

from vision.sides.arris import find_arris, offsets_px


def test_the_inner_end_of_a_resolved_round_is_found_from_its_light():
    """Lambert's law on a quarter round of 5 px lit from above, blurred by 0.75 px, drawn here by its formula."""
    at = offsets_px()
    y = np.arange(-20, 20, 0.01)
    x = np.clip(1 - (y + 1.5) / 5.0, 0, 1)  # inner end of the arc at -1.5
    f = 0.1 + 0.3 * (np.sqrt(1 - x**2) + 1.8 * x)
    profile = np.array([np.average(f, weights=np.exp(-0.5 * ((y - a) / 0.75) ** 2)) for a in at])
    arris = find_arris(profile, 0.75, 6, 7, 0.5)
    assert arris is not None
    assert_allclose(arris.shift_px, -1.5, rtol=0, atol=0.3)


def test_a_sharp_blurred_step_is_left_where_it_is():
    at = offsets_px()
    arris = find_arris(0.4 * ndtr(at / 0.8), 0.8, 6, 7, 0.5)
    assert arris is not None
    assert_allclose(arris.shift_px, 0, rtol=0, atol=0.2)
