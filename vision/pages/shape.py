"""Whether the shape, size and place of a quadrilateral in a photo are those of a reference."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.priors import CameraPrior
from vision.request import Array
from vision.solving.solve_pages import pose_misfit

MIN_SHORT_PX = 16.0  # at full size
FORESHORTENED = 0.64  # a side seen at up to 50 degrees
MISFIT = 0.03  # of the size, against the known proportions: focal length and a curled corner


def pose_rating(quad: Array, size_mm: tuple[float, float], prior: CameraPrior) -> float:
    """Return 0 to 1: how well a quadrilateral (4, 2) px fits the known size, upright or lying, seen by the camera."""
    half = np.array(size_mm) / 2
    lengths = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    seen = (lengths[0] + lengths[2]) / max(lengths[1] + lengths[3], 1e-9)
    ways = [h for h in (half, half[::-1]) if FORESHORTENED < seen * h[1] / h[0] < 1 / FORESHORTENED]
    worst = min((pose_misfit(quad, h, prior) for h in ways), default=np.inf)
    return float(np.clip(1 - worst / MISFIT, 0, 1))


def placed(quads: Array, size_mm: tuple[float, float], photo: tuple[int, int]) -> NDArray[np.bool_]:
    """Return of quadrilaterals (N, 4, 2) px whether size and proportions allow a reference there."""
    w, h = photo
    inside = ((quads >= 2) & (quads <= [w - 3, h - 3])).all((1, 2))
    lengths = np.hypot(*np.moveaxis(np.roll(quads, -1, axis=1) - quads, 2, 0))
    pair = np.sort(lengths[:, :2] + lengths[:, 2:], axis=1)
    ratio = pair[:, 1] / np.maximum(pair[:, 0], 1e-9) / (max(size_mm) / min(size_mm))
    alike = (ratio > FORESHORTENED) & (ratio < 1 / FORESHORTENED)
    return np.asarray(inside & alike & (lengths.min(1) >= MIN_SHORT_PX))


def may_lie_beside(quad: Array, size_mm: tuple[float, float], opening: Array | None) -> bool:
    """Return whether a reference (4, 2) px may lie beside the opening (4, 2) px, which must be one by its size."""
    if opening is None:
        return True
    lengths = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    middle = quad.mean(0)
    out = cv2.pointPolygonTest(opening.astype(np.float32), (float(middle[0]), float(middle[1])), True)
    if out > -0.4 * lengths.min():
        return False
    # guess: openings are a foot to eight metres wide; 200 to 9000 mm with room for a slanting view
    px_per_mm = float(lengths.max()) / max(size_mm)
    return bool(200 < np.linalg.norm(opening[1] - opening[0]) / px_per_mm < 9000)


def voted(quads: Sequence[Array]) -> list[tuple[Array, int]]:
    """Return one of each group of like outlines (4, 2) px, their median, with how many there are."""
    groups: list[list[Array]] = []
    first = np.empty((len(quads), 4, 2))
    for q in quads:
        size = 0.04 * np.sqrt(abs(cv2.contourArea(q.astype(np.float32)))) + 2
        near = np.abs(first[: len(groups)] - q).max(axis=(1, 2)) < size
        if near.any():
            groups[int(near.argmax())].append(q)
        else:
            first[len(groups)] = q
            groups.append([q])
    return [(np.median(g, axis=0), len(g)) for g in groups]


def overlap(a: Array, b: Array) -> bool:
    """Return whether two convex outlines (4, 2) px share more than a fifth of the smaller one."""
    area, _ = cv2.intersectConvexConvex(a.astype(np.float32), b.astype(np.float32))
    smaller = min(abs(cv2.contourArea(a.astype(np.float32))), abs(cv2.contourArea(b.astype(np.float32))))
    return bool(area > 0.2 * smaller)
