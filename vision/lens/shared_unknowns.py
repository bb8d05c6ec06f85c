"""The unknowns of a camera profile, shared by all its photos, and the observation blocks that tie the photos together.

References: Triggs et al. (2000), Bundle adjustment, section 6 (one photo condensed to the root of its equations).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.adjustment import Block, huber_cost, huber_weights
from vision.observations import PhotoState
from vision.request import Array

SHARED = 7  # interior (5) and print scale (2)
OWN = 3  # of the interior, focal length and principal point are each photo's own, about the common ones


@dataclass(frozen=True, slots=True, eq=False)
class LensState:
    """All photos with the interior they vary about, one print scale and the common bulges (S, 2) mm.

    `usual` (3,) are log focal px and principal point px, of which each photo has its own: lenses focus and are
    stabilised. Distortion is one. `index` maps each photo's unknowns to the joint ones.
    """

    views: tuple[PhotoState, ...]
    usual: Array
    bulges: Array
    index: tuple[NDArray[np.intp], ...]

    @property
    def unknowns(self) -> int:
        """Number of unknowns."""
        return SHARED + self.bulges.size + sum(len(i) - SHARED + OWN for i in self.index)

    def of_photo(self, number: int) -> tuple[PhotoState, NDArray[np.intp]]:
        """Return the state of a photo and the columns of its unknowns."""
        return self.views[number], self.index[number]

    def moved(self, increment: Array) -> LensState:
        """Return the state after the increment (U,)."""
        views = tuple(v.moved(increment[i]) for v, i in zip(self.views, self.index, strict=True))
        bulges = self.bulges + increment[SHARED : SHARED + self.bulges.size].reshape(-1, 2)
        return LensState(views, self.usual + increment[:OWN], bulges, self.index)

    def vector(self) -> Array:
        """Return the values of the unknowns (U,); rotations and translations read 0."""
        out = np.zeros(self.unknowns)
        for view, i in zip(self.views, self.index, strict=True):
            out[i] = view.vector()
        out[:OWN] = self.usual
        out[SHARED : SHARED + self.bulges.size] = self.bulges.ravel()
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Condensed:
    """All edges of one photo as the square root of their normal equations: as many rows as unknowns, and one."""

    view: int
    blocks: tuple[Block[PhotoState], ...]
    part: str = "reference_image"
    robust: bool = False

    def linearised(self, state: LensState) -> tuple[Array, Array]:
        """Return what `adjust` needs: the same normal equations and the same (Huber's) cost as all rows give."""
        rows, cost = [], 0.0
        for block in self.blocks:
            w, a = block.linearised(state.views[self.view])
            cost += huber_cost(w, block.robust)
            root = np.sqrt(huber_weights(w, block.robust))[:, None]
            rows.append(np.hstack([root * a, root * w[:, None]]))
        stacked = np.vstack(rows)
        if not np.isfinite(stacked).all():
            return np.array([np.inf]), np.zeros((1, state.unknowns))
        r: Array = np.asarray(np.linalg.qr(stacked, mode="r"))
        w, local = r[:, -1].copy(), r[:, :-1]
        a = np.zeros((len(w), state.unknowns))
        a[:, state.index[self.view]] = local
        w = np.append(w, np.sqrt(max(cost - float(w @ w), 0.0)))
        return w, np.vstack([a, np.zeros((1, state.unknowns))])


@dataclass(frozen=True, slots=True, eq=False)
class LikeCommon:
    """What one photo has of its own against what all vary about: joint unknowns `own` (N,), `common` (N,), `u` (N,)."""

    own: NDArray[np.intp]
    common: NDArray[np.intp]
    u: Array
    part: str
    robust: bool = False

    def linearised(self, state: LensState) -> tuple[Array, Array]:
        """Return misclosures (N,) and design matrix (N, U), both divided by the standard deviations."""
        x, rows = state.vector(), np.arange(len(self.own))
        a = np.zeros((len(rows), state.unknowns))
        a[rows, self.own], a[rows, self.common] = 1 / self.u, -1 / self.u
        return (x[self.common] - x[self.own]) / self.u, a


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """Direct observations of joint unknowns: index (N,), value (N,), standard deviation (N,)."""

    index: NDArray[np.intp]
    value: Array
    u: Array
    part: str
    robust: bool = False

    def linearised(self, state: LensState) -> tuple[Array, Array]:
        """Return misclosures (N,) and design matrix (N, U), both divided by the standard deviations."""
        a = np.zeros((len(self.value), state.unknowns))
        a[np.arange(len(self.index)), self.index] = 1 / self.u
        return (self.value - state.vector()[self.index]) / self.u, a
