"""Printed edges in drawn pictures of known homography."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.drawing import WORDS, mapped, picture, view
from vision.sheets import sheet
from vision.sheets.printed_edges import CELL_MM, trace_edges, unit_edges
from vision.srgb import linear_light

SLANT = (2e-4, -1.5e-4)
H = view((250.3, 275.6), 1.6, 7.0, SLANT)
SIZE = (500, 560)


def traced(grey, h=H, letter=0):
    return trace_edges(linear_light(grey).astype(np.float32), letter, lambda p: mapped(h, p))


def departures(seen, h=H, letter=0):
    """Return how far (px, along their normals) edges stand from where the homography puts them."""
    true = mapped(h, unit_edges(letter).middle_mm[seen.index])
    return ((seen.pixel - true) * seen.normal).sum(1)


@pytest.mark.parametrize("letter", range(4))
def test_the_unit_edges_are_those_of_the_board_opencv_draws(letter):
    """Oracle: CharucoBoard.generateImage; every change of colour between cells of 7.5 mm, and no other."""
    board = cv2.aruco.CharucoBoard((3, 4), 60, 45, WORDS, np.arange(6) + 6 * letter)
    drawn = np.asarray(board.generateImage((24 * 8, 32 * 8)))
    cells = np.pad((drawn[4::8, 4::8] < 128).astype(int), 1)
    edges = unit_edges(letter)
    assert len(edges.middle_mm) == np.abs(np.diff(cells, axis=0)).sum() + np.abs(np.diff(cells, axis=1)).sum()
    black = np.floor((edges.middle_mm - 0.3 * CELL_MM * edges.normal) / CELL_MM).astype(int) + 1
    white = np.floor((edges.middle_mm + 0.3 * CELL_MM * edges.normal) / CELL_MM).astype(int) + 1
    assert cells[black[:, 1], black[:, 0]].all()
    assert not cells[white[:, 1], white[:, 0]].any()


def test_srgb_decoding_has_the_standard_values():
    """IEC 61966-2-1: code 128 is 0.2158605 of full light; 10 lies on the straight part."""
    assert linear_light(np.array([0.0, 10, 128, 255])) == pytest.approx([0, 10 / 255 / 12.92, 0.2158605, 1], abs=1e-7)


@pytest.mark.parametrize("psf", [0.4, 0.8, 1.2])
def test_printed_edges_are_unbiased_whatever_the_blur(psf):
    seen = traced(picture([(0, H)], SIZE, psf=psf))
    d = departures(seen)
    assert len(d) > 0.7 * len(unit_edges(0).middle_mm)
    assert abs(d.mean()) < 0.03
    assert d.std() < 0.1


def test_black_grown_into_white_moves_every_edge_by_the_bloom_alone():
    """0.25 mm at the local scale: the mean departure is the bloom, on edges of both directions."""
    seen = traced(picture([(0, H)], SIZE, grown_mm=0.25))
    edges, d = unit_edges(0), departures(seen)
    out = mapped(H, edges.middle_mm[seen.index] + 0.25 * edges.normal[seen.index])
    bloom = ((out - mapped(H, edges.middle_mm[seen.index])) * seen.normal).sum(1)
    assert bloom.mean() == pytest.approx(0.4, abs=0.05)
    for axis in (0, 1):
        along = np.abs(edges.normal[seen.index, axis]) == 1
        assert (d - bloom)[along].mean() == pytest.approx(0, abs=0.03)


def test_normals_run_from_black_to_white_in_the_picture():
    seen = traced(picture([(0, H)], SIZE))
    edges = unit_edges(0)
    out = mapped(H, edges.middle_mm + edges.normal) - mapped(H, edges.middle_mm)
    assert ((out[seen.index] * seen.normal).sum(1) > 0).all()
    assert np.linalg.norm(seen.normal, axis=1) == pytest.approx(np.ones(len(seen.index)))


def test_a_prediction_off_by_a_pixel_finds_the_same_edges():
    off = np.array([[1, 0, 0.8], [0, 1, -0.7], [0, 0, 1.0]]) @ H
    seen = traced(picture([(0, H)], SIZE), off)
    d = departures(seen)
    assert abs(d.mean()) < 0.03
    assert d.std() < 0.12


def test_a_shadow_across_the_sheet_costs_edges_and_not_accuracy():
    light = np.where(np.arange(SIZE[0]) < 255, 1.0, 0.3)[None, :]
    seen = traced(picture([(0, H)], SIZE, light=light))
    d = departures(seen)
    assert len(d) > 0.4 * len(unit_edges(0).middle_mm)
    assert abs(d.mean()) < 0.03
    assert abs(np.median(d)) < 0.03


def test_hidden_edges_are_left_out():
    grey = picture([(0, H)], SIZE)
    grey[:250] = 90
    seen = traced(grey)
    assert (seen.pixel[:, 1] > 245).all()
    assert len(seen.index) > 100


def test_cells_too_small_to_be_told_apart_give_no_edges():
    h = view((100, 100), 2.4 / CELL_MM)
    assert len(traced(picture([(0, h)], (200, 200)), h).index) == 0


def test_a_sheet_predicted_outside_the_photo_gives_no_edges():
    grey = picture([], (120, 100), fine=1)
    h = view((5000, 5000), 1.6)
    assert len(traced(grey, h).index) == 0


def test_the_pattern_is_3_by_4_squares_of_60_mm():
    middle = unit_edges(0).middle_mm
    assert (middle.min(0) >= 0).all()
    assert middle.max(0) == pytest.approx([sheet.WIDTH_MM, sheet.HEIGHT_MM], abs=CELL_MM)
