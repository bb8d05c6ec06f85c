"""Where the other lines of a side are drawn; the oracle is a camera square on, one pixel a millimetre (pinhole)."""

import numpy as np
import pytest

from vision.camera import Camera
from vision.sides.traced import rivals_px
from vision.stations import SideLine

CORNERS = np.array([[-300.0, -400.0], [300.0, -400.0], [300.0, 400.0], [-300.0, 400.0]])
ENDS = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}
OUTWARD = {"head": (0, -1), "right": (1, 0), "sill": (0, 1), "left": (-1, 0)}


def camera():
    return Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 1000.0, 0.0, 0.0)


def side(name, depth_mm=0.0):
    ends = CORNERS[list(ENDS[name])] * 1000 / (1000 + depth_mm)
    none = np.zeros(0)
    return SideLine(name, ends, depth_mm, none, none, np.eye(2), 0.1, 0.1, 0.1)


@pytest.mark.parametrize("shift_mm", [25.0, -40.0])
def test_another_line_lies_its_shift_further_out_on_every_side(shift_mm):
    sides = {name: side(name) for name in ENDS}
    listed = dict.fromkeys(ENDS, ((0.6, 0.0, "edge"), (0.4, shift_mm, "frame")))
    found = rivals_px(camera(), sides, listed)
    assert [name for name, _, _ in found] == list(ENDS)
    for name, shift, ends in found:
        assert shift == shift_mm
        assert np.allclose(ends, CORNERS[list(ENDS[name])] + shift_mm * np.array(OUTWARD[name]))


def test_a_side_that_stands_in_front_shifts_by_more_pixels():
    sides = {name: side(name, -200.0) for name in ENDS}
    ((_, _, ends),) = rivals_px(camera(), sides, {"head": ((1.0, 40.0, "edge"),)})
    assert np.allclose(ends[:, 1], (-400 - 40) * 1000 / 800)


def test_without_sides_there_are_no_other_lines():
    assert rivals_px(camera(), {}, {}) == ()
