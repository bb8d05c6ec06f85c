"""A start for the wall's lines from the corners of an opening: exact where these are those of a rectangle."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from vision.camera import Camera, project
from vision.observations import PER_REFERENCE, PhotoState
from vision.wall.opening_start import as_opening_lies, rough_corners

TURN = np.asarray(cv2.Rodrigues(np.array([0.10, -0.15, 0.02]))[0], float)
CAMERA = Camera(TURN, np.array([30.0, -20.0, 1500.0]), 1300.0, 799.5, 599.5, k1=-0.03)
CARD = np.array([42.8, 27.0]) * [[-1, -1], [1, -1], [1, 1], [-1, 1]]
OPENING = np.array([[150.0, -400], [950, -400], [950, 500], [150, 500]])


def on_wall(xy):
    return project(CAMERA, np.column_stack([xy, np.zeros(len(xy))]))


def solved(turn_rad):
    """Return a photo solved by a card alone whose pose is off by a turn about the card's middle."""
    off = np.asarray(cv2.Rodrigues(np.array([turn_rad, turn_rad, 0.0]))[0], float)
    camera = replace(CAMERA, rotation=CAMERA.rotation @ off)
    state = PhotoState(camera, np.zeros(2), np.zeros((1, PER_REFERENCE)))
    return SimpleNamespace(
        adjusted=SimpleNamespace(state=state), outlines_px=(project(camera, np.pad(CARD, ((0, 0), (0, 1)))),)
    )


def test_an_opening_shows_how_the_wall_lies_where_a_card_does_not():
    start = as_opening_lies(solved(0.12), on_wall(OPENING))
    assert start is not None
    assert start.camera.rotation == pytest.approx(CAMERA.rotation, abs=0.02)
    assert start.camera.rotation[:, 2] @ CAMERA.rotation[:, 2] > np.cos(1e-4)


def test_the_card_keeps_its_place_and_size():
    by = solved(0.05)
    start = as_opening_lies(by, on_wall(OPENING))
    seen = project(start.camera, np.pad(CARD, ((0, 0), (0, 1))))
    assert seen.mean(0) == pytest.approx(by.outlines_px[0].mean(0), abs=0.5)
    sizes = [np.linalg.norm(q - q.mean(0)) for q in (seen, by.outlines_px[0])]
    assert sizes[0] == pytest.approx(sizes[1], rel=0.02)


def test_corners_come_to_the_next_step_and_only_when_all_are_known():
    corners = on_wall(OPENING)
    step = 1600 / 128
    assert np.abs(rough_corners(corners, 1600) - corners).max() <= step / 2
    assert rough_corners(corners + 0.01, 1600) == pytest.approx(rough_corners(corners, 1600))
    assert rough_corners(None, 1600) is None
    assert rough_corners(np.where(np.arange(8).reshape(4, 2) < 2, np.nan, corners), 1600) is None


def test_corners_in_one_point_are_no_start():
    assert as_opening_lies(solved(0.0), np.tile([[700.0, 500.0]], (4, 1))) is None
