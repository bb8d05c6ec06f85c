"""Sides of coloured things in drawn JPEG files of known outline: halved chroma must not move them."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from vision.page_sides.coded import coded_positions, refined, with_line
from vision.page_sides.traced import trace_quad

SIZE = (200, 150)
# Turned, so that each side meets the pairs of pixels in all ways.
QUAD = np.array([[40.3, 36.6], [144.6, 44.2], [138.1, 111.3], [34.8, 102.7]])
BRICK = (0.24, 0.13, 0.07)
OUT = (0.05, 0.08)
GREEN, VIOLET, WHITE = (0.05, 0.28, 0.12), (0.30, 0.30, 0.42), (0.7, 0.7, 0.68)


def coded(light):
    """Return sRGB bytes of linear light (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return (255 * curve + 0.5).astype(np.uint8)


def photo(card, wall, *, halved, psf=0.6, seed=1):
    """Return a card on a wall, drawn eight times finer, as a JPEG file keeps it: chroma whole, or halved (4:2:0)."""
    fine = 8
    x, y = ((np.arange(n * fine) + 0.5) / fine - 0.5 for n in SIZE)
    inside = np.ones((len(y), len(x)), bool)
    for a, b in zip(QUAD, np.roll(QUAD, -1, axis=0), strict=True):
        d = b - a
        inside &= d[0] * (y[:, None] - a[1]) - d[1] * (x[None, :] - a[0]) > 0
    share = inside.reshape(SIZE[1], fine, SIZE[0], fine).mean((1, 3))[..., None]
    light = cv2.GaussianBlur(share * np.array(card) + (1 - share) * np.array(wall), (0, 0), psf)
    light += np.random.default_rng(seed).normal(0, 0.002, light.shape)
    file = io.BytesIO()
    Image.fromarray(coded(light)).save(file, "JPEG", quality=92, subsampling="4:2:0" if halved else "4:4:4")
    return np.asarray(Image.open(file).convert("RGB"))


def off(traced):
    """Return how far out (px) each side stands, in the mean."""
    return np.array([((s.pixel - a) @ s.normal[0]).mean() for s, a in zip(traced.sides, QUAD, strict=True)])


@pytest.mark.parametrize("card", [VIOLET, WHITE])
@pytest.mark.parametrize("halved", [True, False])
def test_sides_stand_where_they_were_drawn_whatever_their_colour(card, halved):
    rgb = photo(card, BRICK, halved=halved)
    assert np.abs(off(refined(rgb, trace_quad(rgb, QUAD + 0.7, 4, OUT), OUT))).max() < 0.05


def test_in_linear_light_halved_chroma_moves_all_sides_of_a_violet_card_in():
    rgb = photo(VIOLET, BRICK, halved=True)
    traced = trace_quad(rgb, QUAD + 0.7, 4, OUT)
    assert off(traced).mean() < -0.06
    assert abs(off(refined(rgb, traced, OUT)).mean()) < 0.03


def test_a_card_nearly_as_light_as_the_wall_is_placed_by_its_chroma():
    rgb = photo(GREEN, BRICK, halved=True)
    assert np.abs(off(refined(rgb, trace_quad(rgb, QUAD + 0.7, 4, OUT), OUT))).max() < 0.2


def test_no_step_stands_in_an_even_profile():
    at, height = coded_positions(np.full((5, 25, 3), 0.5), np.arange(-12, 13) * 0.25, 0.8)
    assert np.isnan(at).all()
    assert (height == 0).all()


def test_where_nothing_is_seen_the_sides_stay():
    rgb = photo((0.05, 0.28, 0.12), BRICK, halved=True)
    traced = trace_quad(rgb, QUAD, 4, OUT)
    assert refined(np.full_like(rgb, 128), traced, OUT) is traced
    assert refined(rgb[:60, :8], traced, OUT) is traced


def test_one_side_on_another_line_moves_two_corners_along_their_sides():
    a, b = QUAD[0] + [0, -5], QUAD[1] + [0, -5]
    normal = np.array([b[1] - a[1], a[0] - b[0]])
    moved = with_line(QUAD, 0, np.array([*normal, normal @ a]))
    assert moved[2:] == pytest.approx(QUAD[2:])
    for corner, beside in ((0, 3), (1, 2)):
        d, e = QUAD[corner] - QUAD[beside], moved[corner] - QUAD[beside]
        assert abs(d[0] * e[1] - d[1] * e[0]) < 1e-6 * (d @ d)
