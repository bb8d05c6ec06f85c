"""Straight edges found, cut, clipped and placed, on pictures drawn from the formula of a blurred step."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from vision.wall.segments import Segments, clipped, find_segments, pieces, place_pieces

SIZE = (400, 600)  # rows, columns


def step(angle_deg, offset, *, sigma=0.9, noise=1.0, seed=1):
    """Return a picture that is bright where x sin(a) - y cos(a) > offset about its middle: an edge along angle a."""
    y, x = np.mgrid[: SIZE[0], : SIZE[1]].astype(float)
    a = np.radians(angle_deg)
    d = (x - SIZE[1] / 2) * np.sin(a) - (y - SIZE[0] / 2) * np.cos(a) - offset
    grey = 120 + 60 * erf(d / (sigma * np.sqrt(2))) + np.random.default_rng(seed).normal(0, noise, SIZE)
    return np.round(grey).clip(0, 255).astype(np.uint8)


def distances(points, angle_deg, offset):
    a = np.radians(angle_deg)
    return (points[:, 0] - SIZE[1] / 2) * np.sin(a) - (points[:, 1] - SIZE[0] / 2) * np.cos(a) - offset


def longest(found):
    return found.some(np.argsort(-found.length_px())[:1])


@pytest.mark.parametrize("angle", [0.0, 7.0, 93.0, 180.0, -84.0, 201.0])
def test_the_bright_side_lies_left_of_a_segments_direction(angle):
    """Oracle: the picture's formula; what LSD of OpenCV promises of the order of the ends is not written down."""
    ends = longest(find_segments(step(angle, 1.3))).ends_px[0]
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    a = np.radians(angle)
    assert along @ np.array([np.cos(a), np.sin(a)]) > 0.999


@pytest.mark.parametrize("angle", [0.0, 7.0, 93.0, 180.0, -84.0])
@pytest.mark.parametrize("offset", [0.0, 0.37, -0.61])
def test_pieces_are_placed_on_the_edge_to_a_tenth_of_a_pixel(angle, offset):
    found = longest(find_segments(step(angle, offset)))
    middle, half, _ = pieces(found, np.full(1, 60.0))
    placed, clear = place_pieces(step(angle, offset), middle, half)
    assert clear.all()
    assert np.abs(distances(placed, angle, offset)).max() < 0.1  # `U_PIECE_PX` allows 0.15


def test_a_large_picture_is_searched_at_half_size_and_answers_in_its_own_pixels():
    wide = np.repeat(np.repeat(step(0.0, 0.0), 8, axis=0), 8, axis=1)  # 4800 px wide, edge at row (200 + 0.5) * 8 - 0.5
    ends = longest(find_segments(wide)).ends_px[0]
    assert ends[:, 1] == pytest.approx([200.5 * 8 - 0.5 - 4] * 2, abs=6)
    assert abs(ends[1, 0] - ends[0, 0]) > 4500


def test_a_piece_without_an_edge_is_not_clear():
    flat = np.full(SIZE, 100, np.uint8)
    _, clear = place_pieces(flat, np.array([[200.0, 200.0]]), np.array([[30.0, 0.0]]))
    assert clear.tolist() == [False]


def test_pieces_fill_a_segment_and_are_no_longer_than_asked():
    s = Segments(np.array([[[0.0, 0], [100, 0]], [[0, 10], [30, 50]]]))
    middle, half, owner = pieces(s, np.array([40.0, 60.0]))
    assert owner.tolist() == [0, 0, 0, 1]
    assert middle[:3, 0] == pytest.approx([100 / 6, 50, 500 / 6])
    assert 2 * half[:3, 0] == pytest.approx([100 / 3] * 3)
    assert middle[3].tolist() == [15, 30]


def test_a_segment_through_a_polygon_keeps_its_longest_part_outside():
    square = np.array([[40.0, -10], [60, -10], [60, 10], [40, 10]])
    s = clipped(Segments(np.array([[[0.0, 0], [120, 0]], [[45, 0], [55, 0]]])), [square])
    assert len(s) == 1
    assert s.ends_px[0] == pytest.approx(np.array([[60, 0], [120, 0]]), abs=5.1)  # sampled at every 5 px


def test_a_photo_without_edges_has_no_segments():
    assert len(find_segments(np.full((300, 400), 128, np.uint8))) == 0
    assert len(clipped(find_segments(np.full((300, 400), 128, np.uint8)), [])) == 0
