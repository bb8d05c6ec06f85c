"""Sides of pages and cards in drawn pictures of known outline."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.page_sides.fit import crossings
from vision.page_sides.traced import trace_quad

SIZE = (420, 360)
QUAD = np.array([[120.3, 80.6], [268.9, 92.2], [259.7, 281.4], [111.8, 275.5]])


def coded(light):
    """Return sRGB bytes of linear light (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return (255 * curve + 0.5).astype(np.uint8)


def moved(length_px, degrees):
    """Return the kernel of a camera that moved evenly while the shutter was open."""
    n = 2 * int(length_px) + 3
    kernel, a = np.zeros((n, n)), np.deg2rad(degrees)
    for s in np.linspace(-0.5, 0.5, 400) * length_px:
        kernel[round(n // 2 + s * np.sin(a)), round(n // 2 + s * np.cos(a))] += 1 / 400
    return kernel


def drawn(quad=QUAD, paper=0.8, wall=0.3, *, psf=0.7, noise=0.004, seed=1, light=1.0, mark=None, smear=None):
    """Return a photo of a quadrilateral page, drawn four times finer, averaged and blurred in linear light."""
    fine, rng = 4, np.random.default_rng(seed)
    x = (np.arange(SIZE[0] * fine) + 0.5) / fine - 0.5
    y = (np.arange(SIZE[1] * fine) + 0.5) / fine - 0.5
    inside = np.ones((len(y), len(x)), bool)
    for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True):
        d = b - a
        inside &= d[0] * (y[:, None] - a[1]) - d[1] * (x[None, :] - a[0]) > 0
    share = inside.reshape(SIZE[1], fine, SIZE[0], fine).mean((1, 3))[..., None]
    picture = (share * (paper * np.ones(3)) + (1 - share) * (wall * np.ones(3))) * light
    if mark is not None:
        picture = mark(picture)
    if smear is not None:
        picture = cv2.filter2D(picture, -1, smear)
    picture = cv2.GaussianBlur(picture, (0, 0), psf) + noise * rng.standard_normal(picture.shape)
    return coded(picture)


def rough(off=6.0, seed=3):
    return QUAD + np.random.default_rng(seed).uniform(-off, off, (4, 2))


@pytest.mark.parametrize("psf", [0.6, 1.2, 2.0])
def test_rough_corners_become_those_of_the_outline_at_any_blur(psf):
    traced = trace_quad(drawn(psf=psf), rough(), 8, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.12
    assert traced.weakest > 0.9


@pytest.mark.parametrize("degrees", [0, 30, 90])
@pytest.mark.parametrize("length", [7, 11])
def test_a_camera_that_moved_leaves_the_sides_in_place(length, degrees):
    """An even motion smears each edge alike to both sides: the middle of its ramp is the edge (convolution)."""
    traced = trace_quad(drawn(smear=moved(length, degrees)), rough(), 8, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.25


def test_motion_is_told_by_the_sides_that_lie_across_it():
    """The standard deviation of an even motion is its length over the root of 12 (a rectangular distribution)."""
    head, right = trace_quad(drawn(smear=moved(10, 0)), QUAD, 4, (0.06, 0.06)).blur_px
    assert right == pytest.approx(np.hypot(10 / 12**0.5, 0.7), rel=0.3)
    assert head < 1.3


def test_a_joint_within_the_smear_of_a_side_is_told_by_the_opposite_side():
    """What it moves the side by stays within what is stated; no more is stated of a side with an even wall beside."""

    def joint(picture):
        picture, ends = picture.copy(), np.rint(16 * (QUAD[[3, 2]] + np.array([0, 3]))).astype(int)
        cv2.line(picture, tuple(ends[0]), tuple(ends[1]), (0.42,) * 3, 5, shift=4)
        return picture * (1 - page) + 0.8 * page

    page = (drawn(wall=0.0, psf=0.3, noise=0.0, paper=1.0) > 127).astype(float)
    clear = trace_quad(drawn(smear=moved(9, 90)), QUAD, 4, (0.06, 0.06))
    beside = trace_quad(drawn(smear=moved(9, 90), mark=joint), QUAD, 4, (0.06, 0.06))
    assert max(s.beside_px for s in clear.sides) < 0.15
    d = QUAD[3] - QUAD[2]
    out = ((beside.sides[2].pixel - QUAD[2]) @ [d[1], -d[0]]) / np.linalg.norm(d)
    assert 0.3 < np.median(out) < 2.5 * beside.sides[2].beside_px


def test_a_white_page_on_a_nearly_white_wall_is_traced():
    traced = trace_quad(drawn(paper=0.80, wall=0.72), rough(4), 6, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.4


def test_a_shadow_over_half_the_page_does_not_take_its_sides_away():
    shade = np.where(np.arange(SIZE[0])[None, :, None] > 190 + 0.2 * np.arange(SIZE[1])[:, None, None], 0.3, 1.0)
    traced = trace_quad(drawn(light=shade), rough(), 8, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.25


def test_tape_and_a_curled_corner_are_left_out():
    def taped(picture):
        picture = picture.copy()
        picture[70:96, 180:215] = 0.5
        cv2.fillPoly(picture, [np.array([[250, 60], [275, 60], [275, 112]])], (0.3, 0.3, 0.3))
        return picture

    traced = trace_quad(drawn(mark=taped), rough(), 8, (0.08, 0.08))
    assert np.abs(traced.corners_px - QUAD).max() < 0.25
    assert traced.sides[0].seen < 0.9


def test_a_card_of_the_walls_brightness_is_traced_by_its_colour():
    """Two colours of one grey (Rec. 709 weights): green and brown of luminance 0.2."""
    green, brown = np.array([0.05, 0.25, 0.15]), np.array([0.42, 0.14, 0.12])
    traced = trace_quad(drawn(paper=green, wall=brown), rough(), 8, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.2


def test_a_stronger_line_beside_the_page_does_not_capture_it():
    def joint(picture):
        picture = picture.copy()
        a, b = QUAD[0] - [0, 7], QUAD[1] - [0, 7]
        cv2.line(
            picture, tuple(np.rint(a * 16).astype(int)), tuple(np.rint(b * 16).astype(int)), (0.01,) * 3, 3, shift=4
        )
        return picture

    traced = trace_quad(drawn(wall=0.4, mark=joint), QUAD + 3.0, 9, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.5


def test_nothing_is_traced_on_an_even_wall():
    traced = trace_quad(drawn(paper=0.3), rough(), 8, (0.06, 0.06))
    assert traced is None or traced.weakest < 0.6


def test_stated_noise_of_the_points_is_what_they_scatter():
    """Over many pictures the mean distance of a side's points from the true line stays within what is stated."""
    z = []
    for seed in range(6):
        traced = trace_quad(drawn(seed=seed, noise=0.02), QUAD, 3, (0.06, 0.06))
        for i, side in enumerate(traced.sides):
            d = QUAD[(i + 1) % 4] - QUAD[i]
            out = np.array([d[1], -d[0]]) / np.linalg.norm(d)
            z += list(((side.pixel - QUAD[i]) @ out) / np.hypot(side.u_px, 0.02))
    assert 0.5 < np.sqrt(np.mean(np.square(z))) < 1.5


def test_lines_cross_where_geometry_says():
    lines = np.array([[0, -1, -10.0], [1, 0, 90.0], [0, 1, 70.0], [-1, 0, -20.0]])
    assert crossings(lines) == pytest.approx(np.array([[20, 10], [90, 10], [90, 70], [20, 70.0]]))


def grainy(tone, contrast, seed=5):
    """Return a wall of patches brighter and darker than a tone, on the fine grid of `drawn`."""
    patches = np.random.default_rng(seed).uniform(-1, 1, (SIZE[1] // 12, SIZE[0] // 12)).astype(np.float32)
    fine = cv2.resize(patches, SIZE, interpolation=cv2.INTER_CUBIC)
    return (tone * (1 + contrast * fine))[..., None] * np.ones(3)


def test_a_page_on_a_wall_brighter_and_darker_by_turns_is_traced_where_its_own_colour_ends():
    traced = trace_quad(drawn(paper=0.7, wall=grainy(0.7, 0.15)), rough(4.0), 6, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.6
    assert traced.weakest > 0.35


def test_a_page_two_hundredths_darker_than_the_wall_is_traced_past_a_dark_line_beside_it():
    def lap(picture):
        y = (QUAD[0, 1] + QUAD[1, 1]) / 2 - 9.0  # outside the head, across it
        row = (np.arange(picture.shape[0]) - y)[:, None, None]
        return np.where((np.abs(row) < 1.5), 0.2, picture)

    rgb = drawn(paper=0.66, wall=0.70, noise=0.003, mark=lap)
    traced = trace_quad(rgb, rough(2.0), 6, (0.06, 0.06))
    assert np.abs(traced.corners_px - QUAD).max() < 0.5


def test_where_nothing_is_even_inside_no_side_is_seen():
    wall = grainy(0.5, 0.4)
    traced = trace_quad(drawn(paper=wall, wall=wall), rough(3.0), 6, (0.06, 0.06))
    assert traced is None or traced.weakest < 0.35


def shadowed(share, breadth):
    """Return what darkens a strip that broad (px) outside the right side and the foot, on the fine grid of `drawn`."""

    def mark(picture):
        high, wide = (np.arange(n, dtype=float) for n in picture.shape[:2])
        outside = np.full(picture.shape[:2], -np.inf)
        for a, b in zip(QUAD, np.roll(QUAD, -1, axis=0), strict=True):
            d = (b - a) / np.linalg.norm(b - a)
            outside = np.maximum(outside, d[1] * (wide[None] - a[0]) - d[0] * (high[:, None] - a[1]))
        middle = QUAD.mean(0)
        below = (wide[None] - middle[0]) + (high[:, None] - middle[1]) > 0
        strip = np.clip(np.minimum(outside + 0.5, breadth + 0.5 - outside), 0, 1) * below
        return picture * (1 - share * strip[..., None])

    return mark


@pytest.mark.parametrize("wall", [0.67, 0.70])
def test_beside_a_wall_as_bright_the_paper_ends_where_its_shadow_begins(wall):
    rgb = drawn(paper=0.66, wall=wall, noise=0.003, mark=shadowed(0.1, 2.0))
    traced = trace_quad(rgb, rough(2.0), 6, (0.06, 0.06))
    right, foot = traced.sides[1], traced.sides[2]
    for side, (a, b) in ((right, QUAD[[1, 2]]), (foot, QUAD[[2, 3]])):
        d = (b - a) / np.linalg.norm(b - a)
        off = (side.pixel - a) @ np.array([d[1], -d[0]])
        assert abs(off.mean()) < 0.15


def test_a_strong_line_beside_a_faint_page_is_not_believed_to_be_its_side():
    def lap(picture):
        y = (QUAD[0, 1] + QUAD[1, 1]) / 2
        slope = (QUAD[1, 1] - QUAD[0, 1]) / (QUAD[1, 0] - QUAD[0, 0])
        along = np.arange(picture.shape[1]) - (QUAD[0, 0] + QUAD[1, 0]) / 2
        off = y + slope * along[None] - np.arange(picture.shape[0])[:, None]
        return np.where((np.abs(off - 4) < 2)[..., None], 0.15, picture)

    traced = trace_quad(drawn(paper=0.66, wall=0.68, noise=0.003, mark=lap), rough(1.0), 6, (0.06, 0.06))
    a, b = QUAD[0], QUAD[1]
    d = (b - a) / np.linalg.norm(b - a)
    off = (traced.sides[0].pixel - a) @ np.array([d[1], -d[0]])
    assert abs(off.mean()) < 0.5 + 2 * traced.sides[0].beside_px
    assert max(s.beside_px for s in traced.sides[1:]) < 1
