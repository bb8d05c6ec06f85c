"""Strips of the photo along one side of an opening: true to scale in the plane of the side, in linear light.

A strip is sampled with the camera model on a grid of the side's plane: `u` runs along the side, `v` along its
outward normal, both in mm, so that lens distortion and perspective are gone and a straight side is straight.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, back_project, project
from vision.request import Array, Side
from vision.strips.light import light_of, linear, without_pedestal

STEP_PX = 0.5  # pitch of the grid across the side
ALONG_PX = 1.5  # pitch along the side
MAX_ALONG = 2400  # rows of a strip


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """Linear colours (U, V, 3) on the grid u_mm (U,), v_mm (V,); point = origin + u * direction + v * normal.

    Colours of a photo of little light are brought to usual brightness; `black` as of `Light`.
    """

    colour: NDArray[np.float32]
    u_mm: Array
    v_mm: Array
    origin_mm: Array
    direction: Array
    normal: Array
    depth_mm: float
    mm_per_px: float
    black: tuple[float, float, float] = (0.0, 0.0, 0.0)


def outward(side: Side, direction: Array) -> Array:
    """Return the unit normal (2,) that points away from the opening; head and sill run right, jambs run down."""
    right_hand = np.array([-direction[1], direction[0]])  # a quarter turn clockwise on a y-down plane
    return right_hand if side in ("sill", "left") else -right_hand


def scale_mm_per_px(camera: Camera, point_mm: Array, normal: Array, depth_mm: float) -> float:
    """Return how many mm across the side one pixel of the photo spans at a point (2,) mm."""
    ends = np.array([[*point_mm, depth_mm], [*(point_mm + normal), depth_mm]])
    px = project(camera, ends)
    return float(1.0 / max(np.hypot(*(px[1] - px[0])), 1e-9))


def cut_strip(
    rgb: NDArray[np.uint8],
    camera: Camera,
    side: Side,
    ends_mm: Array,
    depth_mm: float,
    inner_px: float,
    outer_px: float,
    along_px: float = ALONG_PX,
    across_px: float = STEP_PX,
) -> Strip | None:
    """Return the strip about the line between two points, or None where it lies outside the photo.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    ends_mm : (2, 2) mm in the plane z = depth_mm
    inner_px, outer_px : reach to the inside and the outside, in pixels at the middle of the side
    along_px, across_px : pitch along and across the side; coarser is cheaper
    """
    a, b = ends_mm
    length = float(np.hypot(*(b - a)))
    direction = (b - a) / length
    normal = outward(side, direction)
    mm = scale_mm_per_px(camera, (a + b) / 2, normal, depth_mm)
    ends_px = project(camera, np.column_stack([ends_mm, np.full(2, depth_mm)]))
    if not np.isfinite(ends_px).all():
        return None
    count = int(np.clip(np.hypot(*(ends_px[1] - ends_px[0])) / along_px, 48, MAX_ALONG))
    u = np.linspace(0, length, count)
    v = np.arange(-inner_px, outer_px + across_px / 2, across_px) * mm
    x, y = _grid_px(camera, a, direction, normal, u, v, depth_mm)
    low = np.floor([x.min(), y.min()]).astype(int) - 2
    high = np.ceil([x.max(), y.max()]).astype(int) + 3
    size = np.array([rgb.shape[1], rgb.shape[0]])
    low, high = np.clip(low, 0, size), np.clip(high, 0, size)
    if np.any(high - low < 8):
        return None
    light = light_of(rgb)
    crop = linear(rgb[low[1] : high[1], low[0] : high[0]], light.gain)
    at = (x - low[0]).astype(np.float32), (y - low[1]).astype(np.float32)
    sampled = cv2.remap(crop, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    colour: NDArray[np.float32] = np.asarray(sampled, np.float32)
    gone = (x < 0) | (y < 0) | (x > size[0] - 1) | (y > size[1] - 1)
    colour[gone] = np.nan
    return Strip(colour, u, v, a, direction, normal, depth_mm, mm, light.black)


def _grid_px(
    camera: Camera, a: Array, direction: Array, normal: Array, u: Array, v: Array, depth_mm: float
) -> tuple[Array, Array]:
    """Return the pixels of the grid, x and y (U, V); projected on a coarse grid, interpolated (error below 0.01 px)."""
    coarse_u, coarse_v = np.linspace(u[0], u[-1], 65), np.linspace(v[0], v[-1], 5)
    points = a + coarse_u[:, None, None] * direction + coarse_v[None, :, None] * normal
    flat = points.reshape(-1, 2)
    px = project(camera, np.column_stack([flat, np.full(len(flat), depth_mm)])).reshape(65, 5, 2)
    iu = (u - u[0]) / (u[-1] - u[0]) * 64
    iv = (v - v[0]) / (v[-1] - v[0]) * 4
    ku, kv = np.minimum(iu.astype(int), 63), np.minimum(iv.astype(int), 3)
    fu, fv = (iu - ku)[:, None], iv - kv

    def between(coarse: Array) -> Array:
        rows = coarse[ku] * (1 - fu) + coarse[ku + 1] * fu
        return np.asarray(rows.take(kv, axis=1) * (1 - fv) + rows.take(kv + 1, axis=1) * fv)

    return between(px[..., 0]), between(px[..., 1])  # apart: far faster than over an axis of two


def block_means(strip: Strip, blocks: int) -> tuple[Array, Array]:
    """Return the middles (K,) mm and mean colours (K, V, 3), square root of linear light, of pieces along the side.

    The square root makes photon noise about equal at all brightnesses (Anscombe 1948). What noise cut off at black adds
    to a mean is taken off it.
    """
    edges = np.linspace(0, len(strip.u_mm), blocks + 1).astype(int)
    sums = np.add.reduceat(strip.colour, edges[:-1], axis=0)
    means = sums / np.diff(edges)[:, None, None]
    middle = np.add.reduceat(strip.u_mm, edges[:-1]) / np.diff(edges)
    return middle, np.sqrt(without_pedestal(means, strip.black))


def rough_ends(camera: Camera, corners_px: Array, depths_mm: Array) -> Array:
    """Return (2, 2) mm of two clicked pixels (2, 2), each met with the plane of its own depth (2,)."""
    return np.vstack([back_project(camera, corners_px[[i]], float(depths_mm[i])) for i in range(2)])
