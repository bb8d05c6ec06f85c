"""Colours across the sides of pages and cards, against scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.measure import profile_line

from vision.page_sides.steps import sampled, side_points

QUAD = np.array([[20.3, 14.8], [71.2, 18.1], [68.4, 52.6], [17.9, 49.2]])


@pytest.mark.parametrize("i", range(4))
def test_colours_across_a_side_are_those_of_a_library_that_samples_along_a_line(i):
    """scikit-image, `measure.profile_line` of order 1: bilinear, a pixel apart, pixel centres at integers."""
    picture = np.random.default_rng(i).random((70, 90, 3)).astype(np.float32)
    px, normal = side_points(QUAD, i, np.array([0.3, 0.55]), np.arange(-6.0, 7.0))
    assert (QUAD.mean(0) - px[0, 6]) @ normal < 0  # outward
    for line, seen in zip(px, sampled(picture, px), strict=True):
        last = line[-1] - 1e-6 * normal  # a hair less than whole pixels off, or it takes a place more
        along = profile_line(picture, line[0, ::-1], last[::-1], order=1, reduce_func=None, mode="constant")
        assert seen == pytest.approx(along.reshape(seen.shape), abs=0.04)  # OpenCV: in steps of 1/32 px
    assert np.isnan(sampled(picture, np.array([[[-0.5, 3.0], [3.0, 69.5]]]))).all()
