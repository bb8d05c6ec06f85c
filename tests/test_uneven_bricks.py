"""Jambs of uneven bricks in photos much finer than these are even. The oracle: least squares through the drawn ends."""

import numpy as np
from scipy import ndimage

from vision.camera import Camera
from vision.sides.finding import FoundSide, find_side

MM, LONG_MM, BRICK_MM, U_END_MM = 0.35, 900.0, 75.0, 0.8
DEPTH_MM = {"head": 0.0, "right": 0.0, "sill": 0.0, "left": 0.0}


def drawn_jamb(seed):
    """A left jamb down the middle of a photo: bricks and their reveals of many tones; its line (mm, mm) at the ends."""
    rng = np.random.default_rng(seed)
    high, wide = round(LONG_MM / MM) + 200, 240
    bricks = int(high * MM / BRICK_MM) + 1
    number = (np.arange(high) * MM / BRICK_MM).astype(int)
    end = rng.normal(0, U_END_MM, bricks)[number]  # mm right of the middle
    face, reveal = rng.uniform(0.25, 0.45, bricks)[number], rng.uniform(0.15, 0.25, bricks)[number]
    x = (np.arange(wide) - wide / 2) * MM
    light = np.where(x < end[:, None], face[:, None], reveal[:, None])
    light = ndimage.gaussian_filter(light, 1.0) + rng.normal(0, 0.01, light.shape)
    srgb = 1.055 * np.clip(light, 0.003, 1) ** (1 / 2.4) - 0.055  # IEC 61966-2-1
    rgb = np.repeat(np.round(255 * srgb).astype(np.uint8)[..., None], 3, axis=2)
    rows = slice(100, high - 100)
    slope, offset = np.polyfit(np.linspace(-1, 1, high - 200), end[rows], 1)
    return rgb, np.array([offset - slope, offset + slope])


def found_jamb(rgb):
    """The jamb's line (mm, mm) at the ends, right of the middle."""
    high, wide = rgb.shape[:2]
    camera = Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 1000 / MM, wide / 2, high / 2)
    top, bottom = (wide / 2, 100.0), (wide / 2, high - 100.0)
    corners = np.array([top, (wide + 2000.0, 100.0), (wide + 2000.0, high - 100.0), bottom])
    found = find_side(rgb, camera, corners, 3.0, DEPTH_MM, "masonry", "front", "left")
    assert isinstance(found, FoundSide)
    return -np.array([found.placed.shape[0] - found.placed.shape[1], found.placed.shape[0] + found.placed.shape[1]])


def test_the_line_runs_through_all_bricks_not_through_those_that_end_alike():
    """Read over 2.5 px and looked for within 5 its step stood at some bricks only: median 0.34 mm off, worst 1.4."""
    off = []
    for seed in range(12):
        rgb, true = drawn_jamb(seed)
        off.append(np.abs(found_jamb(rgb) - true).max())
    assert np.median(off) < 0.2
    assert max(off) < 1.0
