"""Facts about rounded arrises: read where a photo shows them, and what is usual of them where it does not."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image, ImageOps
from scipy.special import ndtr

from vision.camera import Camera
from vision.measures import choice_cov_mm2
from vision.request import SIDES
from vision.sides.arris import PITCH_PX, offsets_px
from vision.sides.finding import FoundSide
from vision.sides.inner_edge import inner_edges
from vision.sides.place import Placed
from vision.sides.traced import side_lines
from vision.sides.tracing import trace_sides
from vision.sides.usual_arris import PAD_PX, Round, _blurred, _sharp_shapes, read_round, usual_arrises
from vision.stations import ENDS
from vision.strips.profiles import Strip
from vision.strips.strip_line import Line

PRACTICE = Path(__file__).parents[2] / "shared" / "practice"
SHARP, ROUNDED = np.array([1.0, 0.0]), np.array([0.0, 1.0])


def seen(light, inner, radius_px, end_px, blur_px):
    """Return the profile of an arc that ends at `end_px`: light(x) of a normal turned by arcsin x, blurred, by sums."""
    y = np.arange(-25, 25, 0.01) + 0.005
    x = np.clip(1 - (y - end_px) / radius_px, 0, 1)
    f = np.where(y > end_px, light(x), inner)
    return np.array([np.average(f, weights=np.exp(-0.5 * ((y - a) / blur_px) ** 2)) for a in offsets_px()])


def overcast_head(x):
    """Light of a sky of even brightness over ground of albedo 0.2 on a normal that turns down (Liu & Jordan 1960)."""
    return 0.4 * (1 - x * 0.8 / 1.2)


def step_of(light, inner, radius_px):
    """Return how far out of the arc's inner end a sharp step of the same light would stand, px."""
    x = (np.arange(10_000) + 0.5) / 10_000
    # the arc is even in y = radius * (1 - x)
    return radius_px * float(np.mean(light(0.0) - light(x))) / (light(0.0) - inner)


def test_the_inner_end_of_a_resolved_round_is_inward_of_the_step_and_within_u():
    """Lambert's law on a quarter round of 2 mm lit from above, 0.4 mm a pixel, drawn here by its formula."""
    profile = seen(lambda x: 0.1 + 0.3 * (np.sqrt(1 - x**2) + 1.8 * x), 0.64, 5.0, -1.5, 0.75)
    read = read_round(profile, "sill", 0.75, 4.5, 5.5, 0.4)
    assert read is not None
    arris = usual_arrises([read])[0]
    assert arris.rounded > 0.95
    assert arris.shift_mm < -0.2
    assert abs(arris.shift_mm + 1.5 * 0.4) < 2 * arris.u_mm < 0.8


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("slope", [0.0, -0.015])
def test_a_sharp_step_stays_where_it_was_placed_even_beside_a_reveal_that_darkens_inward(side, slope):
    """A step blurred by a Gaussian is the normal integral; a ramp's blur is its integral (both closed forms)."""
    at = offsets_px()
    outside = ndtr(at / 0.8)
    ramp = -at * (1 - outside) + 0.8 * np.exp(-0.5 * (at / 0.8) ** 2) / np.sqrt(2 * np.pi)
    read = read_round(0.3 * outside + 0.12 * (1 - outside) + slope * ramp, side, 0.8, 4.5, 5.5, 0.5)
    arris = usual_arrises([read] * 4)[0]
    assert arris.rounded < 0.1
    assert_allclose(arris.shift_mm, 0, rtol=0, atol=0.1)
    assert arris.u_mm < 0.2


@pytest.mark.parametrize("radius_mm", [0.0, 1.0, 2.0])
def test_where_a_round_is_lost_in_the_blur_u_holds_sharp_and_rounded_arrises(radius_mm):
    mm, blur = 1.6, 1.0
    radius = max(radius_mm / mm, 1e-6)
    out = step_of(overcast_head, 0.03, radius)
    read = read_round(seen(overcast_head, 0.03, radius, -out, blur), "head", blur, 4.5, 5.5, mm)
    arris = usual_arrises([read] * 4)[0]
    assert -0.6 < arris.shift_mm < 0  # always inward of the step that is seen
    assert abs(arris.shift_mm + out * mm) < 2 * arris.u_mm
    assert 0.1 < arris.u_mm < 0.6


@pytest.mark.parametrize(("mm", "read"), [(0.4, True), (1.6, False)])
def test_a_round_is_read_where_it_is_resolved_and_taken_as_usual_where_it_is_not(mm, read):
    """Quarter rounds of 2 mm lit from above: five pixels of a sharp photo, one and a quarter of a coarse one."""
    radius = 2.0 / mm

    def sunlit(x):
        return 0.1 + 0.3 * (np.sqrt(1 - x**2) + 1.8 * x)

    profile = seen(sunlit, 0.64, radius, -step_of(sunlit, 0.64, radius), 0.75)
    along, across = np.linspace(0, 1000, 50), np.arange(-20, 20, 0.5) * mm
    level = np.zeros(2), np.array([1.0, 0]), np.array([0, 1.0])
    strip = Strip(np.zeros((50, 80, 3), np.float32), along, across, *level, 0.0, mm)
    placed = Placed(np.zeros(3), np.eye(3), along, along * 0, 0.1, 0.1, 0.1, 1.0, along, along * 0)
    line = Line(np.zeros(3), np.full(3, 0.3), 0.5, 50.0, 1.0, 1.0, np.full(3, 0.4), np.full(3, 0.64))
    edge = inner_edges({"sill": FoundSide(strip, [line], np.ones(1), 0, placed, profile, None)}, (0.7, 0.7))["sill"]
    assert edge.shift_mm < -0.15
    assert (edge.u_arris_mm is None) == read
    assert (edge.u_offset_mm > 0) == read


def test_a_step_without_light_of_its_own_tells_nothing():
    at = offsets_px()
    assert read_round(0.3 + 0.005 * ndtr(at), "left", 0.8, 4.5, 5.5, 1.0) is None
    assert read_round(np.where(at > -1, ndtr(at), np.nan), "left", 0.8, 4.5, 2.0, 1.0) is None


@pytest.mark.parametrize(("round_sides", "expected"), [(0, 1 / 12), (1, 1 / 3), (3, 5 / 6)])
def test_a_side_that_tells_nothing_is_taken_like_the_others(round_sides, expected):
    """Polya's urn: after n draws of which k are round the next is with probability (1/3 + k) / (1 + n)."""
    told = [Round(ROUNDED if i < round_sides else SHARP, np.zeros(2), np.zeros(2)) for i in range(3)]
    unread = Round(np.array([0.5, 0.5]), np.array([0.0, -0.6]), np.array([0.0, 0.36]))
    arris = usual_arrises([*told, None, unread])[-1]
    assert_allclose(arris.rounded, expected, rtol=1e-9)
    assert_allclose(arris.shift_mm, -0.6 * arris.rounded, rtol=1e-12)
    assert_allclose(arris.u_mm, 0.6 * np.sqrt(arris.rounded * (1 - arris.rounded)), rtol=1e-9)
    assert usual_arrises([*told, None])[-1] is None
    assert_allclose(usual_arrises([unread])[0].rounded, 1 / 3, rtol=1e-12)


def test_arrises_of_one_wall_that_are_lost_in_the_blur_are_off_together():
    """Monte Carlo: a share of round ones from Beta(1/3, 2/3), each arris by it, shifts of 0.9 +- 0.4 mm if round."""
    rng, n = np.random.default_rng(2), 400_000
    round_ones = rng.uniform(size=(2, n)) < rng.beta(1 / 3, 2 / 3, n)
    drawn = np.where(round_ones, rng.normal(-0.9, 0.4, (2, n)), 0.0)
    unread = Round(np.array([1.0, 1.0]), np.array([0.0, -0.9]), np.array([0.0, 0.9**2 + 0.4**2]))
    left, nothing, right = usual_arrises([unread, None, unread])
    assert nothing is None
    assert left.with_mm2[1] == 0
    of_both = np.sqrt(left.u_mm**2 + right.u_mm**2 + left.with_mm2[2] + right.with_mm2[0])
    assert_allclose(of_both, drawn.sum(0).std(), rtol=0.01)
    assert of_both > 1.15 * np.hypot(left.u_mm, right.u_mm)
    assert_allclose(left.with_mm2[0], left.u_mm**2, rtol=1e-12)


@pytest.mark.parametrize("blur", [0.6, 1.0, 2.5])
def test_blurred_shapes_are_the_normal_integral_and_that_of_a_ramp(blur):
    y = np.arange(-PAD_PX, PAD_PX, PITCH_PX)
    near = np.abs(y) < 17  # the transform's circle closes outside
    shapes = _blurred(_sharp_shapes("head")[0], blur)
    assert_allclose(shapes[0, near], ndtr(y / blur)[near], rtol=0, atol=2e-3)
    assert_allclose(shapes[-2, near], 1 - ndtr(y / blur)[near], rtol=0, atol=2e-3)
    ramp = -y * ndtr(-y / blur) + blur * np.exp(-0.5 * (y / blur) ** 2) / np.sqrt(2 * np.pi)
    assert_allclose(shapes[-1, near], ramp[near], rtol=0, atol=2e-2)


def traced_when_shrunk(name, mm_per_px):
    """Return truth, camera and traces of a practice photo shrunk to a scale and sent at JPEG quality 60."""
    truth = json.loads((PRACTICE / f"{name}.truth.json").read_text())
    picture = ImageOps.exif_transpose(Image.open(PRACTICE / truth["photo"])).convert("RGB")
    corners_mm, corners_px = np.array(truth["corners_mm"])[:, :2], np.array(truth["corners_px"])
    across = np.linalg.norm(corners_mm[2] - corners_mm[0]) / np.linalg.norm(corners_px[2] - corners_px[0])
    size = (np.array(picture.size) * across / mm_per_px).round().astype(int)
    k = size / np.array(picture.size)
    rgb = np.asarray(picture.resize(tuple(size), Image.Resampling.BICUBIC))
    _, code = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 60])
    rgb = np.ascontiguousarray(cv2.imdecode(code, cv2.IMREAD_COLOR)[..., ::-1])
    c = truth["camera"]
    centre = (np.array([c["cx"], c["cy"]]) + 0.5) * k - 0.5
    rotation = np.array(c["R"]) @ np.diag([1, 1, -1.0])
    camera = Camera(rotation, np.array(c["t"]), c["f_px"] * k.mean(), *centre, c["k1"], c["k2"])
    rough = (np.array(truth["rough_corners_px"]) + 0.5) * k - 0.5
    return truth, camera, trace_sides(rgb, camera, rough, 3.0, dict.fromkeys(SIDES, 0.0), "masonry")


@pytest.mark.skipif(not PRACTICE.exists(), reason="the practice photos are not beside the checkout")
def test_level_sides_of_a_photo_sent_small_lie_where_those_of_the_photo_itself_do():
    """Truth of the practice photos; placed at the middle of the step, they stand 0.8 and 1.0 mm too far out."""
    truth, camera, traces = traced_when_shrunk("P1", 1.0)
    corners = np.array(truth["corners_mm"])[:, :2]
    for side in ("head", "sill"):
        trace = traces[side]
        a, b = corners[list(ENDS[side])]
        normal = np.array([trace.direction[1], -trace.direction[0]]) * (1 if side == "head" else -1)
        error = float((trace.origin_mm - (a + b) / 2) @ normal)
        assert abs(error) < 0.6, side
    lines = side_lines(camera, traces, "masonry")[0]
    unread = side_lines(camera, {s: replace(t, u_arris_mm=None) for s, t in traces.items()}, "masonry")[0]
    assert all(unread[s].u_choice_mm == 0.4 for s in SIDES)  # 0.4 mm: what the budget holds for arrises on masonry
    told = {s: np.hypot(traces[s].u_arris_mm, 0.2) for s in SIDES}
    assert_allclose([lines[s].u_choice_mm for s in SIDES], [told[s] for s in SIDES], rtol=1e-12)
    together = choice_cov_mm2(lines)
    assert (np.linalg.eigvalsh(together) > 0).all()
    assert together[0, 2] == traces["head"].arris_with_mm2["sill"] > 0
