"""Sheets in a photo by their markers: which letters, where, and a first homography each."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array
from vision.sheets import sheet

DETECT_LONG_SIDE_PX = 2100  # enough for a 60 mm square of 20 px at 12 MP; larger pictures are reduced first
QUARTER_MM = 5.5  # from a saddle into its squares, inside a marker's white rim of 7.5 mm


@dataclass(frozen=True, slots=True, eq=False)
class Sighting:
    """One sheet as detected: letter index 0-3, homography (3, 3) sheet mm -> px, saddles (K, 2) mm and px.

    `corners_mm`, `corners_px` (4 M, 2) are those of its M markers.
    """

    letter: int
    homography: Array
    saddles_mm: Array
    saddles_px: Array
    corners_mm: Array
    corners_px: Array

    @property
    def markers(self) -> int:
        """Number of markers seen."""
        return len(self.corners_mm) // 4


def first_outline(seen: Sighting) -> Array:
    """Return the outline (4, 2) px of a sheet's pattern, top left first, that its markers alone give it."""
    return apply_homography(seen.homography, sheet.OUTLINE_MM)


def quarter_turns(seen: Sighting) -> int:
    """Return how many quarter turns counter-clockwise bring a sheet upright: 0 to 3."""
    a, b = apply_homography(seen.homography, np.array([[90.0, 120.0], [120.0, 120.0]]))
    return round(float(np.degrees(np.arctan2(b[1] - a[1], b[0] - a[0]))) / 90) % 4


def find_sheets(grey: cv2.typing.MatLike) -> tuple[Sighting, ...]:
    """Return the sheets seen in a grey picture (H, W) uint8, the largest first.

    Detection runs on a reduced picture, then at full size and at double size until something is found; the same
    letter seen twice gives two sightings, because markers are grouped by place, not by id alone.
    """
    long_side = max(grey.shape)
    scales = [min(1.0, DETECT_LONG_SIDE_PX / long_side)]
    if scales[0] < 1:
        scales.append(1.0)
    if long_side < 4500:
        scales.append(2.0)
    for scale in scales:
        found = _group(_markers(grey, scale))
        if found:
            return tuple(_with_saddles(grey, letter, group) for letter, group in found)
    return ()


def _markers(grey: cv2.typing.MatLike, scale: float) -> list[tuple[int, Array]]:
    """Return ids and corners (4, 2) px of the markers of the sheets, at the picture's own size."""
    flag = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    picture = grey if scale == 1 else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=flag)
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 0.01
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = 5, 45
    parameters.adaptiveThreshWinSizeStep = 20
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    corners, ids, _ = cv2.aruco.ArucoDetector(sheet.dictionary(), parameters).detectMarkers(picture)
    if ids is None:
        return []
    factor_x, factor_y = grey.shape[1] / picture.shape[1], grey.shape[0] / picture.shape[0]
    found = []
    for corner, index in zip(corners, np.asarray(ids).ravel(), strict=True):
        if index < sheet.MARKERS_PER_SHEET * len(sheet.LETTERS):
            quad = (np.asarray(corner, float).reshape(4, 2) + 0.5) * [factor_x, factor_y] - 0.5
            found.append((int(index), quad))
    return found


def _group(markers: list[tuple[int, Array]]) -> list[tuple[int, list[tuple[int, Array]]]]:
    """Return (letter, markers of one sheet) by place: a marker's own homography predicts its fellows."""
    left = sorted(markers, key=lambda m: -cv2.contourArea(m[1].astype(np.float32)))
    groups = []
    while left:
        seed, quad = left.pop(0)
        letter = seed // sheet.MARKERS_PER_SHEET
        members = [(seed, quad)]
        grown = True
        while grown:
            grown = False
            h = _homography(members)
            for other in list(left):
                index, corners = other
                if index // sheet.MARKERS_PER_SHEET != letter or index in [m[0] for m in members]:
                    continue
                predicted = apply_homography(h, sheet.marker_corners_mm(index % sheet.MARKERS_PER_SHEET))
                side = np.linalg.norm(quad[0] - quad[2])
                if np.linalg.norm(predicted - corners, axis=1).max() < (0.6 if len(members) < 3 else 0.3) * side:
                    members.append(other)
                    left = [m for m in left if m is not other]
                    grown = True
        groups.append((letter, members))
    single = [g for g in groups if len(g[1]) > 1] or groups
    return sorted(single, key=lambda g: -len(g[1]) * cv2.contourArea(g[1][0][1].astype(np.float32)))


def _homography(members: list[tuple[int, Array]]) -> Array:
    world = np.concatenate([sheet.marker_corners_mm(i % sheet.MARKERS_PER_SHEET) for i, _ in members])
    image = np.concatenate([quad for _, quad in members])
    # a marker half hidden has wrong corners: they are outvoted where there are others
    h, _ = cv2.findHomography(world, image, cv2.RANSAC if len(image) > 4 else 0, 1.5)
    return np.asarray(h, float) if h is not None else np.eye(3)


def apply_homography(h: Array, points: Array) -> Array:
    """Return the points (N, 2) mapped by the homography `h` (3, 3)."""
    q = np.column_stack([points, np.ones(len(points))]) @ h.T
    return np.asarray(q[:, :2] / q[:, 2:])


def _with_saddles(grey: cv2.typing.MatLike, letter: int, members: list[tuple[int, Array]]) -> Sighting:
    """Return the sighting with its saddles refined where they can be seen.

    Twice, because marker corners place a far saddle badly, and the saddles next to them place it well.
    """
    members = [(index, _sharpened(grey, quad)) for index, quad in members]
    h = _homography(members)
    for _ in range(2):
        world, image = _saddles(grey, h)
        if len(image) >= 4:
            h = _homography_from(world, image, members)
    corners_mm = np.concatenate([sheet.marker_corners_mm(i % sheet.MARKERS_PER_SHEET) for i, _ in members])
    return Sighting(letter, h, world, image, corners_mm, np.concatenate([q for _, q in members]))


def _sharpened(grey: cv2.typing.MatLike, quad: Array) -> Array:
    """Return marker corners (4, 2) px refined; half a pixel too far in, which carries a start only."""
    half = int(np.clip(0.05 * np.linalg.norm(quad[0] - quad[2]), 2, 6))
    term = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.01)
    start = quad.astype(np.float32).reshape(-1, 1, 2)
    refined = np.asarray(cv2.cornerSubPix(grey, start, (half, half), (-1, -1), term), float).reshape(-1, 2)
    near = np.linalg.norm(refined - quad, axis=1) < half
    return np.where(near[:, None], refined, quad)


def _saddles(grey: cv2.typing.MatLike, h: Array) -> tuple[Array, Array]:
    """Return the saddles (K, 2) mm and px that stand near where `h` puts them and look like saddles."""
    world = sheet.saddles_mm()
    image = apply_homography(h, world)
    cell = apply_homography(h, world + np.array([sheet.SQUARE_MM, 0])) - image
    half = int(np.clip(np.linalg.norm(cell, axis=1).min() * 0.1, 2, 8))
    inside = (image > half + 2).all(1) & (image < np.array(grey.shape[::-1]) - half - 3).all(1)
    world, image = world[inside], np.asarray(image[inside], float)
    if not len(image):
        return world, image
    term = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.01)
    start = image.astype(np.float32).reshape(-1, 1, 2)
    found = cv2.cornerSubPix(grey, start, (half, half), (-1, -1), term)
    refined: Array = np.asarray(found, float).reshape(-1, 2)
    good = (np.linalg.norm(refined - image, axis=1) < half) & _is_saddle(grey, h, world, refined)
    return world[good], refined[good]


def _is_saddle(grey: cv2.typing.MatLike, h: Array, world: Array, image: Array) -> NDArray[np.bool_]:
    """Return whether the four squares about each place are black and white: what hides it is not."""
    quarters = QUARTER_MM * np.array([[-1, -1], [1, 1], [1, -1], [-1, 1.0]])
    good = np.zeros(len(world), bool)
    for i, (at, px) in enumerate(zip(world, image, strict=True)):
        places = apply_homography(h, at + quarters) - apply_homography(h, at[None]) + px
        x, y = places.astype(np.float32).T
        seen = cv2.remap(grey, x[:, None], y[:, None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        values = np.asarray(seen, float).ravel()
        pairs = values[:2], values[2:]
        first_black = int((at / sheet.SQUARE_MM).round().sum()) % 2 == 0  # the square up left of the saddle
        black, white = pairs if first_black else pairs[::-1]
        apart = float(white.mean() - black.mean())
        good[i] = apart > 4 and white.min() - black.max() > 0.3 * apart
    return good


def _homography_from(world: Array, image: Array, members: list[tuple[int, Array]]) -> Array:
    """Return the homography of saddles, with the marker corners kept in when saddles alone are too few."""
    few = len(image) < 6
    if few:
        world = np.concatenate([world, *(sheet.marker_corners_mm(i % 6) for i, _ in members)])
        image = np.concatenate([image, *(q for _, q in members)])
    h, _ = cv2.findHomography(world, image, cv2.RANSAC if few else 0, 1.5)
    return np.asarray(h, float) if h is not None else _homography(members)
