"""The unknowns of several photos of one opening, and the observation blocks that tie the photos together.

Every photo keeps its own unknowns (`vision.observations`); what two photos share stands in one column. To these come
the place of each further photo's wall frame in the first one's (x, y mm, turn rad), one interior for each camera that
took several of them (log focal, cx, cy, k1, k2), and the four sides of the opening (offset outward mm and slope rad
against a first line, depth z mm), all in the first photo's frame.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import UNKNOWNS, back_project, project_jacobian
from vision.observations import TURN, PhotoState, reference_slice
from vision.request import Array
from vision.stations import Line

Columns = NDArray[np.intp]
INTERIOR = np.arange(6, UNKNOWNS)


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Where unknowns stand: of each photo (U_k,), frames of photos after the first (P - 1, 3), interiors, sides."""

    photos: tuple[Columns, ...]
    frames: Columns
    interiors: Columns
    sides: Columns
    unknowns: int


@dataclass(frozen=True, slots=True, eq=False)
class JointState:
    """Photos' states, frames (P, 3) with the first zero, interiors (G, 5), sides (4, 3) in the order of `SIDES`."""

    photos: tuple[PhotoState, ...]
    frames: Array
    interiors: Array
    sides: Array
    layout: Layout

    @property
    def unknowns(self) -> int:
        """Number of all unknowns."""
        return self.layout.unknowns

    def of_photo(self, number: int) -> tuple[PhotoState, Columns]:
        """Return the state of a photo and the columns of its unknowns."""
        return self.photos[number], self.layout.photos[number]

    def moved(self, increment: Array) -> JointState:
        """Return the state after the increment (U,)."""
        at = self.layout
        frames = self.frames.copy()
        frames[1:] += increment[at.frames]
        return replace(
            self,
            photos=tuple(p.moved(increment[c]) for p, c in zip(self.photos, at.photos, strict=True)),
            frames=frames,
            interiors=self.interiors + increment[at.interiors],
            sides=self.sides + increment[at.sides],
        )


def in_first_frame(frame: Array, points: Array) -> Array:
    """Return points (N, 2) mm of a photo's wall frame in the first photo's; `frame` is x, y, turn."""
    c, s = np.cos(frame[2]), np.sin(frame[2])
    return np.asarray(points @ np.array([[c, s], [-s, c]]) + frame[:2])


@dataclass(frozen=True, slots=True, eq=False)
class Condition:
    """A few observations: misclosures `of(state)` (n,), derivatives `by(state)` (n, m) of what is computed.

    `columns` (m,) are the unknowns they depend on; `whiten` (n, n) is the inverse of a square root of the covariance.
    """

    of: Callable[[JointState], Array]
    by: Callable[[JointState], Array]
    columns: Columns
    whiten: Array
    part: str
    robust: bool = False

    def linearised(self, state: JointState) -> tuple[Array, Array]:
        """Return misclosures (n,) and design matrix (n, U), both whitened."""
        w = self.whiten @ self.of(state)
        a = np.zeros((len(w), state.layout.unknowns))
        a[:, self.columns] = self.whiten @ self.by(state)
        return w, a


def whitening(cov: Array) -> Array:
    """Return the inverse of a square root of a covariance (n, n)."""
    return np.asarray(np.linalg.inv(np.linalg.cholesky(cov)))


@dataclass(frozen=True, slots=True, eq=False)
class SideSeen:
    """Side number `side` as seen in a photo: both ends (2, 2) px lie on it, at its depth.

    `whiten` (2, 2) is for the ends' outward distances from the side, mm; `first` is the side's first line.
    """

    photo: int
    side: int
    first: Line
    ends_px: Array
    whiten: Array
    part: str = "edge_trace"
    robust: bool = False

    def linearised(self, state: JointState) -> tuple[Array, Array]:
        """Return misclosures (2,) and design matrix (2, U), both whitened.

        Notes
        -----
        The ends are carried to the side's depth; how that moves with camera and depth follows from the projection by
        the implicit function theorem.
        """
        offset, slope, depth = state.sides[self.side]
        camera, frame = state.photos[self.photo].camera, state.frames[self.photo]
        wall = back_project(camera, self.ends_px, depth)
        _, by_camera, by_point = project_jacobian(camera, np.column_stack([wall, np.full(2, depth)]))
        across = np.linalg.inv(by_point[:, :, :2])
        turn = np.array([[np.cos(frame[2]), -np.sin(frame[2])], [np.sin(frame[2]), np.cos(frame[2])]])
        turned = wall @ turn.T
        middle = self.first.origin + self.first.direction * self.first.length / 2
        n, d = self.first.normal, self.first.direction
        from_middle = turned + frame[:2] - middle
        distance = from_middle @ n - offset - slope * (from_middle @ d)
        sideways = n - slope * d  # gradient of the distance by the place of the end
        by_wall = sideways @ turn
        at = state.layout
        by = np.zeros((2, at.unknowns))
        by[:, at.photos[self.photo][:UNKNOWNS]] = -np.einsum("i,nij,njk->nk", by_wall, across, by_camera)
        by_depth = -np.einsum("i,nij,nj->n", by_wall, across, by_point[:, :, 2])
        if self.photo:
            by[:, at.frames[self.photo - 1]] = np.column_stack(
                [np.tile(sideways, (2, 1)), turned @ np.array([[0, 1], [-1, 0]]) @ sideways]
            )
        by[:, at.sides[self.side]] = np.column_stack([-np.ones(2), -from_middle @ d, by_depth])
        return self.whiten @ distance, -self.whiten @ by


def same_place(layout: Layout, here: tuple[int, int], there: tuple[int, int], u: Array) -> Condition:
    """Return the condition that two references (photo, number) are one in one place; `u` (3,) of x, y mm, turn rad."""

    def placed(state: JointState, photo: int, i: int) -> Array:
        x, y, turn = state.photos[photo].references[i, : TURN + 1]
        at = in_first_frame(state.frames[photo], np.array([[x, y]]))[0]
        return np.array([*at, turn + state.frames[photo, 2]])

    def by(state: JointState) -> Array:
        columns = []
        for sign, (photo, i) in ((-1.0, here), (1.0, there)):
            c, s = np.cos(state.frames[photo, 2]), np.sin(state.frames[photo, 2])
            columns.append(sign * np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]))
            if photo:
                x, y = state.photos[photo].references[i, :2]
                columns.append(sign * np.array([[1, 0, -s * x - c * y], [0, 1, c * x - s * y], [0, 0, 1.0]]))
        return np.concatenate(columns, axis=1)

    at = []
    for photo, i in (here, there):
        at.append(layout.photos[photo][reference_slice(i)][: TURN + 1])
        if photo:
            at.append(layout.frames[photo - 1])
    return Condition(
        lambda s: placed(s, *here) - placed(s, *there), by, np.concatenate(at), np.diag(1 / u), "reference_image"
    )


def _linear(of: Callable[[JointState], Array], by: Array, columns: Columns, whiten: Array, part: str) -> Condition:
    return Condition(of, lambda _: by, columns, whiten, part)


def one_direction(layout: Layout, photo: int, wall_column: int) -> Condition:
    """Return the condition that a photo and the first one see one horizontal of the wall."""

    def difference(state: JointState) -> Array:
        return np.array([state.photos[photo].wall[0] + state.frames[photo, 2] - state.photos[0].wall[0]])

    columns = np.array([layout.photos[photo][wall_column], layout.frames[photo - 1][2], layout.photos[0][wall_column]])
    return _linear(difference, np.array([[-1.0, -1.0, 1.0]]), columns, np.array([[1e5]]), "wall_plane")


def nearly_placed(layout: Layout, photo: int, frame: Array, u_mm: float) -> Condition:
    """Return the condition that a photo's frame has its place x, y near that of `frame` (3,), so that it has one."""
    columns = layout.frames[photo - 1][:2]
    return _linear(lambda s: frame[:2] - s.frames[photo, :2], np.eye(2), columns, np.eye(2) / u_mm, "wall_plane")


def one_camera(layout: Layout, photo: int, group: int, u: Array) -> Condition:
    """Return the condition that a photo has the interior of its camera; `u` (5,): focus and the lens's movement."""

    def difference(state: JointState) -> Array:
        c = state.photos[photo].camera
        return np.asarray(np.array([np.log(c.focal_px), c.cx, c.cy, c.k1, c.k2]) - state.interiors[group])

    columns = np.concatenate([layout.photos[photo][INTERIOR], layout.interiors[group]])
    return _linear(difference, np.hstack([-np.eye(5), np.eye(5)]), columns, np.diag(1 / u), "camera")


def interior_known(layout: Layout, group: int, value: Array, u: Array) -> Condition:
    """Return what is known of a camera beforehand as a condition: log focal, cx, cy, k1, k2 (5,) with `u` (5,)."""
    return _linear(lambda s: value - s.interiors[group], np.eye(5), layout.interiors[group], np.diag(1 / u), "camera")


def depths_known(layout: Layout, z_mm: Array, cov_mm2: Array) -> Condition:
    """Return as a condition the sides' depths z (4,) mm as declared or assumed, with their covariance (4, 4) mm2."""
    columns = layout.sides[:, 2]
    return _linear(lambda s: z_mm - s.sides[:, 2], np.eye(4), columns, whitening(cov_mm2), "edge_depth")
