"""Pages, cards and rectangles of known size found in a photo that nobody pointed them out in.

Even regions of several grey levels and colours are outlined; what is four-sided, fits the known proportions under
perspective and is of a likely size is traced. What shows all four sides and lies outside the opening is a candidate.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.page_sides import TracedQuad, trace_quad
from vision.priors import CameraPrior
from vision.profiles import LINEAR
from vision.request import Array
from vision.solve_pages import pose_misfit

SEARCH_LONG_SIDE_PX = {True: 1200, False: 1600}  # for pages; for cards, which are smaller
TRACED = 16  # the likeliest outlines are traced
LEVELS = 10  # of each colour channel
MIN_SHORT_PX = 16.0  # at full size
MAX_SHARE = 0.12  # of the photo: a reference that fills more leaves no room for an opening
FILL = 0.86  # of the four-sided outline; tape and a finger take some of it
MISFIT = 0.03  # of the size, against the known proportions: focal length and a curled corner
SEEN = 0.55  # of every side
EVEN = 0.05  # guess: standard deviation of square-root light inside a plain page, shadows left out
TINT = 0.2  # guess: how far from grey a page may look (the light's own colour)


@dataclass(frozen=True, slots=True, eq=False)
class FoundQuad:
    """A candidate: corners (4, 2) px, top left first, its trace, and how much it looks like the reference (0 to 1).

    `rare` (0 to 1) says how seldom its colours are elsewhere: those of a brick are common.
    """

    corners_px: Array
    traced: TracedQuad
    rating: float
    rare: float = 1.0


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
    small, scale = _reduced(rgb, SEARCH_LONG_SIDE_PX[plain])

    def likely(q: Array) -> bool:
        return _likely((q + 0.5) / scale - 0.5, size_mm, prior, rgb.shape[1::-1], opening_px)

    voted = _votes([(q + 0.5) / scale - 0.5 for q in outlines(small, MIN_SHORT_PX * scale, likely)])
    rated = []
    for q, votes in voted:
        if any(_overlap(q, k) for k in known_px):
            continue
        fit = pose_rating(q, size_mm, prior)
        rated.append((fit * np.sqrt(votes) * (evenness(rgb, q) if plain else 1.0), q))
    rated.sort(key=lambda r: -r[0])
    rough = [q for r, q in rated[:TRACED] if r > 0]
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
        rating = fit * traced.weakest * _stands_out(traced) * (evenness(rgb, traced.corners_px) if plain else 1.0)
        if rating > 0.05:
            found.append(FoundQuad(traced.corners_px, traced, rating))
    if not plain:
        found = _unlike_the_wall(small, scale, found, opening_px)
    found.sort(key=lambda f: -f.rating)
    kept: list[FoundQuad] = []
    for f in found:
        if not any(_overlap(f.corners_px, k.corners_px) for k in kept):
            kept.append(f)
    return kept


def outlines(small: NDArray[np.uint8], shortest: float, likely: Callable[[Array], bool]) -> list[Array]:
    """Return four-sided outlines (4, 2) px, top left first, of even regions at many levels and in several colours."""
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
    smallest = shortest**2
    largest = MAX_SHARE * small.shape[0] * small.shape[1]
    for n, mask in enumerate(masks):
        grown = (2.5 if n >= len(masks) - 2 else 0.5) * (0 if n < len(masks) - 2 else 1)
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            if len(contour) < 4 * shortest:
                continue
            _, _, width, height = cv2.boundingRect(contour)
            if min(width, height) < shortest or len(contour) > 2.4 * (width + height):
                continue
            area = cv2.contourArea(contour)
            if not smallest < area < largest or area < 0.4 * width * height:
                continue
            quad = _four_sided(np.asarray(contour), area, likely)
            if quad is not None:
                found.append(_from_top_left(_grown(quad, grown)))
    return found


def pose_rating(quad: Array, size_mm: tuple[float, float], prior: CameraPrior) -> float:
    """Return 0 to 1: how well a quadrilateral fits the known size, upright or lying, seen by the camera."""
    half = np.array(size_mm) / 2
    worst = min(pose_misfit(quad, half, prior), pose_misfit(quad, half[::-1], prior))
    return float(np.clip(1 - worst / MISFIT, 0, 1))


def _four_sided(contour: NDArray[np.generic], area: float, likely: Callable[[Array], bool]) -> Array | None:
    """Return the quadrilateral about a contour that it fills, as approximated from its hull; or None."""
    hull = cv2.convexHull(contour)  # type: ignore[arg-type]
    if area < 0.8 * cv2.contourArea(hull):
        return None
    length = cv2.arcLength(hull, True)
    for share in (0.02, 0.035, 0.06, 0.09):
        polygon = cv2.approxPolyDP(hull, share * length, True).reshape(-1, 2)
        if len(polygon) == 4:
            rough = np.asarray(polygon, float)
            if area < 0.75 * cv2.contourArea(polygon) or not likely(rough):
                return None
            rough = _from_top_left(rough)
            quad = _fitted(np.asarray(contour, float).reshape(-1, 2), rough)
            whole = quad is not None and area > FILL * cv2.contourArea(quad.astype(np.float32))
            return quad if whole else None
        if len(polygon) < 4:
            return None
    return None


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
    return np.asarray(middle + away * (1 + px / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1.0)))


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
    p = quad.tolist()
    if any(not (2 <= x <= w - 3 and 2 <= y <= h - 3) for x, y in p):
        return False
    lengths = [hypot(p[k][0] - p[k - 3][0], p[k][1] - p[k - 3][1]) for k in range(4)]
    shortest, longest = min(lengths), max(lengths)
    if shortest < MIN_SHORT_PX:
        return False
    # seen at up to 50 degrees a side is foreshortened to 0.64
    pair = sorted((lengths[0] + lengths[2], lengths[1] + lengths[3]))
    if not 0.64 < pair[1] / pair[0] / (max(size_mm) / min(size_mm)) < 1 / 0.64:
        return False
    middle = quad.mean(0)
    if opening is not None:
        out = cv2.pointPolygonTest(opening.astype(np.float32), (float(middle[0]), float(middle[1])), True)
        if out > -0.4 * shortest:
            return False
        # an opening of less than a foot or more than eight metres is none
        px_per_mm = longest / max(size_mm)
        wide = np.linalg.norm(opening[1] - opening[0]) / px_per_mm
        if not 200 < wide < 9000:
            return False
    return pose_rating(quad, size_mm, prior) > 0


def _votes(quads: Sequence[Array]) -> list[tuple[Array, int]]:
    """Return one of each group of like outlines, their median, with how many there are."""
    groups: list[list[Array]] = []
    for q in quads:
        size = 0.04 * np.sqrt(abs(cv2.contourArea(q.astype(np.float32)))) + 2
        for g in groups:
            if np.abs(q - g[0]).max() < size:
                g.append(q)
                break
        else:
            groups.append([q])
    return [(np.median(g, axis=0), len(g)) for g in groups]


def _overlap(a: Array, b: Array) -> bool:
    area, _ = cv2.intersectConvexConvex(a.astype(np.float32), b.astype(np.float32))
    smaller = min(abs(cv2.contourArea(a.astype(np.float32))), abs(cv2.contourArea(b.astype(np.float32))))
    return bool(area > 0.2 * smaller)


def evenness(rgb: NDArray[np.uint8], quad: Array) -> float:
    """Return 0 to 1: how even and untinted the inside of an outline is; half of it may lie in shadow."""
    size = 24
    to_square = cv2.getPerspectiveTransform(
        np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32), quad.astype(np.float32)
    )
    s = np.linspace(0.1, 0.9, size)
    grid = np.stack(np.meshgrid(s, s), -1).reshape(-1, 1, 2)
    at = np.asarray(cv2.perspectiveTransform(grid, np.asarray(to_square, float)), float).reshape(-1, 2)
    x, y = np.clip(np.rint(at).astype(int), 0, np.array(rgb.shape[1::-1]) - 1).T
    root = np.sqrt(LINEAR[rgb[y, x]]).astype(float)
    grey = root.mean(1)
    level = float(np.quantile(grey, [0.1, 0.9]).mean())
    halves = [g for g in (grey[grey >= level], grey[grey < level]) if len(g) > 20]
    spread = min(_spread(grey), max((_spread(g) for g in halves), default=1.0))
    tint = float(np.abs(np.median(root, axis=0) / max(float(np.median(root)), 1e-6) - 1).max())
    return float(np.exp(-0.5 * (spread / EVEN) ** 2) * np.exp(-0.5 * (tint / TINT) ** 2))


def _unlike_the_wall(
    small: NDArray[np.uint8], scale: float, found: Sequence[FoundQuad], opening_px: Array | None
) -> list[FoundQuad]:
    """Return the candidates rated anew: a brick has the colours of the wall and little contrast, a card has not."""
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB).astype(np.int64)
    bins = (lab[..., 0] >> 4) * 4096 + (lab[..., 1] >> 2) * 64 + (lab[..., 2] >> 2)
    around = np.ones(bins.shape, np.uint8)
    if opening_px is not None:
        cv2.fillPoly(around, [np.rint(opening_px * scale).astype(np.int32)], 0)
    most = max((min(s.contrast for s in f.traced.sides) for f in found), default=1.0)
    rated = []
    for f in found:
        inside = np.zeros(bins.shape, np.uint8)
        cv2.fillPoly(inside, [np.rint(f.corners_px * scale).astype(np.int32)], 1)
        own = np.bincount(bins[inside > 0], minlength=16 * 4096)
        others = np.bincount(bins[(inside == 0) & (around > 0)], minlength=16 * 4096)
        share = own / max(own.sum(), 1)
        rare = float((share / (1 + 0.5 * others / np.maximum(own, 1))).sum())
        contrast = min(s.contrast for s in f.traced.sides) / most
        rated.append(FoundQuad(f.corners_px, f.traced, f.rating * (0.3 + 0.7 * rare) * (0.5 + 0.5 * contrast), rare))
    return rated


def _spread(values: Array) -> float:
    """Return the standard deviation by the middle 80 %: a scribble does not count."""
    return float(np.diff(np.quantile(values, [0.1, 0.9]))[0]) / 2.563


def _stands_out(traced: TracedQuad) -> float:
    """Return 0 to 1: how alike the contrast is on all four sides."""
    contrast = np.array([s.contrast for s in traced.sides])
    return float(np.clip(contrast.min() / max(0.25 * float(np.median(contrast)), 0.004), 0, 1))


def _reduced(rgb: NDArray[np.uint8], long_side: int) -> tuple[NDArray[np.uint8], float]:
    """Return the picture reduced to a long side and smoothed a little, and its scale."""
    scale = min(1.0, long_side / max(rgb.shape))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else rgb
    return np.asarray(cv2.medianBlur(np.ascontiguousarray(small), 3), np.uint8), scale
