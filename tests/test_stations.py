"""Where a tape touches a side. Oracle: contract, *Measures*: local edges within 8 and 20 mm; guesses are marked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.stations import SideLine, local_edge


def side(s, outward, **changes):
    line = SideLine(
        "left",
        np.zeros((2, 2)),
        0.0,
        np.array(s, float),
        np.array(outward, float),
        np.zeros((2, 2)),
        0.2,
        1.0,
        0.0,
    )
    return replace(line, **changes)


def test_the_innermost_brick_under_the_blade_stops_the_tape():
    """Contract, local edges: innermost within 8 mm."""
    assert local_edge(side([92, 100, 108, 120], [0.0, -1.5, 2.0, -9.0]), 100)[0] == -1.5


def test_a_smooth_side_is_averaged_about_the_station_because_single_places_are_noise():
    smooth = side([90, 100, 110], [0.3, -0.9, 0.0], ragged=False)
    value, u = local_edge(smooth, 100)
    assert value == pytest.approx(-0.2)
    assert u == pytest.approx(np.hypot(0.2, 1.0) / 2)  # a guess: three places and more count as four
    assert local_edge(replace(smooth, ragged=True), 100)[0] == -0.9


def test_beside_a_joint_the_nearest_edge_within_20_mm_counts():
    assert local_edge(side([60, 112, 125], [-9.0, 1.25, -7.0]), 100)[0] == 1.25


def test_far_from_any_edge_seen_the_straight_side_counts_with_its_scatter():
    value, u = local_edge(side([60, 121], [5.0, 5.0]), 100)
    assert (value, u) == (0.0, pytest.approx(np.hypot(0.2, 1.0)))


def test_an_untraced_side_is_straight_but_never_surer_than_a_third_of_a_millimetre():
    assert local_edge(side([], [], scatter_mm=0.0), 100) == (0.0, pytest.approx(np.hypot(0.2, 0.3)))


def test_the_further_the_edge_seen_the_less_sure_the_station():
    under, near, none = (local_edge(side([s], [0.0]), 100)[1] for s in (100, 115, 150))
    assert under < near < none
