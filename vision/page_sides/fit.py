"""One side of a page or card: the line through its edge positions, and its points as observations."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.request import Array

BINS = 12  # observations a side


@dataclass(frozen=True, slots=True, eq=False)
class TracedSide:
    """One side: edge points (N, 2) px, outward normals (N, 2), own u px of each, share of the side seen.

    `along` (N,) runs from 0 to 1 along the side, clockwise; `scatter_px` is that of single edge positions;
    `beside_px` is by how much what stands beside a smeared side may have moved it.
    """

    pixel: Array
    normal: Array
    u_px: Array
    along: Array
    seen: float
    scatter_px: float
    contrast: float
    beside_px: float = 0.0


def crossings(lines: Array) -> Array:
    """Return the corners (4, 2) of four lines (4, 3), a x + b y = c, in the order head, right, foot, left."""
    made = np.empty((4, 2))
    for i in range(4):
        pair = lines[[i - 1, i]]
        made[i] = np.linalg.solve(pair[:, :2], pair[:, 2]) if abs(np.linalg.det(pair[:, :2])) > 1e-6 else np.nan
    return made


def fitted_side(
    quad: Array, i: int, along: Array, shift: Array, height: Array, normal: Array
) -> tuple[TracedSide, Array] | None:
    """Return the line through a side's edge positions, as a traced side and as a, b, c (3,) of a x + b y = c.

    Parameters
    ----------
    quad : (4, 2) px, corners; `i` says which side of it.
    along, shift, height : (A,) place along the side 0..1, the edge's place px outward of it (NaN: none), its step.
    normal : (2,) outward.

    Notes
    -----
    Positions off the line are left out and the rest averaged in bins. None where fewer than six positions agree.
    """
    good = np.isfinite(shift)
    if good.sum() < 6:
        return None
    good &= height > 0.35 * np.median(height[good])
    t = 2 * along - 1
    keep = _consensus(t, shift, good)
    if keep.sum() < 6:
        return None
    degree = 2 if keep.sum() > 20 else 1  # a side of a far page is bent a little by the lens
    coefficients = np.zeros(3)
    for _ in range(4):
        coefficients = np.zeros(3)
        coefficients[: degree + 1] = np.polynomial.polynomial.polyfit(t[keep], shift[keep], degree)
        rest = shift - np.polynomial.polynomial.polyval(t, coefficients)
        spread = max(1.4826 * float(np.median(np.abs(rest[keep]))), 0.02)
        keep = good & (np.abs(np.nan_to_num(rest, nan=9.0)) < max(3.5 * spread, 0.1))
        if keep.sum() < 6:
            return None
    edges = np.linspace(0, len(t), min(BINS, max(int(keep.sum()) // 3, 2)) + 1).astype(int)
    a, b = quad[i], quad[(i + 1) % 4]
    points, levels, off, where = [], [], [], []
    for first, last in pairwise(edges):
        k = np.flatnonzero(keep[first:last]) + first
        if not len(k):
            continue
        s = float(along[k].mean())
        off.append(float(np.mean(rest[k])))
        level = float(off[-1] + np.polynomial.polynomial.polyval(2 * s - 1, coefficients))
        points.append(a + s * (b - a) + level * normal)
        levels.append(max(spread / np.sqrt(len(k)), 0.02))
        where.append(s)
    # stations side by side see the same grain: the scatter of the bins about the line counts where it is larger
    u, rough = np.array(levels), np.array(off)
    if len(rough) >= 5:
        u = np.maximum(u, 1.4826 * float(np.median(np.abs(rough - np.median(rough)))))
    ends = np.polynomial.polynomial.polyfit(t[keep], shift[keep], 1)
    p, q = a + (ends[0] - ends[1]) * normal, b + (ends[0] + ends[1]) * normal
    d = (q - p) / np.linalg.norm(q - p)
    n = np.array([d[1], -d[0]])
    count = len(points)
    side = TracedSide(
        np.array(points),
        np.tile(n, (count, 1)),
        u,
        np.array(where),
        float(keep.mean()),
        spread,
        float(np.median(height[keep])),
    )
    return side, np.array([*n, n @ p])


def _consensus(t: Array, shift: Array, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which positions lie on the line that most of them share (Fischler and Bolles 1981), all pairs of bins."""
    index = np.flatnonzero(good)
    picks = index[np.linspace(0, len(index) - 1, min(len(index), 24)).astype(int)]
    first, second = (picks[k] for k in np.triu_indices(len(picks), 1))
    apart = t[second] - t[first] >= 0.5
    first, second = first[apart], second[apart]
    if not len(first):
        return good
    slope = (shift[second] - shift[first]) / (t[second] - t[first])
    off = shift[index] - shift[first, None] - slope[:, None] * (t[index] - t[first, None])
    near = np.abs(off) < 0.35
    best = np.zeros_like(good)
    best[index] = near[int(near.sum(1).argmax())]
    return best
