"""The outline of the paper around a printed sheet, in mm of its pattern.

The pattern is centred on a Letter or A4 page: the ratio of outline to pattern tells which, and at what scale it was
printed. A person prints 'fit to page' (2 to 8 % smaller) without noticing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import project
from vision.observations import PhotoState, reference_points
from vision.page_sides.traced import TracedQuad, trace_quad
from vision.priors import PAGE_SIZE_MM, PAPER, U_PAGE_MM
from vision.request import Array
from vision.sheets import sheet

HALF_MM = np.array([108.0, 140.0])  # where the bulge of a sheet vanishes, as in its adjustment
PRINTED = (0.9, 1.06)  # scales that are looked for
SEEN = 0.4  # of every side
U_SIDE_PX = 0.25  # shadow and curl beside the edge of taped paper (a guess)
U_ALONE_MM = 0.25  # of each side by itself, as cut and as it lies (a guess)
CORNER = 0.1  # of a side, left out: corners curl
UNFIT = 9.0  # of the square of the misfit over its variance: neither paper


@dataclass(frozen=True, slots=True)
class PageScale:
    """What an outline says of the print: paper, scale across and along with their standard uncertainty."""

    paper: str
    across: float
    along: float
    u_across: float
    u_along: float

    @property
    def common(self) -> tuple[float, float]:
        """Scale and standard uncertainty if both directions have one."""
        w = np.array([self.u_across, self.u_along]) ** -2.0
        return float((w * [self.across, self.along]).sum() / w.sum()), float(w.sum() ** -0.5)


def page_scale(rgb: NDArray[np.uint8], state: PhotoState, i: int) -> PageScale | None:
    """Return the print scale of sheet `i` by the outline of its paper, None where that does not show on all sides.

    Parameters
    ----------
    rgb : (H, W, 3) uint8.
    state : adjusted with the sheets' pattern; its size correction is taken out again.
    """
    best: tuple[float, PageScale] | None = None
    for start in PAPER:
        size = outline_mm(rgb, state, i, np.array(PAGE_SIZE_MM[start]))
        if size is None:
            continue
        measured, u = size
        for paper in PAPER:
            true = np.array(PAGE_SIZE_MM[paper])
            scale = true / measured
            u_scale = scale * np.hypot(np.array(U_PAGE_MM[paper]) / true, u / measured)
            misfit = float((scale[0] - scale[1]) ** 2 / (u_scale**2).sum())
            found = PageScale(paper, *(float(v) for v in (*scale, *u_scale)))
            inside = PRINTED[0] < found.common[0] < PRINTED[1]
            if inside and misfit < UNFIT and (best is None or misfit < best[0]):
                best = misfit, found
    return None if best is None else best[1]


def outline_mm(rgb: NDArray[np.uint8], state: PhotoState, i: int, guess_mm: Array) -> tuple[Array, Array] | None:
    """Return width and height (2,) of the paper in mm of the nominal pattern, near a guess, and their u (2,) mm.

    Each side must stand about as far out as its fellow: the pattern is centred.
    """
    half = guess_mm / 2
    corners = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
    quad = _seen(state, i, corners)
    if not np.isfinite(quad).all() or (quad < 3).any() or (quad > np.array(rgb.shape[1::-1]) - 4).any():
        return None
    px_per_mm = float(np.linalg.norm(quad[1] - quad[0])) / guess_mm[0]
    margin = (guess_mm - [sheet.WIDTH_MM, sheet.HEIGHT_MM]) / 2
    reach = min(0.6 * float(margin.min()) + 4.0, 12.0) * px_per_mm
    traced = trace_quad(rgb, quad, reach, (CORNER, CORNER))
    if traced is None or traced.weakest < SEEN:
        return None
    out = np.array([_stands_out(state, i, traced, k, corners) for k in range(4)])
    u = np.array([U_SIDE_PX + s.scatter_px for s in traced.sides]) / px_per_mm
    u = np.hypot(u, U_ALONE_MM)
    if np.abs(out[0] - out[2]) > 8.0 or np.abs(out[1] - out[3]) > 8.0:
        return None
    size = guess_mm + np.array([out[1] + out[3], out[0] + out[2]])
    return size, np.array([np.hypot(u[1], u[3]), np.hypot(u[0], u[2])])


def _seen(state: PhotoState, i: int, plane_mm: Array) -> Array:
    """Return pixels (N, 2) of points (N, 2) mm of the nominal pattern from its middle."""
    return project(state.camera, reference_points(state, i, plane_mm, HALF_MM)[0])


def _stands_out(state: PhotoState, i: int, traced: TracedQuad, k: int, corners: Array) -> float:
    """Return how far (mm) side `k` as traced stands outward of where the guess has it."""
    side = traced.sides[k]
    a, b = corners[k], corners[(k + 1) % 4]
    at = a + side.along[:, None] * (b - a)
    d = (b - a) / np.linalg.norm(b - a)
    outward = np.array([d[1], -d[0]])
    here, out = _seen(state, i, at), _seen(state, i, at + outward)
    normal = side.normal
    return float(np.median(((side.pixel - here) * normal).sum(1) / ((out - here) * normal).sum(1)))
