"""Printed edges of a sheet in a photo, at sub-pixel precision in linear light.

The pattern lies on a grid of 7.5 mm (a marker's cell), so its edges are runs of unit edges between a black and a
white cell. One observation a unit edge: the mean shift, along the edge's normal in the picture, of a few profiles.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array
from vision.sheets import sheet

CELL_MM = sheet.MARKER_MM / 6
PROFILES = 5  # a unit edge
MIN_CELL_PX = 2.6  # smaller cells blur into each other: the saddles alone are used


@dataclass(frozen=True, slots=True, eq=False)
class UnitEdges:
    """Unit edges of the pattern: middle (N, 2) mm, along (N, 2) unit, normal (N, 2) unit from black to white."""

    middle_mm: Array
    along: Array
    normal: Array


@dataclass(frozen=True, slots=True, eq=False)
class EdgeObservations:
    """Observed edges: index into the pattern's unit edges, pixel (N, 2), image normal (N, 2), u px (N,)."""

    index: NDArray[np.intp]
    pixel: Array
    normal: Array
    u_px: Array


def _bitmap(letter: int) -> Array:
    """Return the pattern as cells (32, 24), 1 black, with one white cell around: (34, 26)."""
    cells = np.zeros((round(sheet.HEIGHT_MM / CELL_MM) + 2, round(sheet.WIDTH_MM / CELL_MM) + 2))
    for x0, y0, x1, y1 in np.rint(sheet.black_cells_mm(letter) / CELL_MM).astype(int):
        cells[y0 + 1 : y1 + 1, x0 + 1 : x1 + 1] = 1
    return cells


@lru_cache(maxsize=4)
def unit_edges(letter: int) -> UnitEdges:
    """Return the unit edges of sheet `letter` (0-3)."""
    cells = _bitmap(letter)
    middle, along, normal = [], [], []
    for i, j in zip(*np.nonzero(np.diff(cells, axis=1)), strict=True):  # between (i, j) and (i, j+1): vertical
        middle.append((j * CELL_MM, (i - 0.5) * CELL_MM))
        along.append((0.0, 1.0))
        normal.append((1.0, 0.0) if cells[i, j] else (-1.0, 0.0))
    for i, j in zip(*np.nonzero(np.diff(cells, axis=0)), strict=True):
        middle.append(((j - 0.5) * CELL_MM, i * CELL_MM))
        along.append((1.0, 0.0))
        normal.append((0.0, 1.0) if cells[i, j] else (0.0, -1.0))
    return UnitEdges(np.array(middle), np.array(along), np.array(normal))


def _sample(grey_linear: Array, points: Array) -> Array:
    """Return the picture's values at pixels (..., 2), bilinear; outside is NaN."""
    flat = points.reshape(-1, 2).astype(np.float32)
    rows = int(np.ceil(len(flat) / 16384))
    padded = np.full((rows * 16384, 2), -10, np.float32)
    padded[: len(flat)] = flat
    grid = padded.reshape(rows, 16384, 2)
    values = cv2.remap(
        grey_linear, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=np.nan
    )
    return np.asarray(values, float).ravel()[: len(flat)].reshape(points.shape[:-1])


def trace_edges(grey: Array, letter: int, to_photo: Callable[[Array], Array]) -> EdgeObservations:
    """Return where the printed edges of one sheet stand in the picture.

    Parameters
    ----------
    grey : (H, W) float32, linear light.
    letter : 0-3.
    to_photo : predicted map of the sheet, good to a pixel or two.

    Notes
    -----
    Position by the area under the profile between both plateaus, which is unbiased for any symmetric blur. Edges
    with little contrast, hidden or cut by a shadow are left out.
    """
    edges = unit_edges(letter)
    here = to_photo(edges.middle_mm)
    ahead = to_photo(edges.middle_mm + edges.along * 0.5)
    out = to_photo(edges.middle_mm + edges.normal * 0.5)
    step = (ahead - here) / 0.5
    tangent = step / np.linalg.norm(step, axis=1, keepdims=True)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    across = ((out - here) * normal).sum(1) / 0.5  # px per mm across the edge
    normal = normal * np.sign(across)[:, None]
    cell_px = np.abs(across) * CELL_MM
    reach = np.clip(0.46 * cell_px, 1.2, 4.0)
    offsets = np.linspace(-0.32, 0.32, PROFILES) * CELL_MM
    steps = np.linspace(-1, 1, 17)
    base = here[:, None] + offsets[None, :, None] * step[:, None]
    points = base[:, :, None] + (steps[None, :] * reach[:, None])[:, None, :, None] * normal[:, None, None]
    profile = _sample(grey, points)
    profile = profile.mean(1)
    low, high = profile[:, :3].mean(1), profile[:, -3:].mean(1)
    contrast = high - low
    with np.errstate(divide="ignore", invalid="ignore"):
        # area under (high - I) / contrast from -reach: the black part's length
        share = ((high[:, None] - profile) / contrast[:, None]).clip(-0.2, 1.2)
    weights = np.full(17, 1 / 16.0)
    weights[[0, -1]] *= 0.5
    shift = (2 * (share * weights).sum(1) - 1) * reach
    typical = np.nanmedian(contrast[np.isfinite(contrast)]) if np.isfinite(contrast).any() else 0.0
    good = np.isfinite(shift) & (contrast > 0.3 * typical) & (contrast > 0.01) & (cell_px > MIN_CELL_PX)
    good &= np.abs(shift) < 0.6 * reach
    monotone = (np.diff(profile, axis=1) > -0.12 * contrast[:, None]).all(1)
    good &= monotone
    index = np.nonzero(good)[0]
    pixel = here[good] + shift[good, None] * normal[good]
    noise = 0.05 + 0.02 * np.maximum(0, 5 - cell_px[good])
    return EdgeObservations(index, pixel, normal[good], noise)
