"""Where the other lines of a side are drawn; the oracle is a camera square on, one pixel a millimetre (pinhole)."""

import numpy as np
import pytest

from vision.camera import Camera
from vision.sides.traced import rivals_px, side_lines
from vision.sides.tracing import POINTED_NAME, SideTrace
from vision.sides.weights import SideCandidate
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


@pytest.mark.parametrize("hidden", [True, False])
def test_what_is_said_of_a_hidden_side_with_a_rival_line_is_no_contradiction(hidden):
    """'No line shows it' and 'more than one line could be it' were said of one side. Common practice, no source."""
    none = np.zeros(0)
    lines = (SideCandidate(0.6, 0.0, POINTED_NAME), SideCandidate(0.4, 25.0, "edge"))
    place, along = np.array([0.0, -400.0]), np.array([1.0, 0.0])
    trace = SideTrace("head", 0.0, place, along, np.eye(2), 0.0, none, none, 1.0, 0.0, 0.0, hidden, lines)
    said = [w.message for w in side_lines(camera(), {"head": trace}, "masonry")[3]]
    assert any("no line shows" in text for text in said) is False
    assert any(text.startswith("no clear line shows the head") for text in said) is hidden
    assert any(text.startswith("more than one line could be the head") for text in said) is not hidden
    assert any(text.startswith("a line beside the one drawn could as well be the head") for text in said) is hidden
