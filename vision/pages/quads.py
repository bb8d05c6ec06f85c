"""Four-sided outlines of even regions in a reduced photo, grouped where many masks of it show the same one.

A brick wall has thousands. What is asked of all is asked of arrays; what costs more is asked of groups, those that most
masks show first, and of a bounded number of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from math import hypot, sqrt

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pages.masks import Mask, masks, paper_masks
from vision.pages.part_hidden import FILLED, straight_sides
from vision.request import Array

MAX_SHARE = 0.12  # of the photo: a reference that fills more leaves no room for an opening
FILL = 0.86  # of the four-sided outline; tape and a finger take some of it
AROUND, AROUND_HIDDEN = 2.4, 3.2  # of width and height of its box: how long it may be
CLOSE = 0.02  # of its length: what is a quadrilateral only more roughly may have lost a corner
CUT = 0.93  # of the corners' area: an outline that fills less may have lost some to tape
ON_PX = 1.5  # of a point to the side that it lies on
FITTED = 6  # of a group: more tell no more
ALIKE, ALIKE_PX = 0.1, 1.5  # of the size, and px: how far corners of rough outlines of one thing differ

Asked = Callable[[Array], NDArray[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A contour (N, 1, 2) px, its area, and rough corners (4, 2) px, top left first.

    The region reaches `out` px farther. `hidden`: something may hide parts of its sides.
    """

    contour: NDArray[np.generic]
    area: float
    rough: Array
    out: float
    hidden: bool = False


def outline_groups(
    small: NDArray[np.uint8],
    shortest: float,
    likely: Asked,
    worth: Asked,
    levels: int = 10,
    *,
    coloured: bool = True,
    hidden: bool = False,
) -> list[list[Outline]]:
    """Return four-sided outlines of even regions at many levels and in several colours, those of one thing together.

    `coloured` asks for levels of hue too, not of lightness and saturation alone, `hidden` for outlines of which
    something hides corners or parts. For the rest see `groups_in`.
    """
    made = masks(small, levels, coloured=coloured)
    return groups_in(chain(made, paper_masks(small, shortest**2)) if hidden else made, shortest, likely, worth, hidden)


def groups_in(
    made: Iterable[tuple[Mask, float]], shortest: float, likely: Asked, worth: Asked, hidden: bool = False
) -> list[list[Outline]]:
    """Return four-sided outlines of masks, each with by how much (px) it shows them too small; those alike together.

    `worth` says of boxes (N, 4) px (left, top, width, height) which may hold one, `likely` of corners (N, 4, 2) px.
    The largest group comes first.
    """
    seen: list[Outline] = []
    smallest = shortest**2
    around = AROUND_HIDDEN if hidden else AROUND
    for mask, out in made:
        largest = MAX_SHARE * mask.size
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        kept = []
        for contour in contours:
            if len(contour) < 4 * shortest:
                continue
            box = cv2.boundingRect(contour)
            width, height = box[2], box[3]
            if min(width, height) < shortest or len(contour) > around * (width + height):
                continue
            area = cv2.contourArea(contour)
            if not smallest < area < largest or area < 0.4 * width * height:
                continue
            kept.append((np.asarray(contour), area, box))
        good = worth(np.array([box for _, _, box in kept], float).reshape(-1, 4))
        sound = []
        for (contour, area, _), may in zip(kept, good, strict=True):
            quad, close = _four_sided(contour, area) if may else (None, False)
            if may and hidden and quad is None:  # its box, until its straight sides are looked for
                quad = cv2.boxPoints(cv2.minAreaRect(contour))
            if quad is not None:
                sound.append((contour, area, quad, hidden and not close))
        if not sound:
            continue
        rough = _from_top_left(np.array([q for _, _, q, _ in sound], float))
        may = likely(rough)
        seen += [Outline(c, a, q, out, h) for (c, a, _, h), q, m in zip(sound, rough, may, strict=True) if m]
    return _grouped(seen)


def fitted(group: Sequence[Outline]) -> list[Array]:
    """Return the outlines (4, 2) px of a group, of some where it has many, as lines along their contours cross."""
    some = [group[k] for k in np.unique(np.linspace(0, len(group) - 1, FITTED).astype(int))]
    made, out = [], []
    for o in some:
        points = np.asarray(o.contour, float).reshape(-1, 2)
        straight = straight_sides(o.contour, o.area) if o.hidden else None
        ways = [(_fitted(points, o.rough, 0.08, 3.0), FILL)]
        if straight is not None:
            ways.append((_fitted(points, _from_top_left(straight[None])[0], 0.03, 1.5), FILLED))
        sound = [q for q, fill in ways if q is not None and o.area > fill * cv2.contourArea(q.astype(np.float32))]
        if sound:
            made.append(sound[0] if len(sound) == 1 else max(sound, key=lambda q: _on_sides(points, q)))
            out.append(o.out)
    if not made:
        return []
    return [_grown(q, px) if px else q for q, px in zip(_from_top_left(np.array(made)), out, strict=True)]


def _four_sided(contour: NDArray[np.generic], area: float) -> tuple[NDArray[np.generic] | None, bool]:
    """Return the corners of a contour that it fills, as approximated from its hull, and whether closely; or None."""
    hull = cv2.convexHull(contour)  # type: ignore[arg-type]
    if area < 0.8 * cv2.contourArea(hull):
        return None, False
    length = cv2.arcLength(hull, True)
    for share in (0.02, 0.035, 0.06, 0.09):
        polygon = cv2.approxPolyDP(hull, share * length, True)
        if len(polygon) == 4:
            whole = cv2.contourArea(polygon)
            quad = np.asarray(polygon).reshape(4, 2) if area >= 0.75 * whole else None
            return quad, share <= CLOSE and area >= CUT * whole
        if len(polygon) < 4:
            break
    return None, False


def _grouped(seen: Sequence[Outline]) -> list[list[Outline]]:
    """Return outlines in groups of like corners, the largest first."""
    groups: list[list[Outline]] = []
    first = np.empty((len(seen), 8))
    for o in seen:
        corners = o.rough.reshape(8)
        near = np.abs(first[: len(groups)] - corners).max(axis=1, initial=0) < ALIKE * sqrt(o.area) + ALIKE_PX
        k = int(near.argmax()) if groups else 0
        if groups and near[k]:
            groups[k].append(o)
        else:
            first[len(groups)] = corners
            groups.append([o])
    return sorted(groups, key=len, reverse=True)


def _fitted(contour: Array, quad: Array, share: float, px: float) -> Array | None:
    """Return the quadrilateral of robust lines through the contour's points near each side's middle part.

    They lie within a `share` of its length, or `px`.
    """
    lines: list[tuple[float, float, float]] = []
    for i in range(4):
        (ax, ay), (bx, by) = quad[i].tolist(), quad[(i + 1) % 4].tolist()
        length = hypot(bx - ax, by - ay)
        if length < 6:
            return None
        dx, dy = (bx - ax) / length, (by - ay) / length
        t = (contour @ np.array([dx, dy]) - (ax * dx + ay * dy)) / length
        off = contour @ np.array([-dy, dx]) - (ay * dx - ax * dy)
        near = contour[(t > 0.12) & (t < 0.88) & (np.abs(off) < max(share * length, px))]
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


def _on_sides(points: Array, quad: Array) -> float:
    """Return the share of points (N, 2) that lie on the sides of a quadrilateral."""
    d = np.roll(quad, -1, axis=0) - quad
    normal = np.column_stack([d[:, 1], -d[:, 0]]) / np.maximum(np.hypot(*d.T), 1e-9)[:, None]
    off = np.abs(points @ normal.T - (quad * normal).sum(1)).min(1)
    return float((off < ON_PX).mean())


def _grown(quad: Array, px: float) -> Array:
    middle = quad.mean(0)
    away = quad - middle
    return np.asarray(middle + away * (1 + px / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1.0)))


def _from_top_left(quads: Array) -> Array:
    """Return the corners of each of (N, 4, 2) clockwise in the picture from the top left one."""
    out = quads - quads.mean(1, keepdims=True)
    order = np.argsort(np.arctan2(out[..., 1], out[..., 0]), axis=1)  # clockwise on a y-down picture
    round_ = np.take_along_axis(quads, order[..., None], axis=1)
    first = round_.sum(2).argmin(1)
    return np.asarray(np.take_along_axis(round_, (first[:, None] + np.arange(4))[..., None] % 4, axis=1))
