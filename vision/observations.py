"""The unknowns of one photo and the observation blocks over them.

Unknowns: the camera's eleven (`vision.camera`), then two for the size of the references (print scale across and
along, or width and height of a page, as relative corrections), two for the wall (direction of its horizontal against
the frame's x, skew of its vertical against that, rad), then nine a reference: place x, y (mm) and turn (rad)
in the wall plane, depth z of its middle (mm, into the wall), tilts about both axes (rad), bulge across and along
(mm, toward the camera), bloom (px, printed black grown into white).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vision.camera import UNKNOWNS, Camera, project_jacobian
from vision.request import Array

SIZE = slice(UNKNOWNS, UNKNOWNS + 2)
WALL = slice(UNKNOWNS + 2, UNKNOWNS + 4)
FIRST_REFERENCE = UNKNOWNS + 4
PER_REFERENCE = 9
X, Y, TURN, DEPTH, TILT_X, TILT_Y, BULGE_X, BULGE_Y, BLOOM = range(PER_REFERENCE)


def reference_slice(i: int) -> slice:
    """Return where the nine unknowns of reference `i` stand."""
    first = FIRST_REFERENCE + PER_REFERENCE * i
    return slice(first, first + PER_REFERENCE)


@dataclass(frozen=True, slots=True, eq=False)
class PhotoState:
    """Camera, relative size corrections (2,), the unknowns of the references (R, 9), the wall's direction and skew."""

    camera: Camera
    size: Array
    references: Array
    wall: Array = field(default_factory=lambda: np.zeros(2))

    @property
    def unknowns(self) -> int:
        """Number of unknowns."""
        return FIRST_REFERENCE + self.references.size

    def moved(self, increment: Array) -> PhotoState:
        """Return the state after the increment (U,)."""
        return PhotoState(
            self.camera.moved(increment[:UNKNOWNS]),
            self.size + increment[SIZE],
            self.references + increment[FIRST_REFERENCE:].reshape(self.references.shape),
            self.wall + increment[WALL],
        )

    def increment_to(self, other: PhotoState) -> Array:
        """Return the increment (U,) by which `moved` leads to another state of as many references."""
        rest = (other.size - self.size, other.wall - self.wall, (other.references - self.references).ravel())
        return np.concatenate([self.camera.increment_to(other.camera), *rest])

    def vector(self) -> Array:
        """Return the values of all unknowns but the camera's rotation and translation, which read 0: (U,)."""
        c = self.camera
        values = np.zeros(self.unknowns)
        values[6:UNKNOWNS] = np.log(c.focal_px), c.cx, c.cy, c.k1, c.k2
        values[SIZE], values[WALL] = self.size, self.wall
        values[FIRST_REFERENCE:] = self.references.ravel()
        return values


def reference_points(state: PhotoState, i: int, plane_mm: Array, half_mm: Array) -> tuple[Array, Array]:
    """Return wall points (N, 3) mm of points (N, 2) on reference `i` from its middle, and d/d(size, nine): (N, 3, 11).

    `half_mm` (2,) is half the width and height: the bulge is a parabola that vanishes there.
    """
    x, y, turn, depth, tilt_x, tilt_y, bulge_x, bulge_y, _ = state.references[i]
    px, py = plane_mm[:, 0] * (1 + state.size[0]), plane_mm[:, 1] * (1 + state.size[1])
    c, s = np.cos(turn), np.sin(turn)
    qx, qy = (plane_mm / half_mm).T
    bow_x, bow_y = 1 - qx**2, 1 - qy**2
    n = len(plane_mm)
    points = np.empty((n, 3))
    points[:, 0] = x + c * px - s * py
    points[:, 1] = y + s * px + c * py
    points[:, 2] = depth + tilt_x * px + tilt_y * py - bulge_x * bow_x - bulge_y * bow_y
    by = np.zeros((n, 3, 2 + PER_REFERENCE))
    by[:, 0, 0], by[:, 1, 0], by[:, 2, 0] = c * plane_mm[:, 0], s * plane_mm[:, 0], tilt_x * plane_mm[:, 0]
    by[:, 0, 1], by[:, 1, 1], by[:, 2, 1] = -s * plane_mm[:, 1], c * plane_mm[:, 1], tilt_y * plane_mm[:, 1]
    by[:, 0, 2 + X] = by[:, 1, 2 + Y] = by[:, 2, 2 + DEPTH] = 1
    by[:, 0, 2 + TURN], by[:, 1, 2 + TURN] = -s * px - c * py, c * px - s * py
    by[:, 2, 2 + TILT_X], by[:, 2, 2 + TILT_Y] = px, py
    by[:, 2, 2 + BULGE_X], by[:, 2, 2 + BULGE_Y] = -bow_x, -bow_y
    return points, by


@dataclass(frozen=True, slots=True, eq=False)
class EdgeBlock:
    """Points of a reference seen in the photo, each observed along one direction `normal` (N, 2) only.

    `polarity` (N,) multiplies the bloom: +1 for printed edges with the normal from black to white, 0 for points
    without bloom.
    """

    reference: int
    plane_mm: Array
    half_mm: Array
    pixel: Array
    normal: Array
    u_px: Array
    polarity: Array
    part: str = "reference_image"
    robust: bool = True

    def linearised(self, state: PhotoState) -> tuple[Array, Array]:
        """Return misclosures (N,) and design matrix (N, U), both divided by the standard deviations."""
        points, by_reference = reference_points(state, self.reference, self.plane_mm, self.half_mm)
        uv, by_camera, by_point = project_jacobian(state.camera, points)
        n = self.normal
        bloom = state.references[self.reference, BLOOM]
        w = ((self.pixel - uv) * n).sum(1) - bloom * self.polarity
        a = np.zeros((len(w), state.unknowns))
        a[:, :UNKNOWNS] = n[:, :1] * by_camera[:, 0] + n[:, 1:] * by_camera[:, 1]
        along = n[:, :1] * by_point[:, 0] + n[:, 1:] * by_point[:, 1]
        by = (along[:, None] @ by_reference)[:, 0]
        a[:, SIZE] = by[:, :2]
        where = reference_slice(self.reference)
        a[:, where] = by[:, 2:]
        a[:, where.start + BLOOM] = self.polarity
        return w / self.u_px, a / self.u_px[:, None]


def point_block(reference: int, plane_mm: Array, half_mm: Array, pixel: Array, u_px: float) -> EdgeBlock:
    """Return points (N, 2) observed in both directions, with no bloom: saddles, clicked corners."""
    n = len(plane_mm)
    normal = np.concatenate([np.tile([1.0, 0.0], (n, 1)), np.tile([0.0, 1.0], (n, 1))])
    twice = np.concatenate([plane_mm, plane_mm])
    return EdgeBlock(
        reference, twice, half_mm, np.concatenate([pixel, pixel]), normal, np.full(2 * n, u_px), np.zeros(2 * n)
    )


@dataclass(frozen=True, slots=True, eq=False)
class PriorBlock:
    """Direct observations of unknowns: index (N,), value (N,), standard deviation (N,); correlation (N, N) or none."""

    index: NDArray[np.intp]
    value: Array
    u: Array
    part: str
    robust: bool = False
    correlation: Array | None = None

    def linearised(self, state: PhotoState) -> tuple[Array, Array]:
        """Return misclosures (N,) and design matrix (N, U), both divided by the standard deviations."""
        a = np.zeros((len(self.value), state.unknowns))
        a[np.arange(len(self.index)), self.index] = 1 / self.u
        w = (self.value - state.vector()[self.index]) / self.u
        if self.correlation is None:
            return w, a
        white = np.linalg.solve(np.linalg.cholesky(self.correlation), np.column_stack([w, a]))
        return white[:, 0], white[:, 1:]
