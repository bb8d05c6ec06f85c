"""Facts about steps across lines of a strip."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.test_sides import DEPTH, draw, rough, turned_camera
from vision.camera import UNKNOWNS
from vision.sides.line_search import find_lines
from vision.sides.search import plan_search
from vision.strips.profiles import cut_strip
from vision.strips.strip_line import steps_across

RAMP = np.tile(np.arange(60.0)[None, :, None], (3, 1, 3))  # one more a sample


@pytest.mark.parametrize("gap_px", [0.25, 0.75, 1.25])
@pytest.mark.parametrize("window_px", [1.0, 2.5])
def test_the_step_of_a_ramp_is_its_slope_times_the_distance_of_the_windows_middles(gap_px, window_px):
    """Arithmetic: the middles lie twice the gap and a window apart; all ends fall on borders of samples of 0.5 px."""
    step, outer, inner = steps_across(RAMP, 0.5, gap_px, window_px)
    apart = 2 * gap_px + window_px
    assert_allclose(step[:, 15:-15], apart / 0.5, rtol=1e-12)
    assert_allclose((outer + inner)[:, 15:-15] / 2, RAMP[:, 15:-15], rtol=1e-12)


def test_of_a_sample_that_a_window_cuts_only_the_part_within_counts():
    one = np.zeros((1, 21, 3))
    one[0, 13] = 1.0
    _, outer, _ = steps_across(one, 1.0, 1.25, 2.5)
    # sample 13 reaches from 12.5 to 13.5; the window about 9 from 10.25 to 12.75, about 10 to 13.75
    assert_allclose(outer[0, [9, 10], 0], [0.25 / 2.5, 1.0 / 2.5], rtol=1e-12)


@pytest.mark.parametrize("pitch_px", [0.5, 0.6, 1.0])
def test_steps_are_continuous_in_the_gap_where_whole_samples_would_be_rounded(pitch_px):
    rng = np.random.default_rng(1)
    profiles = rng.uniform(0, 1, (4, 60, 3))
    ties = pitch_px * np.array([0.5, 1.5, 2.5])
    for gap in ties:
        below, above = (steps_across(profiles, pitch_px, g)[0] for g in (gap - 1e-9, gap + 1e-9))
        assert_allclose(below, above, rtol=0, atol=1e-7)


def test_lines_of_a_side_hang_on_no_digit_beyond_those_of_the_photo():
    """A camera moved by 1e-10 of its units sees the same: bilinear samples are continuous in their places."""
    camera = turned_camera()
    photo, corners = draw(camera), rough(camera)
    rng, seen = np.random.default_rng(2), []
    for _ in range(4):
        moved = camera.moved(rng.normal(0, 1e-10, UNKNOWNS))
        search = plan_search(moved, corners, 3.0, DEPTH, "front", "left", photo.shape)
        strip = cut_strip(photo, moved, "left", search.ends_mm, 0.0, search.inner_px + 9, search.outer_px + 9)
        lines = find_lines(strip, (-search.inner_px, search.outer_px), 8.0, "both")
        seen.append(np.array([[x.contrast, x.t_value, x.peak, *x.shape] for x in lines]))
    for other in seen[1:]:
        assert_allclose(other, seen[0], rtol=1e-4, atol=1e-5)
