"""Pages, cards and rectangles of known size found in a photo that nobody pointed them out in.

Even regions of several grey levels and colours are outlined; what is four-sided, fits the known proportions under
perspective and is of a likely size is traced. What shows all four sides and lies outside the opening is a candidate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.page_sides import TracedQuad, trace_quad
from vision.priors import CameraPrior
from vision.profiles import LINEAR
from vision.request import Array
from vision.solve_pages import pose_misfit

SEARCH_LONG_SIDE_PX = 1600
LEVELS = 10  # of each colour channel
MIN_SHORT_PX = 16.0  # at full size
MAX_SHARE = 0.12  # of the photo: a reference that fills more leaves no room for an opening
FILL = 0.86  # of the four-sided outline; tape and a finger take some of it
MISFIT = 0.03  # of the size, against the known proportions: focal length and a curled corner
SEEN = 0.55  # of every side
EVEN = 0.05  # guess: standard deviation of square-root light inside a plain page, shadows left out
WHITE = 0.06  # guess: how far from grey a page may look (the light's own colour)
RIVAL = 0.6  # guess: a candidate nearly as good as the best


@dataclass(frozen=True, slots=True, eq=False)
class FoundQuad:
    """A candidate: corners (4, 2) px, top left first, its trace, and how much it looks like the reference (0 to 1)."""

    corners_px: Array
    traced: TracedQuad
    rating: float


def find_quads(
    rgb: NDArray[np.uint8],
    size_mm: tuple[float, float],
    prior: CameraPrior,
    *,
    plain: bool,
    corner_mm: float,
    opening_px: Array | None = None,
    known_px: Sequence[Array] = (),
) -> list[FoundQuad]:
    """Return the candidates, best first, none overlapping another or a known one.

    Parameters
    ----------
    plain : a page, white and even; else a card or rectangle of any colours.
    corner_mm : left out at each end of a side.
    opening_px : rough corners (4, 2) of the opening: nothing inside it is a reference.
    known_px : outlines of references already known.
    """
    rough = [q for q in outlines(rgb) if _likely(q, size_mm, prior, rgb.shape[1::-1], opening_px)]
    rough = _distinct([(q, pose_rating(q, size_mm, prior)) for q in rough], known_px)
    found = []
    for q in rough:
        lengths = np.linalg.norm(np.roll(q, -1, axis=0) - q, axis=1)
        short, long = min(size_mm), max(size_mm)
        across = (long, short) if lengths[[0, 2]].sum() > lengths[[1, 3]].sum() else (short, long)
        out = (min(corner_mm / across[0], 0.2), min(corner_mm / across[1], 0.2))
        reach = float(np.clip(0.05 * lengths.min(), 3.0, 0.004 * max(rgb.shape)))
        traced = trace_quad(rgb, q, reach, out)
        if traced is None or traced.weakest < SEEN:
            continue
        fit = pose_rating(traced.corners_px, size_mm, prior)
        if fit <= 0:
            continue
        rating = fit * traced.weakest * _looks(rgb, traced, plain)
        if rating > 0.05:
            found.append(FoundQuad(traced.corners_px, traced, rating))
    found.sort(key=lambda f: -f.rating)
    kept: list[FoundQuad] = []
    for f in found:
        if not any(_overlap(f.corners_px, k.corners_px) for k in kept):
            kept.append(f)
    return kept


def outlines(rgb: NDArray[np.uint8]) -> list[Array]:
    """Return four-sided outlines (4, 2) px, top left first, of even regions at many levels and in several colours."""
    scale = min(1.0, SEARCH_LONG_SIDE_PX / max(rgb.shape))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else rgb
    small = cv2.medianBlur(np.ascontiguousarray(small), 3)
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB)
    hsv = cv2.cvtColor(small, cv2.COLOR_RGB2HSV)
    masks: list[NDArray[np.uint8]] = []
    for channel in (lab[..., 0], lab[..., 1], lab[..., 2], hsv[..., 1]):
        low, high = np.percentile(channel, [2, 99.7])
        for level in np.linspace(low, high, LEVELS + 2)[1:-1]:
            masks.append(np.asarray(channel > level, np.uint8) * 255)
    for block in (31, 81):
        for offset in (-4, -10, 4, 10):
            how = cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY
            masks.append(np.asarray(cv2.adaptiveThreshold(lab[..., 0], 255, *how, block, offset), np.uint8))
    found_edges = [cv2.Canny(lab[..., i], low, high) for i, low, high in ((0, 25, 60), (1, 15, 40), (2, 15, 40))]
    edges = np.maximum.reduce([np.asarray(e, np.uint8) for e in found_edges])
    masks += [np.asarray(255 - cv2.dilate(edges, np.ones((k, k), np.uint8)), np.uint8) for k in (2, 3)]
    found = []
    smallest = (MIN_SHORT_PX * scale) ** 2
    largest = MAX_SHARE * small.shape[0] * small.shape[1]
    for n, mask in enumerate(masks):
        grown = (2.5 if n >= len(masks) - 2 else 0.5) * (0 if n < len(masks) - 2 else 1)
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            if len(contour) < 4 * MIN_SHORT_PX * scale:
                continue
            _, _, width, height = cv2.boundingRect(contour)
            if min(width, height) < MIN_SHORT_PX * scale or len(contour) > 2.4 * (width + height):
                continue
            area = cv2.contourArea(contour)
            if not smallest < area < largest or area < 0.4 * width * height:
                continue
            for quad in _four_sided(contour, area):
                found.append((_from_top_left(_grown(quad, grown)) + 0.5) / scale - 0.5)
    return found


def pose_rating(quad: Array, size_mm: tuple[float, float], prior: CameraPrior) -> float:
    """Return 0 to 1: how well a quadrilateral fits the known size, upright or lying, seen by the camera."""
    half = np.array(size_mm) / 2
    worst = min(pose_misfit(quad, half, prior), pose_misfit(quad, half[::-1], prior))
    return float(np.clip(1 - worst / MISFIT, 0, 1))


def _four_sided(contour: NDArray[np.int32], area: float) -> list[Array]:
    """Return the quadrilateral about a contour that it fills, as approximated from its hull; or nothing."""
    hull = cv2.convexHull(contour)
    hull_area = cv2.contourArea(hull)
    if area < 0.8 * hull_area:
        return []
    length = cv2.arcLength(hull, True)
    for share in (0.02, 0.03, 0.045, 0.065, 0.09):
        polygon = cv2.approxPolyDP(hull, share * length, True).reshape(-1, 2)
        if len(polygon) == 4:
            quad = _fitted(np.asarray(contour, float).reshape(-1, 2), polygon.astype(float))
            return [quad] if quad is not None and area > FILL * cv2.contourArea(quad.astype(np.float32)) else []
        if len(polygon) < 4:
            return []
    return []


def _fitted(contour: Array, quad: Array) -> Array | None:
    """Return the quadrilateral of robust lines through the contour's points nearest to each side's middle part."""
    lines = np.empty((4, 3))
    for i in range(4):
        a, b = quad[i], quad[(i + 1) % 4]
        length = float(np.linalg.norm(b - a))
        if length < 6:
            return None
        d = (b - a) / length
        t, off = (contour - a) @ d / length, (contour - a) @ np.array([-d[1], d[0]])
        near = contour[(t > 0.12) & (t < 0.88) & (np.abs(off) < max(0.08 * length, 3.0))]
        if len(near) < 5:
            return None
        vx, vy, x, y = np.asarray(cv2.fitLine(near.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01), float).ravel()
        lines[i] = [-vy, vx, -vy * x + vx * y]
    made = np.empty((4, 2))
    for i in range(4):
        pair = lines[[i - 1, i]]
        if abs(np.linalg.det(pair[:, :2])) < 0.2:
            return None
        made[i] = np.linalg.solve(pair[:, :2], pair[:, 2])
    return made


def _grown(quad: Array, px: float) -> Array:
    middle = quad.mean(0)
    away = quad - middle
    return middle + away * (1 + px / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1.0))


def _from_top_left(quad: Array) -> Array:
    """Return the corners clockwise in the picture from the top left one."""
    middle = quad.mean(0)
    turn = np.arctan2(*(quad - middle).T[::-1])
    ordered = quad[np.argsort(turn)]  # clockwise on a y-down picture
    return np.roll(ordered, -int(np.argmin(ordered.sum(1))), axis=0)


def _likely(
    quad: Array, size_mm: tuple[float, float], prior: CameraPrior, photo: tuple[int, int], opening: Array | None
) -> bool:
    """Return whether place, size and proportions allow a reference there."""
    w, h = photo
    if (quad < 2).any() or (quad > np.array([w - 3, h - 3])).any():
        return False
    lengths = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    if lengths.min() < MIN_SHORT_PX:
        return False
    # seen at up to 50 degrees a side is foreshortened to 0.64
    ratio = np.sort([lengths[[0, 2]].mean(), lengths[[1, 3]].mean()])
    if not 0.64 < ratio[1] / ratio[0] / (max(size_mm) / min(size_mm)) < 1 / 0.64:
        return False
    middle = quad.mean(0)
    if opening is not None:
        out = cv2.pointPolygonTest(opening.astype(np.float32), (float(middle[0]), float(middle[1])), True)
        if out > -0.4 * lengths.min():
            return False
        # an opening of less than a foot or more than eight metres is none
        px_per_mm = lengths.max() / max(size_mm)
        wide = np.linalg.norm(opening[1] - opening[0]) / px_per_mm
        if not 200 < wide < 9000:
            return False
    return pose_rating(quad, size_mm, prior) > 0


def _distinct(rated: list[tuple[Array, float]], known: Sequence[Array]) -> list[Array]:
    """Return one of each group of like outlines, the best fitting; none over a known one."""
    kept: list[Array] = []
    for q, _ in sorted(rated, key=lambda r: -r[1]):
        size = np.sqrt(abs(cv2.contourArea(q.astype(np.float32))))
        if any(_overlap(q, k) for k in known):
            continue
        if not any(np.abs(q - k).max() < 0.06 * size + 2 for k in kept):
            kept.append(q)
    return kept[:60]


def _overlap(a: Array, b: Array) -> bool:
    area, _ = cv2.intersectConvexConvex(a.astype(np.float32), b.astype(np.float32))
    smaller = min(abs(cv2.contourArea(a.astype(np.float32))), abs(cv2.contourArea(b.astype(np.float32))))
    return bool(area > 0.2 * smaller)


def _looks(rgb: NDArray[np.uint8], traced: TracedQuad, plain: bool) -> float:
    """Return 0 to 1: how much the inside looks like the reference, and how well it stands out on all sides."""
    corners = traced.corners_px
    to_square = cv2.getPerspectiveTransform(
        corners.astype(np.float32), np.array([[0, 0], [48, 0], [48, 48], [0, 48]], np.float32)
    )
    square = cv2.warpPerspective(rgb, to_square, (48, 48), flags=cv2.INTER_AREA)[5:-5, 5:-5]
    root = np.sqrt(LINEAR[square]).reshape(-1, 3).astype(float)
    contrast = np.array([s.contrast for s in traced.sides])
    stands_out = float(np.clip(contrast.min() / max(0.25 * float(np.median(contrast)), 0.004), 0, 1))
    if not plain:
        return stands_out
    grey = root.mean(1)
    # a shadow may lie over half of it: even on either side of it
    level = np.median(grey)
    halves = [g for g in (grey[grey >= level], grey[grey < level]) if len(g)]
    spread = min(float(np.std(grey)), max(float(np.std(g)) for g in halves))
    tint = float(np.abs(np.median(root, axis=0) / max(float(np.median(root)), 1e-6) - 1).max())
    return stands_out * float(np.exp(-0.5 * (spread / EVEN) ** 2) * np.exp(-0.5 * (tint / (4 * WHITE)) ** 2))
