"""Lines on pictures: what has no length is drawn as nothing, what has one as long as it is."""

from __future__ import annotations

import numpy as np
import pytest

from vision.pictures.drawn_lines import draw_dimension, draw_line, resampled
from vision.pictures.looks import Look


@pytest.mark.parametrize("line", [np.zeros((1, 2)), np.full((2, 2), 7.0)])
def test_a_line_without_length_is_left_as_it_is(line):
    assert resampled(line, 1.0) is line


def test_a_line_is_resampled_at_even_steps():
    points = resampled(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]]), 1.0)
    assert np.hypot(*np.diff(points, axis=0).T) == pytest.approx(np.ones(7), abs=0.3)
    assert points[[0, -1]].tolist() == [[0, 0], [3, 4]]


def test_a_single_point_draws_nothing_and_a_dimension_without_length_no_bars():
    canvas = np.zeros((40, 40, 3), np.uint8)
    draw_line(canvas, np.array([[20.0, 20.0]]), (9, 9, 9), 2)
    assert not canvas.any()
    draw_dimension(canvas, np.full((2, 2), 20.0), Look((9, 9, 9)), 2)
    assert canvas.any(axis=2).sum() < 60  # a dot
