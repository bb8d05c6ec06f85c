"""Traced sides of a page or card as observations whose errors go together along each side."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import scipy.linalg

from vision.observations import EdgeBlock, PhotoState
from vision.page_sides.fit import TracedSide
from vision.page_sides.traced import TracedQuad
from vision.request import Array

# What moves a whole side and what tilts it. A guess from traced sides of known place: the blurred step is biased by
# what lies beside the edge (contact shadow, relief of the wall) by about its share of the scatter. A card is no longer
# than a brick, so all of a side sees the same brick and joint: what scatters its positions moves and tilts it as much
# (308 sides of 78 rendered cards: 1.1 and 1.2 of the scatter, rms).
U_SIDE_PX, U_SIDE_SLOPE_PX = 0.08, 0.04
SHARES_OF_SCATTER = {False: (0.5, 0.25), True: (1.1, 1.2)}  # whole and slope, of paper and of what is placed as coded
# What stands beside the edge: the shadow of paper half a millimetre proud, or of a card. And how straight and square
# sides are cut. Guesses.
U_BESIDE_MM = {"letter": 0.15, "a4": 0.15, "id1": 0.15, "given": 0.15}
U_CUT_MM = {"letter": 0.07, "a4": 0.07, "id1": 0.05, "given": 0.07}
# A side face has the card's tone, or the wall's, or one of its own: what is traced lies anywhere between its two edges.
FACE, U_FACE = 0.5, 1 / np.sqrt(12)


@dataclass(frozen=True, slots=True, eq=False)
class SideBlock:
    """Edge points of several sides, decorrelated by `whitener` (N, N): inverse Cholesky factor of their covariance."""

    points: EdgeBlock
    whitener: Array
    part: str = "reference_image"
    robust: bool = False

    @property
    def reference(self) -> int:
        """Which reference the sides belong to."""
        return self.points.reference

    def linearised(self, state: PhotoState) -> tuple[Array, Array]:
        """Return misclosures (N,) and design matrix (N, U), decorrelated and of unit variance."""
        w, a = self.points.linearised(state)
        return self.whitener @ w, self.whitener @ a


def side_block(
    reference: int, traced: TracedQuad, plane_mm: Array, half_mm: Array, kind: str, faces_mm: Array | None = None
) -> SideBlock:
    """Return the sides of a traced rectangle as one block.

    `plane_mm` (4, 2) are its corners from its middle in the order of the traced ones. Along a side the place is
    free: only the distance across it is observed. `faces_mm` (4,): how far side faces are seen beyond the sides.
    """
    faces = np.zeros(4) if faces_mm is None else faces_mm
    to_plane = cv2.getPerspectiveTransform(traced.corners_px.astype(np.float32), plane_mm.astype(np.float32))
    pixel, normal, where, parts = [], [], [], []
    lengths_mm = np.linalg.norm(np.roll(plane_mm, -1, axis=0) - plane_mm, axis=1)
    for i, side in enumerate(traced.sides):
        a, b = plane_mm[i], plane_mm[(i + 1) % 4]
        seen = cv2.perspectiveTransform(side.pixel.reshape(-1, 1, 2), np.asarray(to_plane, float)).reshape(-1, 2)
        share = ((np.asarray(seen, float) - a) @ (b - a)) / ((b - a) @ (b - a))
        pixel.append(side.pixel)
        normal.append(side.normal)
        outward = np.array([b[1] - a[1], a[0] - b[0]]) / lengths_mm[i]
        where.append(a + share[:, None] * (b - a) + FACE * faces[i] * outward)
        ends = traced.corners_px[[i, (i + 1) % 4]]
        px_per_mm = float(np.linalg.norm(ends[1] - ends[0])) / lengths_mm[i]
        beside = float(np.hypot(U_BESIDE_MM[kind], U_FACE * faces[i])) * px_per_mm
        cut = U_CUT_MM[kind] * px_per_mm
        scatter = max(side.scatter_px, _unstraight(side)) if traced.as_coded else side.scatter_px
        moves, turns = (s * scatter for s in SHARES_OF_SCATTER[traced.as_coded])
        u_whole = np.linalg.norm([U_SIDE_PX, moves, beside, side.beside_px])
        u_slope = np.linalg.norm([U_SIDE_SLOPE_PX, turns, cut, side.beside_px])
        t = 2 * share - 1
        parts.append(np.diag(side.u_px**2) + u_whole**2 + u_slope**2 * np.outer(t, t))
    covariance = scipy.linalg.block_diag(*parts)
    n = len(covariance)
    whitener = scipy.linalg.solve_triangular(np.linalg.cholesky(covariance), np.eye(n), lower=True)
    points = EdgeBlock(
        reference,
        np.concatenate(where),
        half_mm,
        np.concatenate(pixel),
        np.concatenate(normal),
        np.ones(n),
        np.ones(n),
        robust=False,
    )
    return SideBlock(points, whitener)


def _unstraight(side: TracedSide) -> float:
    """Return how far (px, rms) the points of a side stand off a straight line: a stripe that ends there moves some."""
    if len(side.pixel) < 4:
        return 0.0
    out = (side.pixel - side.pixel[0]) @ side.normal[0]
    rest = out - np.polynomial.polynomial.polyval(side.along, np.polynomial.polynomial.polyfit(side.along, out, 1))
    return float(np.sqrt((rest**2).sum() / (len(rest) - 2)))
