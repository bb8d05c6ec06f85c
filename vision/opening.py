"""Finding the opening when nobody pointed at it: what does not look like the wall, between the references.

The wall's colours are learnt from rings around the references, in a rectified picture of a few millimetres a pixel.
What remains is one compact region with straight upright borders, or the search gives up and says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, back_project, project
from vision.photo import Pixels
from vision.request import Array, Wall, Warning_

PITCH_MM = 5.0
AROUND_MM = 1800.0  # how far from the references an opening is looked for
MAX_SIDE_PX = 1400
COLOURS = 5
WALL_DISTANCE = 9.0  # squared Mahalanobis distance within which a pixel is wall
SMALLEST_MM = 250.0
STRAIGHT_MM = 12.0
REACH_MM = 170.0  # how far from a region's border its opening's edge may stand
TRIM_MM = 45.0  # a trim is at least so wide
STEP_T, STEP_LAB = 5.0, 5.0  # a step beside a jamb: against its scatter, and in Lab units
Mask = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """Rectified view: lab (H, W, 3), which pixels lie in the photo, pixel (0, 0) in mm."""

    lab: NDArray[np.float32]
    valid: Mask
    origin_mm: Array


def find_openings(
    rgb: Pixels, camera: Camera, references_px: Sequence[Array], wall: Wall
) -> Array | Warning_:
    """Return rough corners (4, 2) px of the one opening in view, or the reason why it must be pointed at.

    Parameters
    ----------
    rgb : (H, W, 3) uint8.
    camera : adjusted camera.
    references_px : outlines (4, 2) px of the references.
    wall : its kind; siding and panels carry a trim.
    """
    outlines = [back_project(camera, o, 0.0) for o in references_px]
    view = _rectified(rgb, camera, np.concatenate(outlines))
    if view is None:
        return _give_up("the wall is seen too obliquely")
    polygons = [(o - view.origin_mm) / PITCH_MM for o in outlines]
    other = _not_wall(view, polygons)
    if other is None:
        return _give_up("too little wall is seen around the references")
    found = [q for q in (_quadrilateral(m, view.valid) for m in _regions(other)) if q is not None]
    if not found:
        return _give_up("no outline stands out from the wall clearly")
    if len(found) > 1:
        return Warning_(
            "several-openings", f"{_places(found, view, camera)}; give the corners of the one that is meant"
        )
    snapped = _snapped(view, found[0], trimmed=wall in {"siding", "panel"})
    if snapped is None:
        return _give_up("edge and frame could be taken for each other")
    return project(camera, np.column_stack([view.origin_mm + PITCH_MM * snapped, np.zeros(4)]))


def _give_up(reason: str) -> Warning_:
    return Warning_(
        "corners-needed", f"the opening was not found by itself ({reason}); give its four corners roughly"
    )


def _places(found: Sequence[Array], view: _View, camera: Camera) -> str:
    listed = []
    for quad in found:
        px = project(camera, np.column_stack([view.origin_mm + PITCH_MM * quad, np.zeros(4)]))
        listed.append(" ".join(f"{x:.0f},{y:.0f}" for x, y in px))
    return f"{len(found)} openings are in view, at " + " and at ".join(listed)


def _rectified(rgb: Pixels, camera: Camera, references_mm: Array) -> _View | None:
    if not np.isfinite(references_mm).all():
        return None
    low, high = references_mm.min(0) - AROUND_MM, references_mm.max(0) + AROUND_MM
    nx, ny = np.minimum((high - low) / PITCH_MM, MAX_SIDE_PX).astype(int)
    gx, gy = np.meshgrid(low[0] + PITCH_MM * np.arange(nx), low[1] + PITCH_MM * np.arange(ny))
    px = project(camera, np.column_stack([gx.ravel(), gy.ravel(), np.zeros(gx.size)])).astype(np.float32)
    px = np.nan_to_num(px, nan=-1e6).reshape(ny, nx, 2)
    scale = camera.focal_px / max(
        float(np.linalg.norm(camera.centre_mm() - [*references_mm.mean(0), 0])), 1.0
    )
    shrink = max(
        1, int(PITCH_MM * scale / 1.5)
    )  # a smaller copy is a blurred one: no aliasing, little memory
    small = cv2.resize(rgb, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    at = (px + 0.5) / shrink - 0.5
    view = cv2.remap(small, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    h, w = rgb.shape[:2]
    valid = (px[..., 0] > 2) & (px[..., 0] < w - 3) & (px[..., 1] > 2) & (px[..., 1] < h - 3)
    lab = np.asarray(cv2.cvtColor(view, cv2.COLOR_RGB2LAB), np.float32)
    return _View(lab, valid.astype(np.uint8), low)


def _filled(shape: tuple[int, int], polygons: Sequence[Array], grow: float) -> Mask:
    mask: Mask = np.zeros(shape, np.uint8)
    for p in polygons:
        cv2.fillConvexPoly(mask, np.rint((p - p.mean(0)) * grow + p.mean(0)).astype(np.int32), 1)
    return mask


def _not_wall(view: _View, polygons: Sequence[Array]) -> Mask | None:
    """Return the mask of pixels that are in the photo and unlike the wall around the references."""
    shape = view.valid.shape
    sheets = _filled(shape, polygons, 1.4)
    ring = (_filled(shape, polygons, 2.0) > 0) & (sheets == 0) & (view.valid > 0)
    samples = view.lab[ring]
    if len(samples) < 60 * COLOURS:
        return None
    cv2.setRNGSeed(7)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 1.0)
    _, label, centre = cv2.kmeans(samples, COLOURS, np.empty(0, np.int32), stop, 2, cv2.KMEANS_PP_CENTERS)
    nearest = np.full(shape, np.inf)
    for k in range(COLOURS):
        members = samples[label.ravel() == k]
        if len(members) < 0.02 * len(samples) or len(members) < 20:
            continue
        spread = np.cov(members.T) + np.diag([20.0, 4.0, 4.0])
        d = view.lab - centre[k]
        nearest = np.minimum(nearest, np.einsum("ijk,kl,ijl->ij", d, np.linalg.inv(spread), d))
    other = ((nearest > WALL_DISTANCE) & (view.valid > 0) & (sheets == 0)).astype(np.uint8)
    opened = cv2.morphologyEx(other, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return np.asarray(cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8)), np.uint8)


def _regions(other: Mask) -> list[Mask]:
    """Return compact regions large enough for an opening, holes filled."""
    outer, _ = cv2.findContours(other, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    regions = []
    for contour in outer:
        _, _, w, h = cv2.boundingRect(contour)
        if min(w, h) * PITCH_MM < SMALLEST_MM or cv2.contourArea(contour) < 0.45 * w * h:
            continue
        mask: Mask = np.zeros_like(other)
        cv2.drawContours(mask, [contour], -1, 1, cv2.FILLED)
        regions.append(mask)
    return regions


def _quadrilateral(mask: Mask, valid: Mask) -> Array | None:
    """Return the corners (4, 2) of the part of a region that stands between two straight jambs, or None."""
    rows = np.nonzero(mask.any(axis=1))[0]
    first = mask[rows].argmax(axis=1)
    last = mask.shape[1] - 1 - mask[rows, ::-1].argmax(axis=1)
    left, right = _upright_line(rows, first), _upright_line(rows, last)
    if left is None or right is None:
        return None
    tolerance = 1.6 * STRAIGHT_MM / PITCH_MM
    at_left = np.abs(first - np.polyval(left, rows)) < tolerance
    at_right = np.abs(last - np.polyval(right, rows)) < tolerance
    core = _longest(rows, at_left & at_right, 60.0 / PITCH_MM)
    if core is None or (core[1] - core[0]) * PITCH_MM < SMALLEST_MM:
        return None
    ends = []
    for at in (at_left, at_right):
        run = _longest(rows, at, 60.0 / PITCH_MM)
        if run is None or max(abs(run[0] - core[0]), abs(run[1] - core[1])) * PITCH_MM > 90:
            return None
        ends.append(run)
    quad = np.array(
        [
            [np.polyval(left, ends[0][0]) - 0.5, ends[0][0] - 0.5],
            [np.polyval(right, ends[1][0]) + 0.5, ends[1][0] - 0.5],
            [np.polyval(right, ends[1][1]) + 0.5, ends[1][1] + 0.5],
            [np.polyval(left, ends[0][1]) - 0.5, ends[0][1] + 0.5],
        ]
    )
    inside = np.clip(
        np.rint((quad - quad.mean(0)) * 1.03 + quad.mean(0)).astype(int), 0, np.array(valid.shape[::-1]) - 1
    )
    wide = np.linalg.norm(quad[1] - quad[0]) * PITCH_MM >= SMALLEST_MM
    return quad if wide and valid[inside[:, 1], inside[:, 0]].all() else None


def _steps_beside(view: _View, a: Array, b: Array, outward: Array) -> tuple[Array, Array, Array]:
    """Return offsets (M,) mm, size and t-value of the mean colour step on lines beside the side from `a` to `b`.

    Courses and joints of a wall cross the jambs; a step along the whole jamb is an edge of something built.
    """
    shown = cv2.GaussianBlur(view.lab, (0, 0), 0.8)
    reach = np.arange(-REACH_MM / PITCH_MM, REACH_MM / PITCH_MM + 1)
    line = a + np.linspace(0.06, 0.94, 96)[:, None] * (b - a)
    at = np.rint(line[:, None] + reach[:, None] * outward).astype(int)
    h, w = view.valid.shape
    colour = shown[at[..., 1].clip(0, h - 1), at[..., 0].clip(0, w - 1)]
    step = (colour[:, 2:] - colour[:, :-2]).reshape(12, 8, len(reach) - 2, 3).mean(axis=1)
    mean, error = step.mean(0), step.std(0, ddof=1) / np.sqrt(12)
    size = np.linalg.norm(mean, axis=1)
    return reach[1:-1] * PITCH_MM, size, size / np.maximum(np.linalg.norm(error, axis=1), 0.5)


def _jamb_shift(offset: Array, size: Array, t: Array, *, trimmed: bool) -> float | None:
    """Return how far outward (mm) the jamb really stands from the border of the region, or None if that is open.

    In a plain wall the edge is the outermost line (the reveal may have the wall's colours). In a trimmed wall the
    region ends at the trim's inside or outside: with a line a trim's width further out it is the inside.
    """
    peak = (t > STEP_T) & (size > STEP_LAB)
    peak[1:-1] &= (size[1:-1] >= size[:-2]) & (size[1:-1] >= size[2:])
    lines = offset[peak]
    if not trimmed:
        out = lines[lines > -STRAIGHT_MM]
        return float(out.max()) if len(out) else None
    beyond, within = lines[lines > TRIM_MM], lines[lines < -TRIM_MM]
    if len(beyond):
        return 0.0
    return float(within.max()) if len(within) else None


def _snapped(view: _View, quad: Array, *, trimmed: bool) -> Array | None:
    """Return the corners with the jambs moved to the lines that the tape would touch, or None when that is open."""
    moved = quad.copy()
    for i, j, sign in ((0, 3, -1.0), (1, 2, 1.0)):
        outward = np.array([sign, 0.0])
        shift = _jamb_shift(*_steps_beside(view, quad[i], quad[j], outward), trimmed=trimmed)
        if shift is None:
            return None
        moved[[i, j]] += shift / PITCH_MM * outward
        if trimmed and shift < 0 and i == 0:
            moved[[0, 1], 1] -= shift / PITCH_MM  # the head's trim is as wide as the jambs'
    return moved


def _upright_line(rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Array | None:
    """Return column = polynomial(row) of the straight border that most rows share (consensus over pairs of rows)."""
    n = len(rows)
    best, most = None, 0
    tolerance = STRAIGHT_MM / PITCH_MM
    picks = np.linspace(0, n - 1, min(n, 40)).astype(int)
    for i in picks:
        for j in picks:
            if rows[j] - rows[i] < 0.25 * n:
                continue
            slope = (columns[j] - columns[i]) / (rows[j] - rows[i])
            if abs(slope) > 0.25:
                continue
            near = np.abs(columns - columns[i] - slope * (rows - rows[i])) < tolerance
            if np.count_nonzero(near) > most:
                best, most = near, np.count_nonzero(near)
    if best is None or most < 0.5 * n:
        return None
    return np.polyfit(rows[best], columns[best], 1)


def _longest(rows: NDArray[np.intp], good: NDArray[np.bool_], gap: float) -> tuple[int, int] | None:
    """Return first and last row of the longest run of good rows; gaps up to `gap` rows are bridged."""
    at = rows[good]
    if not len(at):
        return None
    runs = np.split(at, np.nonzero(np.diff(at) > gap)[0] + 1)
    longest = max(runs, key=lambda r: r[-1] - r[0])
    return int(longest[0]), int(longest[-1])
