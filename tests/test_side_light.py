"""Facts about sides traced in dark and blurred photos, on drawn walls whose edges and light are known exactly."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr, ndtri

from vision.camera import Camera
from vision.request import SIDES
from vision.sides.plates import without_plate
from vision.sides.tracing import trace_sides
from vision.strips.light import light_of, without_pedestal
from vision.strips.strip_line import Line

SIZE = (900, 1200)
DEPTH = dict.fromkeys(SIDES, 0.0)
# one mm to a pixel: a photo 2 m from the wall, square to it
CAMERA = Camera(np.eye(3), np.array([0.0, 0.0, 2000.0]), 2000.0, 599.5, 449.5, 0.0, 0.0)
CORNERS_PX = np.array([[200.0, 150.0], [1000.0, 150.0], [1000.0, 750.0], [200.0, 750.0]])
PLATE_PX = 9.0
WHITE, WALL, STEEL, REVEAL = 0.8, 0.35, 0.2, 0.015  # linear light


def srgb(light):
    """Return 8 bit codes of linear light, IEC 61966-2-1."""
    light = np.clip(light, 0, 1)
    return np.round(255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)).astype(
        np.uint8
    )


def lintel_light():
    """Return linear light (H, W): sheet, wall, deep reveal, and above it the edge of a steel lintel, 9 mm high."""
    y, x = np.mgrid[0 : SIZE[0], 0 : SIZE[1]].astype(float)

    def part(top, left=200.0, right=1000.0, bottom=750.0):
        inside = np.minimum(np.minimum(x - left, right - x), np.minimum(y - top, bottom - y))
        return ndtr(inside / 0.7)

    light = np.full(SIZE, WALL)
    light += (STEEL - light) * part(150.0 - PLATE_PX)
    light += (REVEAL - light) * part(150.0)
    light[800:880, 100:400] = WHITE
    return light


def exposed(light, share, electrons, seed=4):
    """Return the photo (H, W, 3) uint8 of linear light at a share of full exposure, full well `electrons`.

    Photons are counted (Poisson) and read with a noise of 2 electrons; what falls below black is cut off.
    """
    rng = np.random.default_rng(seed)
    counted = rng.poisson(np.repeat(light[..., None], 3, axis=2) * share * electrons)
    return srgb((counted + rng.normal(0, 2.0, counted.shape)) / electrons)


def head_px(rgb):
    traces = trace_sides(rgb, CAMERA, CORNERS_PX + 2.0, 3.0, DEPTH, "masonry")
    return float(traces["head"].origin_mm[1]) + 449.5, traces["head"].candidates[0].weight


@pytest.mark.parametrize("electrons", [4000.0, 250.0])
def test_the_edge_of_a_lintel_is_told_from_the_head_in_the_dark_as_in_the_light(electrons):
    """A sixteenth of the light: the drawn head lies at row 150, the lintel's top at 141."""
    for rgb in (srgb(np.repeat(lintel_light()[..., None], 3, axis=2)), exposed(lintel_light(), 1 / 16, electrons)):
        at, weight = head_px(rgb)
        assert_allclose(at, 150.0, rtol=0, atol=1.0)
        assert weight > 0.9


@pytest.mark.parametrize("share", [1 / 4, 1 / 16, 1 / 64])
def test_a_dark_photo_is_told_in_shares_of_its_own_white_and_one_by_daylight_is_left_alone(share):
    light = lintel_light()
    assert light_of(srgb(np.repeat(light[..., None], 3, axis=2))).gain == 1.0
    gain = light_of(srgb(np.repeat(share * light[..., None], 3, axis=2))).gain
    assert_allclose(gain * share, light_of(srgb(np.repeat(light[..., None] / 2, 3, axis=2))).gain / 2, rtol=0.1)


@pytest.mark.parametrize("z", [0.0, 0.5, 1.0, 2.0, 5.0])
def test_the_mean_of_noise_cut_off_at_black_is_led_back_to_the_light(z):
    """Oracle: a million drawn normal values of mean z and unit spread, those below 0 set to 0, times 0.01."""
    drawn = 0.01 * np.maximum(np.random.default_rng(2).normal(z, 1.0, (1_000_000, 1)), 0.0)
    light = without_pedestal(np.repeat(drawn.mean(axis=0), 3), (0.01,) * 3)
    assert_allclose(light, 0.01 * z, rtol=0, atol=1e-4)


def test_the_noise_of_black_is_read_off_a_photo_in_which_half_of_it_is_cut_off():
    """Oracle: noise drawn with a spread of 0.01 of linear light about black; in a photo without noise there is none."""
    rng = np.random.default_rng(3)
    light = np.where(np.arange(640)[None, :, None] < 320, 0.0, 0.6) + rng.normal(0, 0.01, (480, 640, 3))
    found = light_of(srgb(light))
    assert found.gain == 1.0
    assert_allclose(found.black, 0.01, rtol=0.15)
    smooth = light_of(srgb(np.repeat(lintel_light()[..., None], 3, axis=2)))
    assert without_pedestal(np.array([0.001, 0.01, 0.1]), smooth.black) == pytest.approx([0.001, 0.01, 0.1])


def line_at(root, place_px, mm=1.0, near_px=0.75, far_px=3.25):
    """Return the line at a place (px) of root(v) of linear light, by the means of `near_px` to `far_px` beside it."""
    window = np.linspace(near_px, far_px, 101)

    def step(at):
        return float(root(at + window).mean() - root(at - window).mean())

    here = step(place_px)
    peak = 1 - max(0.5 * (step(place_px - 4) + step(place_px + 4)), 0.0) / here
    outer, inner = (np.full(3, float(root(place_px + k * window).mean())) for k in (1, -1))
    shape, colour = np.array([place_px * mm, 0.0, 0.0]), np.full(3, here)
    return Line(shape, colour, float(np.linalg.norm(colour)), 50.0, 1.0, peak, outer, inner)


@pytest.mark.parametrize("sigma_px", [1.5, 2.0, 2.5, 3.0])
@pytest.mark.parametrize("away_px", [5.2, 6.0, 7.0])
def test_the_shoulder_of_a_blurred_step_is_no_lintel_and_a_second_step_is(sigma_px, away_px):
    """Oracle: steps blurred by a Gaussian are normal integrals; from 0.4 to 0.03, or to 0.15 and then to 0.01."""

    def one(v):
        return np.sqrt(0.03 + 0.37 * ndtr(v / sigma_px))

    def two(v):
        return np.sqrt(0.01 + 0.14 * ndtr((v + 8.0) / sigma_px) + 0.25 * ndtr(v / sigma_px))

    def close(v):
        return np.sqrt(0.02 + 0.06 * ndtr((v + 3.3) / 0.7) + 0.24 * ndtr(v / 0.7))

    certain = np.array([0.98, 0.01])
    assert_allclose(without_plate([line_at(one, 0.0), line_at(one, -away_px)], certain, 1.0), certain)
    assert without_plate([line_at(two, 0.0), line_at(two, -8.0)], certain, 1.0)[1] > 0.9
    # a sharp photo, mm of 1.3 to a pixel: a lower edge that only narrow windows part from the upper one
    narrow = line_at(close, -3.3, 1.3, 0.5, 1.5)
    assert without_plate([line_at(close, 0.0, 1.3), narrow], certain, 1.3)[1] > 0.9
    # the same edge 3.6 mm broad is believed of a line seen as clearly as that, and of a fainter one it is not
    narrow = replace(narrow, shape=np.array([-3.6, 0.0, 0.0]))
    assert without_plate([line_at(close, 0.0, 1.1), narrow], certain, 1.1)[1] > 0.9
    faint = replace(narrow, t_value=20.0)
    assert_allclose(without_plate([line_at(close, 0.0, 1.1), faint], certain, 1.1), certain)


def test_where_noise_hides_how_dark_a_reveal_is_a_lintel_is_said_to_be_possible():
    """Pieces of a whole side with noise of half the step: a normal integral tells how many show 0.35 of it."""
    coverage = float(np.mean(1.0 + 0.5 * ndtri((np.arange(48) + 0.5) / 48) > 0.35))
    assert_allclose(coverage, 0.903, atol=0.02)  # tables of the normal integral: at 1.30

    def lines(coverage):
        upper = line_at(lambda v: np.where(v > 0, 0.45, 0.24), 0.0)
        lower = line_at(lambda v: np.where(v > -8, 0.24, 0.19), -8.0)  # by light 1 to 0.63
        return [upper, replace(lower, t_value=2.0 * np.sqrt(48), coverage=coverage)]

    certain = np.array([0.98, 0.01])
    doubted = without_plate(lines(coverage), certain, 1.0, black=0.045)
    assert 0.4 < doubted[0] < 0.6
    assert 0.4 < doubted[1] < 0.6
    assert_allclose(without_plate(lines(coverage), certain, 1.0, black=0.0), certain)
    assert_allclose(without_plate(lines(0.7), certain, 1.0, black=0.045), certain)


def test_a_round_is_seen_in_a_dark_photo_as_in_a_light_one():
    """An arris rounded by 3 mm = 6 px, lit at 45 degrees by Lambert's law (drawn): its inner end is the side."""
    camera = Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 2000.0, 599.5, 449.5, 0.0, 0.0)
    y, x = np.mgrid[0 : SIZE[0], 0 : SIZE[1]].astype(float)
    inside = np.minimum(np.minimum(x - 200.0, 1000.0 - x), np.minimum(y - 150.0, 750.0 - y))
    turned = np.clip(1 + inside / 6.0, 0.0, 1.0)  # sine of the turn of the normal, 0 on the face, 1 at the inner end
    light = np.where(inside > 0, 0.05, 0.05 + 0.2 * (np.sqrt(1 - turned**2) + turned))
    light[800:880, 100:400] = WHITE
    light = cv2.GaussianBlur(light, (0, 0), 0.7)
    off = []
    for share in (1.0, 1 / 32):
        rgb = srgb(np.repeat(share * light[..., None], 3, axis=2))
        traces = trace_sides(rgb, camera, CORNERS_PX + 2.0, 3.0, DEPTH, "render")
        off.append([(traces["head"].origin_mm[1] + 149.75), traces["left"].origin_mm[0] + 199.75])
    assert_allclose(off[0], 0.0, rtol=0, atol=0.6)  # mm
    assert_allclose(off[1], off[0], rtol=0, atol=0.3)
