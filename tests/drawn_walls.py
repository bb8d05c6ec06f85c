"""Walls drawn line by line, with the references on them as observations: what tests of wall lines look at."""

from __future__ import annotations

import cv2
import numpy as np

from vision.camera import Camera, project
from vision.observations import PER_REFERENCE, PhotoState, point_block
from vision.priors import camera_blocks, camera_prior, reference_blocks, size_block
from vision.request import CheckBar, Reference
from vision.solving.solve import SHEET_HALF_MM, SHEET_MIDDLE_MM
from vision.solving.solved import Solved
from vision.wall.lines import lined

SIZE = (1600, 1200)
PLANE = SHEET_MIDDLE_MM * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])


def camera(turn=(0.06, -0.12, 0.01)):
    rotation = np.asarray(cv2.Rodrigues(np.array(turn))[0], float)
    middle = np.array([700.0, 100.0, 0.0])
    return Camera(rotation, np.array([0, 0, 2300.0]) - rotation @ middle, 1200.0, 799.5, 599.5)


def state(cam, wall=(0.0, 0.0), references=1):
    return PhotoState(cam, np.zeros(2), np.zeros((references, PER_REFERENCE)), np.array(wall))


def bricks(rng, turn, *, true_mm=1.0):
    """Return ends of brick edges, mm: 28 courses and their head joints, turned by `turn` in the wall."""
    first, last = [], []
    for i in range(28):
        for j in range(10):
            x, y = -600 + 225 * j + 112 * (i % 2), -900 + 75 * i
            first += [(x, y + rng.normal(0, true_mm)), (x + rng.normal(0, true_mm), y)]
            last += [(x + 215, y + rng.normal(0, true_mm)), (x + rng.normal(0, true_mm), y + 65)]
    c, s = np.cos(turn), np.sin(turn)
    r = np.array([[c, -s], [s, c]])
    return np.array(first) @ r.T, np.array(last) @ r.T


def drawn(cam, rng, turn=0.0, jitter_mm=0.6):
    """Return a grey picture (H, W) uint8 of a brick wall 1 mm to the pixel, seen by an undistorted camera."""
    wide, high, origin = 3000, 2600, np.array([-800.0, -1200.0])
    wall = np.full((high, wide), 170, np.uint8)
    for i in range(36):
        for j in range(-1, 15):
            x, y = 225 * j + 112 * (i % 2), -75 + 75 * i
            d = rng.normal(0, jitter_mm, 4)
            box = np.array([[x + d[0], y + d[1]], [x + 215 + d[2], y + d[1]], [x + 215 + d[2], y + 65 + d[3]]])
            box = np.vstack([box, [x + d[0], y + 65 + d[3]]])
            tone = int(np.clip(rng.normal(90, 9), 50, 130))
            cv2.fillPoly(wall, [np.round(box * 16).astype(np.int32)], tone, cv2.LINE_AA, 4)
    c, s = np.cos(turn), np.sin(turn)
    corners = np.array([[0.0, 0], [wide, 0], [wide, high], [0, high]])
    mm = (corners + origin) @ np.array([[c, -s], [s, c]]).T
    at = project(cam, np.column_stack([mm, np.zeros(4)]))
    h = cv2.getPerspectiveTransform(corners.astype(np.float32), at.astype(np.float32))
    fine = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]]) @ h
    seen = cv2.warpPerspective(wall, fine, (2 * SIZE[0], 2 * SIZE[1]), flags=cv2.INTER_LINEAR, borderValue=170)
    grey = cv2.resize(seen, SIZE, interpolation=cv2.INTER_AREA).astype(float) + rng.normal(0, 1.5, SIZE[::-1])
    return np.round(grey).clip(0, 255).astype(np.uint8)


def blocks_of(cam, rng, middles, u_px=0.05):
    """Return priors, and saddle-like points of sheets at middles (R, 2) mm seen with noise."""
    prior = camera_prior(cam.focal_px * 1.01, 0.03, SIZE, known=True)
    known = [*camera_blocks(prior), size_block(Reference("sheet"), CheckBar())]
    known += reference_blocks(len(middles), "masonry", sheets=True, stiff=False)
    grid = np.stack(np.meshgrid(np.linspace(-90, 90, 7), np.linspace(-120, 120, 9)), axis=-1).reshape(-1, 2)
    outlines = []
    for i, m in enumerate(middles):
        seen = project(cam, np.column_stack([grid + m, np.full(len(grid), -0.5)]))
        known.append(point_block(i, grid, SHEET_HALF_MM, seen + rng.normal(0, u_px, seen.shape), u_px))
        outlines.append(project(cam, np.column_stack([PLANE + m, np.zeros(4)])))
    return known, outlines


def with_lines(grey, blocks, alone, outlines, corners_px, wall):
    """Return the adjustment of a photo with the wall's lines in it, and what is warned of."""
    solved = lined(grey, Solved(alone, (), tuple(outlines), (), 0.1, tuple(blocks)), corners_px, wall)
    return solved.adjusted, solved.warnings
