"""Pieces of edges that run along one line of the wall: courses, columns of head joints, laps.

A course is one line of one polarity (bright side up or down): its place is free, and its slope has an error of its own,
because top and bottom of one brick, and all bricks laid to one string, err together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from vision.camera import UNKNOWNS, back_project, project_jacobian
from vision.observations import WALL, PhotoState
from vision.request import Array

BIN_MM = 0.5  # of the density of places across
SMOOTH_MM = 1.5  # a brick's own roughness
WITHIN_MM = 5.0  # pieces this near to a course's line are taken for it
# Two pieces make a course where they lie so far apart that bricks tell its slope better than how it was laid (guess:
# both sides of an opening).
FAR_APART_MM = 500.0
# Of differences by the camera and the wall's directions; forward ones do: what they are for is of second order.
STEPS = np.array([1e-5] * 3 + [1e-1] * 3 + [1e-5, 1e-1, 1e-1, 1e-4, 1e-4] + [1e-5] * 2)


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Pieces of edges by direction: middles (N, 2) px, upright (N,) bool, bright (N,) +-1, length and mm/px (N,)."""

    pixel: Array
    upright: NDArray[np.bool_]
    bright: Array
    length_mm: Array
    scale_mm: Array

    def some(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Pieces:
        """Return those of a mask or index (M,)."""
        return Pieces(
            self.pixel[keep], self.upright[keep], self.bright[keep], self.length_mm[keep], self.scale_mm[keep]
        )


def wall_axes(wall: Array) -> tuple[Array, Array]:
    """Return unit vectors along the wall's horizontal and vertical (2,) in the plane, from direction and skew (2,)."""
    a, b = wall[0], wall[0] + wall[1]
    return np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(b), np.cos(b)])


def axes_of(state: PhotoState, upright: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Return unit vectors (N, 2) along and across lines of the wall's two directions."""
    along = np.where(upright[:, None], *wall_axes(state.wall)[::-1])
    return along, np.stack([-along[:, 1], along[:, 0]], axis=1)


def across_along(state: PhotoState, pixel: Array, upright: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Return where points (N, 2) px lie across and along their wall direction, mm (N,) each."""
    q = back_project(state.camera, pixel, 0.0)
    along, across = axes_of(state, upright)
    return (q * across).sum(1), (q * along).sum(1)


def group(state: PhotoState, pieces: Pieces) -> NDArray[np.intp]:
    """Return the course (N,) of each piece, -1 for none: peaks of the density of places across, by polarity."""
    label = np.full(len(pieces.pixel), -1)
    across, along = across_along(state, pieces.pixel, pieces.upright)
    kernel = np.exp(-0.5 * (np.arange(-4 * SMOOTH_MM, 4 * SMOOTH_MM + BIN_MM / 2, BIN_MM) / SMOOTH_MM) ** 2)
    count = 0
    for upright in (False, True):
        for bright in (-1, 1):
            of = np.flatnonzero((pieces.upright == upright) & (pieces.bright == bright) & np.isfinite(across))
            if len(of) < 3:
                continue
            low = across[of].min() - 20
            size = int((across[of].max() - low) / BIN_MM) + 60
            if size > 200_000:
                continue
            place = np.clip(((across[of] - low) / BIN_MM).astype(int), 0, size - 1)
            density = np.convolve(np.bincount(place, pieces.length_mm[of], size), kernel, "same")
            window = int(2 * WITHIN_MM / BIN_MM)
            free = density.copy()
            while (peak := int(np.argmax(free))) >= 0 and free[peak] > 0:
                centre = low + (peak + 0.5) * BIN_MM
                inside = of[(np.abs(across[of] - centre) <= WITHIN_MM) & (label[of] < 0)]
                free[max(0, peak - window) : peak + window + 1] = 0
                if len(inside) >= 3 or two_apart(along[inside]):
                    label[inside] = count
                    count += 1
    return label


def two_apart(along_mm: Array) -> bool:
    """Return whether pieces (N,) are two, and far enough apart to tell how a course runs."""
    return len(along_mm) == 2 and bool(np.ptp(along_mm) >= FAR_APART_MM)


def reference_scale(state: PhotoState, pixel: Array) -> Array:
    """Return mm per pixel (N,) in the wall plane at pixels (N, 2): the root of the area of one pixel."""
    q = back_project(state.camera, pixel, 0.0)
    _, _, by_point = project_jacobian(state.camera, np.column_stack([q, np.zeros(len(q))]))
    return np.asarray(1 / np.sqrt(np.maximum(np.abs(np.linalg.det(by_point[:, :, :2])), 1e-12)))


@dataclass(frozen=True, slots=True, eq=False)
class LineBlock:
    """Points on lines that run with the wall: each line's place is free, its slope known to a standard deviation.

    `whiten` (M, N) takes the points' distances to what is observed: the free places are projected out exactly, and
    slope errors and point errors are decorrelated, so that M rows of unit variance remain.

    The distances are mm in the wall, but seen in pixels: a camera that puts the far end of the wall nearer would make
    those there smaller, and scatter alone would pull it that way. Each is taken from its `course` (N,) at the scale
    `scale_mm` (N,), mm a pixel across it, at which `whiten` was made; `by_state` (N, 13) is how the logarithm of that
    scale changes with the camera and the wall's directions.
    """

    pixel: Array
    upright: NDArray[np.bool_]
    whiten: scipy.sparse.csr_array
    course: NDArray[np.intp]
    scale_mm: Array
    by_state: Array
    part: str = "camera"
    robust: bool = False

    def linearised(self, state: PhotoState) -> tuple[Array, Array]:
        """Return misclosures (M,) and design matrix (M, U), both of unit variance."""
        q = back_project(state.camera, self.pixel, 0.0)
        good = np.isfinite(q).all(1)
        if not good.all():  # beyond the horizon: this state cannot be
            return np.full(self.whiten.shape[0], np.inf), np.zeros((self.whiten.shape[0], state.unknowns))
        _, by_camera, by_point = project_jacobian(state.camera, np.column_stack([q, np.zeros(len(q))]))
        along, across = axes_of(state, self.upright)
        by_pixel = _by_pixel(by_point, across)
        rows = np.empty((len(q), 1 + UNKNOWNS + 2))
        rows[:, 0] = (q * across).sum(1)
        rows[:, 1 : 1 + UNKNOWNS] = -by_pixel[:, :1] * by_camera[:, 0] - by_pixel[:, 1:] * by_camera[:, 1]
        rows[:, -2] = -(q * along).sum(1)  # turning the axes by d moves the point by -d along, seen across
        rows[:, -1] = np.where(self.upright, rows[:, -2], 0.0)
        count = np.maximum(np.bincount(self.course), 1)[:, None]
        middle = np.stack([np.bincount(self.course, column) for column in rows.T], axis=1) / count
        rows -= middle[self.course]
        rows[:, 1:] -= rows[:, :1] * self.by_state
        seen = np.asarray(self.whiten @ (rows * (self.scale_mm / np.hypot(*by_pixel.T))[:, None]))
        a = np.zeros((len(seen), state.unknowns))
        a[:, :UNKNOWNS] = seen[:, 1 : 1 + UNKNOWNS]
        a[:, WALL] = seen[:, -2:]
        return -seen[:, 0], a


def course_block(
    state: PhotoState,
    pixel: Array,
    upright: NDArray[np.bool_],
    course: NDArray[np.intp],
    whiten: scipy.sparse.csr_array,
    *,
    robust: bool = False,
) -> LineBlock:
    """Return points (N, 2) px on courses (N,) as observations, whitened by (M, N) as they lie at this state."""
    scale = scale_across(state, pixel, upright)
    by_state = np.empty((len(pixel), len(STEPS)))
    for i, unknown in enumerate((*range(UNKNOWNS), WALL.start, WALL.start + 1)):
        step = np.zeros(state.unknowns)
        step[unknown] = STEPS[i]
        by_state[:, i] = np.log(scale_across(state.moved(step), pixel, upright) / scale) / STEPS[i]
    return LineBlock(pixel, upright, whiten, course, scale, by_state, robust=robust)


def scale_across(state: PhotoState, pixel: Array, upright: NDArray[np.bool_]) -> Array:
    """Return how many mm of wall a pixel is (N,), across lines through pixels (N, 2)."""
    q = back_project(state.camera, pixel, 0.0)
    by_point = project_jacobian(state.camera, np.column_stack([q, np.zeros(len(q))]))[2]
    return np.asarray(np.hypot(*_by_pixel(by_point, axes_of(state, upright)[1]).T))


def _by_pixel(by_point: Array, across: Array) -> Array:
    """Return by how many mm the wall moves across lines for a pixel (N, 2), from the pixels' derivative (N, 2, 3)."""
    (a, b), (c, d) = by_point[:, 0, :2].T, by_point[:, 1, :2].T
    x, y = across.T
    return np.asarray(np.stack([d * x - c * y, a * y - b * x], axis=1) / (a * d - b * c)[:, None])


def whitening(
    course: NDArray[np.intp], along_mm: Array, u_mm: Array, u_slope: Array, u_bow_mm: Array | None = None
) -> scipy.sparse.csr_array:
    """Return the matrix (M, N) that projects out each course's place and decorrelates the rest.

    Parameters
    ----------
    course : (N,) which course each point is on, 0 .. C-1, all >= 0.
    along_mm, u_mm : (N,) place along the course and standard deviation across it.
    u_slope : (C,) standard deviation of each course's slope, rad.
    u_bow_mm : (C,) standard deviation of each course's bow over a metre, a parabola; None: straight.

    Notes
    -----
    For one course V = diag(u^2) + u_slope^2 s s^T = L L^T, with a bow also u_bow^2 b b^T, b = (s / 500 mm)^2. With Q
    an orthonormal basis of what is orthogonal to L^-1 1, the rows Q^T L^-1 give the generalised least squares with the
    place as a further unknown (Koch 1999, 3.2.6).
    """
    entries, rows, columns = [], [], []
    order = np.argsort(course, kind="stable")
    first = np.flatnonzero(np.diff(course[order], prepend=-1))
    count = np.diff(np.append(first, len(course)))
    before = np.cumsum(count - 1) - (count - 1)  # rows of the courses before it
    total = int((count - 1).sum())
    for n in np.unique(count[count > 1]):  # courses of as many points at once
        of = np.flatnonzero(count == n)
        index = order[first[of, None] + np.arange(n)]
        s = along_mm[index] - along_mm[index].mean(axis=1, keepdims=True)
        v = u_slope[course[index[:, 0]], None, None] ** 2 * s[:, :, None] * s[:, None, :]
        if u_bow_mm is not None:
            bow = u_bow_mm[course[index[:, 0]], None] * (s / 500.0) ** 2
            v += bow[:, :, None] * bow[:, None, :]
        v[:, np.arange(n), np.arange(n)] += u_mm[index] ** 2
        lower_inverse = np.linalg.inv(np.linalg.cholesky(v))
        basis = np.linalg.qr(lower_inverse.sum(axis=2, keepdims=True), mode="complete")[0][:, :, 1:]
        entries.append((basis.transpose(0, 2, 1) @ lower_inverse).ravel())
        rows.append(np.repeat(before[of, None] + np.arange(n - 1), n))
        columns.append(np.repeat(index, n - 1, axis=0).ravel())
    if not total:
        return scipy.sparse.csr_array((0, len(course)))
    data = (np.concatenate(entries), (np.concatenate(rows), np.concatenate(columns)))
    return scipy.sparse.csr_array(data, shape=(total, len(course)))
