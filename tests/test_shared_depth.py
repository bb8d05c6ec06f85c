"""Facts about rival lines held against the frame's depth. Oracles: central projection; the renderer of `fixtures`."""

from dataclasses import replace

import numpy as np
import pytest

from fixtures.renderer.camera import Camera as Drawn
from fixtures.renderer.camera import film_focal_px, pose
from fixtures.renderer.render import render
from fixtures.renderer.scene import Light, Opening, Scene, Wall, smooth_sides
from vision.camera import Camera
from vision.faces.lines import FaceLine
from vision.faces.reveal import Beside, log_evidence
from vision.request import SIDES
from vision.sides.shared_depth import MOST_LOG_FACTOR, log_factors
from vision.stations import ENDS, OUTWARD, Line

DEPTH_MM = 80.0
CORNERS = np.array([[-402.0, -500], [400, -501], [401, 500], [-400, 502]])
JAMBS = ("head", "left", "right")


def seen_from(x, y, distance=1500.0):
    """Return foot and frame of a reveal as a camera at x, y mm sees them beside head and jambs (similar triangles)."""
    views = {}
    for side, inward in (("head", 500 + y), ("left", 400 + x), ("right", 400 - x)):
        b = Beside(side, (), 1.0, inward, distance, 0.0)
        places = (b.seen_mm(0.0, DEPTH_MM), b.seen_mm(8.0, DEPTH_MM))
        views[side] = replace(b, lines=tuple(FaceLine(p, 0.0, 0.2, 1.0) for p in places))
    return views


@pytest.mark.parametrize("side", JAMBS)
def test_an_edge_before_the_common_depth_is_likelier_than_the_foot_of_its_reveal(side):
    seen = seen_from(0.0, 0.0)
    foot = seen[side].from_further_out(-seen[side].lines[0].inward_mm)
    assert log_evidence(seen, "masonry") - log_evidence({**seen, side: foot}, "masonry") > 2.0


def test_one_side_alone_tells_less_than_three():
    seen = seen_from(0.0, 0.0)
    foot = {**seen, "left": seen["left"].from_further_out(-seen["left"].lines[0].inward_mm)}

    def gain(sides):
        return log_evidence(seen, "render", sides) - log_evidence(foot, "render", sides)

    assert gain(JAMBS) > gain(("left",)) + 0.5


@pytest.fixture(scope="module")
def photo():
    """Return a photo of an opening, its camera, and its sides as lines of the wall."""
    width, height = 1152, 864
    R, t = pose(np.array([60.0, -90.0, 1750.0]), 5.0, -4.0, 1.0)
    drawn = Drawn(width, height, film_focal_px(26, width, height), width / 2, height / 2, 0.0, 0.0, R, t, 26)
    opening = Opening(smooth_sides(CORNERS, {}), reveal_mm=DEPTH_MM, sill_height_mm=0.0, frame_mm=55.0)
    rgb, _ = render(Scene("depth", drawn, opening, (), Wall("render"), Light(direct=0.2), oversample=1))
    camera = Camera(R @ np.diag([1, 1, -1.0]), t, drawn.f_px, drawn.cx, drawn.cy, 0.0, 0.0)
    lines = {}
    for side in SIDES:
        a, b = CORNERS[list(ENDS[side])]
        d = (b - a) / np.hypot(*(b - a))
        normal = np.array([-d[1], d[0]]) if side in {"head", "sill"} else np.array([d[1], -d[0]])
        lines[side] = Line(a, d, normal * OUTWARD[side], float(np.hypot(*(b - a))))
    return rgb, camera, lines


def factors(photo, rivals, sure, lines=None):
    rgb, camera, true = photo
    return log_factors(rgb, camera, lines or true, dict.fromkeys(SIDES, 0.0), rivals, sure, "render")


@pytest.mark.parametrize("side", JAMBS)
def test_a_line_that_is_the_foot_of_the_reveal_loses_to_the_edge(photo, side):
    # a camera 1750 before the wall sees a foot 80 behind an edge (c inward of it) by c 80 / 1830 further in
    inward = {"head": 500 - 90.0, "left": 400 + 60.0, "right": 400 - 60.0}[side]
    foot = inward * DEPTH_MM / (1750 + DEPTH_MM)
    found = factors(photo, {side: np.array([0.0, -foot])}, [s for s in JAMBS if s != side])[side]
    assert found[0] == 0.0
    assert -MOST_LOG_FACTOR <= found[1] < -1.0


def test_the_edge_wins_also_when_the_foot_was_taken_for_it(photo):
    foot = 460.0 * DEPTH_MM / (1750 + DEPTH_MM)
    left = photo[2]["left"]
    lines = {**photo[2], "left": replace(left, origin=left.origin - foot * left.normal)}
    found = factors(photo, {"left": np.array([0.0, foot])}, ["head", "right"], lines)["left"]
    assert found[1] == 0.0
    assert found[0] < -1.0


def test_lines_too_near_to_be_told_apart_share_a_factor_and_nothing_is_said_without_a_sure_side(photo):
    found = factors(photo, {"left": np.array([0.0, 1.5, -2.5])}, ["head"])["left"]
    assert (found == 0.0).all()
    assert factors(photo, {"left": np.array([0.0, -20.0])}, ["sill"]) == {}
