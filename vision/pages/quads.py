"""Four-sided outlines of even regions in a reduced photo, at many levels and in several colours."""

from __future__ import annotations

from collections.abc import Callable
from math import atan2, hypot

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array

MAX_SHARE = 0.12  # of the photo: a reference that fills more leaves no room for an opening
FILL = 0.86  # of the four-sided outline; tape and a finger take some of it


def outlines(
    small: NDArray[np.uint8],
    shortest: float,
    likely: Callable[[Array], bool],
    levels: int = 10,
    worth: Callable[[Array], NDArray[np.bool_]] | None = None,
    *,
    coloured: bool = True,
) -> list[Array]:
    """Return four-sided outlines (4, 2) px, top left first, of even regions at many levels and in several colours.

    `worth` says of boxes (N, 4) px (left, top, width, height), all at once, which may hold one; `likely` of an outline.
    `coloured` asks for levels of hue too, not of lightness and saturation alone.
    """
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB)
    hsv = cv2.cvtColor(small, cv2.COLOR_RGB2HSV)
    masks: list[NDArray[np.uint8]] = []
    for channel in (lab[..., 0], hsv[..., 1], lab[..., 1], lab[..., 2])[: 4 if coloured else 2]:
        low, high = np.percentile(channel, [2, 99.7])
        for level in np.linspace(low, high, levels + 2)[1:-1]:
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
        kept = []
        for contour in contours:
            if len(contour) < 4 * shortest:
                continue
            box = cv2.boundingRect(contour)
            width, height = box[2], box[3]
            if min(width, height) < shortest or len(contour) > 2.4 * (width + height):
                continue
            area = cv2.contourArea(contour)
            if not smallest < area < largest or area < 0.4 * width * height:
                continue
            kept.append((np.asarray(contour), area, box))
        if worth is not None and kept:
            good = worth(np.array([box for _, _, box in kept], float))
            kept = [k for k, may in zip(kept, good, strict=True) if may]
        for outline, area, _ in kept:
            quad = _four_sided(outline, area, likely)
            if quad is not None:
                found.append(_from_top_left(_grown(quad, grown) if grown else quad))
    return found


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
    lines: list[tuple[float, float, float]] = []
    for i in range(4):
        (ax, ay), (bx, by) = quad[i].tolist(), quad[(i + 1) % 4].tolist()
        length = hypot(bx - ax, by - ay)
        if length < 6:
            return None
        dx, dy = (bx - ax) / length, (by - ay) / length
        t = (contour @ np.array([dx, dy]) - (ax * dx + ay * dy)) / length
        off = contour @ np.array([-dy, dx]) - (ay * dx - ax * dy)
        near = contour[(t > 0.12) & (t < 0.88) & (np.abs(off) < max(0.08 * length, 3.0))]
        if len(near) < 5:
            return None
        fit = cv2.fitLine(near.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01)
        vx, vy, x, y = (float(v) for v in np.ravel(fit))
        lines.append((-vy, vx, -vy * x + vx * y))
    made = np.empty((4, 2))
    for i in range(4):
        (a, b, c), (d, e, f) = lines[i - 1], lines[i]
        turn = a * e - b * d
        if abs(turn) < 0.2:
            return None
        made[i] = (c * e - b * f) / turn, (a * f - c * d) / turn
    return made


def _grown(quad: Array, px: float) -> Array:
    middle = quad.mean(0)
    away = quad - middle
    return np.asarray(middle + away * (1 + px / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1.0)))


def _from_top_left(quad: Array) -> Array:
    """Return the corners clockwise in the picture from the top left one."""
    p = quad.tolist()  # NumPy takes ten times as long for four points
    mx, my = (sum(v) / 4 for v in zip(*p, strict=True))
    order = sorted(range(4), key=lambda k: atan2(p[k][1] - my, p[k][0] - mx))  # clockwise on a y-down picture
    first = min(range(4), key=lambda n: sum(p[order[n]]))
    return np.asarray(quad[order[first:] + order[:first]])
