"""The wall seen straight on, and what in it does not look like wall: colours learnt around the references."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, project
from vision.photo.upright_rgb import Pixels
from vision.request import Array

PITCH_MM = 5.0  # of wall to a pixel of the view
AROUND_MM = 1800.0  # how far from the references an opening is looked for
MAX_SIDE_PX = 1400  # of the view
COARSE = 8  # the map into the photo is smooth: projected at every eighth pixel
COLOURS = 5  # of the wall, as clusters (k-means)
SAMPLES = 8000  # pixels of the wall that its colours are learnt from, about
WALL_DISTANCE = 9.0  # squared Mahalanobis distance within which a pixel is wall
MARGIN_PX = 3.0  # rim of the photo that is not looked at
Mask = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class WallView:
    """Rectified view of the plane z = 0: `lab` (H, W, 3), `valid` (H, W) pixels in the photo, pixel (0, 0) in mm.

    `covered` (H, W): pixels where a reference hangs before the wall; None: not looked at.
    """

    lab: NDArray[np.float32]
    valid: Mask
    origin_mm: Array
    covered: Mask | None = None

    def to_photo(self, camera: Camera, points: Array) -> Array:
        """Return pixels (N, 2) of the photo for pixels (N, 2) of the view."""
        return project(camera, np.column_stack([self.origin_mm + PITCH_MM * points, np.zeros(len(points))]))


def smaller_copy(rgb: Pixels, camera: Camera, references_mm: Array) -> Pixels:
    """Return the photo (H, W, 3) not much finer than the view of the wall: blurred by it, so without aliasing."""
    h, w = rgb.shape[:2]
    away = float(np.linalg.norm(camera.centre_mm() - [*references_mm.mean(0), 0.0]))
    shrink = max(1, int(PITCH_MM * camera.focal_px / max(away, 1.0) / 1.5))
    return np.asarray(cv2.resize(rgb, (w // shrink, h // shrink), interpolation=cv2.INTER_AREA), np.uint8)


def view_wall(rgb: Pixels, camera: Camera, references_mm: Array, small: Pixels | None = None) -> WallView | None:
    """Return the rectified view around the references (N, 2) mm, or None when the wall cannot be laid out.

    Parameters
    ----------
    rgb : (H, W, 3) uint8.
    camera : adjusted camera.
    references_mm : corners of the references on the wall.
    small : what `smaller_copy` makes, if it was made before: half of the time goes there.
    """
    if not np.isfinite(references_mm).all():
        return None
    low, high = references_mm.min(0) - AROUND_MM, references_mm.max(0) + AROUND_MM
    nx, ny = np.minimum((high - low) / PITCH_MM, MAX_SIDE_PX).astype(int)
    node_x, node_y = np.arange(nx // COARSE + 2), np.arange(ny // COARSE + 2)
    gx, gy = np.meshgrid(low[0] + PITCH_MM * COARSE * node_x, low[1] + PITCH_MM * COARSE * node_y)
    nodes = project(camera, np.column_stack([gx.ravel(), gy.ravel(), np.zeros(gx.size)]))
    grid = np.nan_to_num(nodes, nan=-1e6).clip(-1e6, 1e6).astype(np.float32).reshape(*gx.shape, 2)
    fine_x, fine_y = np.meshgrid(np.arange(nx, dtype=np.float32), np.arange(ny, dtype=np.float32))
    px = cv2.remap(grid, fine_x / COARSE, fine_y / COARSE, cv2.INTER_LINEAR)
    h, w = rgb.shape[:2]
    x, y = px[..., 0], px[..., 1]
    inside = (x > MARGIN_PX) & (y > MARGIN_PX) & (x < w - 1 - MARGIN_PX) & (y < h - 1 - MARGIN_PX)
    rows, columns = np.nonzero(inside.any(axis=1))[0], np.nonzero(inside.any(axis=0))[0]
    if not len(rows):
        return None
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    small = smaller_copy(rgb, camera, references_mm) if small is None else small
    scale = np.array([small.shape[1] / w, small.shape[0] / h], np.float32)
    at = (px[part] + np.float32(0.5)) * scale - np.float32(0.5)
    view = cv2.remap(small, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    lab = np.asarray(cv2.cvtColor(view, cv2.COLOR_RGB2LAB), np.float32)
    return WallView(lab, inside[part].astype(np.uint8), low + PITCH_MM * np.array([columns[0], rows[0]]))


def reference_mask(view: WallView, polygons: Sequence[Array], grow: float) -> Mask:
    """Return the mask of the references (4, 2) px of the view, each grown about its centre."""
    mask: Mask = np.zeros(view.valid.shape, np.uint8)
    for p in polygons:
        cv2.fillConvexPoly(mask, np.rint((p - p.mean(0)) * grow + p.mean(0)).astype(np.int32), 1)
    return mask


def unlike_wall(view: WallView, polygons: Sequence[Array]) -> Mask | None:
    """Return the mask (H, W) of pixels in the photo whose colour is not the wall's; None where too little wall is seen.

    The colours of the wall are learnt in rings around the references, `polygons` (4, 2) px of the view.
    """
    sheets = reference_mask(view, polygons, 1.4)
    ring = (reference_mask(view, polygons, 2.0) > 0) & (sheets == 0) & (view.valid > 0)
    samples = view.lab[ring]
    if len(samples) < 60 * COLOURS:
        return None
    samples = samples[:: max(1, len(samples) // SAMPLES)]
    cv2.setRNGSeed(7)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 1.0)
    _, label, centre = cv2.kmeans(samples, COLOURS, np.empty(0, np.int32), stop, 2, cv2.KMEANS_PP_CENTERS)
    nearest = np.full(view.valid.shape, np.inf, np.float32)
    for k in range(COLOURS):
        members = samples[label.ravel() == k]
        if len(members) < max(0.02 * len(samples), 20):
            continue
        spread = np.cov(members.T) + np.diag([20.0, 4.0, 4.0])
        white = np.linalg.inv(np.linalg.cholesky(spread)).astype(np.float32)
        d = cv2.transform(view.lab - centre[k], white)
        np.minimum(nearest, np.einsum("ijk,ijk->ij", d, d), out=nearest)
    other = ((nearest > WALL_DISTANCE) & (view.valid > 0) & (sheets == 0)).astype(np.uint8)
    opened = cv2.morphologyEx(other, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return np.asarray(cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8)), np.uint8)
