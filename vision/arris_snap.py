"""From the border of what is unlike the wall to the lines that a tape would touch.

A reveal may have the wall's colours, lit like the wall: the region then ends at the frame. What helps: along the whole
side the colour steps at the arris; courses of the wall go on beyond the corners, edges end there; and all four sides
of the frame stand equally deep, so each arris is seen f * depth / D outside the frame, where f is the distance of that
side from the camera's foot on the wall and D the camera's distance (similar triangles).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import SIDES, Array, Side
from vision.wall_mask import PITCH_MM, Mask, WallView

REACH_MM = 240.0
REVEAL_MM = 220.0  # no frame stands deeper behind the edge
TALLER = (0.16, 0.6)  # how much taller the head board may be than the jambs', trim outside or inside the region
TRIM_MM, TRIM_ALIKE_MM = 45.0, 9.0  # a trim is at least so wide, and alike on all sides
STEP_T, STEP_LAB = 5.0, 4.0  # a step along a side: against its scatter, and in Lab units
PLACE_MM = 7.0  # how well such a step is placed
VAGUE_MM = 60.0  # a depth less sure than this predicts nothing
SEEN_MM = 6.0  # a reveal narrower than this in the picture is not told from none
BORDER_MM = 18.0  # how far a region's border stands from its line
INSIDE_MM = 130.0  # a frame shows within so much of an edge
FAINT = 0.2  # an arris before a frame is seen by at least this share of the step at the frame
SILL_FALL = 0.17  # guess: sills fall outward by up to 10 degrees
JAMBS: tuple[Side, Side] = ("left", "right")
LEVELS: tuple[Side, Side] = ("head", "sill")
ENDS: Mapping[Side, tuple[int, int]] = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}
NORMAL: Mapping[Side, tuple[float, float]] = {"head": (0, -1), "right": (1, 0), "sill": (0, 1), "left": (-1, 0)}


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Steps along one side: offsets mm outward from the border, sizes in Lab; the border's mm from the foot."""

    at: Array
    size: Array
    foot: float

    def nearest(self, place: float, within: float) -> float | None:
        """Return the step nearest to a place, if any."""
        off = np.abs(self.at - place)
        return float(self.at[np.argmin(off)]) if (off <= within).any() else None

    def strong(self, place: float) -> float:
        """Return the size of the step at a place."""
        return float(self.size[np.argmin(np.abs(self.at - place))])

    def outermost(self, inner: float, outer: float) -> float | None:
        """Return the outermost step between two offsets, if any."""
        there = self.at[(self.at > inner) & (self.at < outer)]
        return float(there.max()) if len(there) else None


def snap(view: WallView, corners: Array, foot: Array, distance_mm: float, other: Mask, *, trimmed: bool) -> Array | str:
    """Return the corners (4, 2) px moved to the edges, or what leaves them open.

    Parameters
    ----------
    view : the rectified wall.
    corners : (4, 2) px of the view, of the region unlike the wall.
    foot : (2,) px, foot of the camera on the wall.
    distance_mm : camera to wall.
    other : (H, W) pixels unlike the wall.
    trimmed : the edge is the inner side of a trim.
    """
    lines = {s: _lines(view, corners, foot, s, other) for s in SIDES}
    shifts = _trimmed(lines) if trimmed else _plain(lines, distance_mm)
    if isinstance(shifts, str):
        return shifts
    moved = corners.copy()
    for s in SIDES:
        moved[list(ENDS[s])] += shifts[s] / PITCH_MM * np.array(NORMAL[s])
    return moved


def _plain(lines: Mapping[Side, _Lines], distance: float) -> dict[Side, float] | str:
    """Return outward shifts mm of the sides of an opening without trim."""
    reveals: dict[Side, list[float]] = {}
    for s in JAMBS:
        side = lines[s]
        reach = max(side.foot, 0.0) * REVEAL_MM / distance + 10.0
        reveals[s] = [float(x) for x in side.at if -12.0 < x < reach]
        beyond = ((side.at > reach) & (side.at < reach + BORDER_MM)).any()
        if not reveals[s] or (beyond and max(reveals[s]) <= SEEN_MM):
            return f"no line runs along the {s} jamb where it must be"
    if _deep_as_a_frame(lines, reveals, distance):
        return "frame and edge could be taken for each other at the jambs"
    jambs = _jambs(reveals, lines, distance)
    if isinstance(jambs, str):
        return jambs
    shifts, depth = jambs
    for s in LEVELS:
        side = lines[s]
        fall = SILL_FALL * depth if s == "sill" else 0.0
        ahead = max(side.foot, 0.0) * depth / distance
        outside = side.nearest(ahead + 0.5 * fall, PLACE_MM + 0.2 * ahead + 0.5 * fall) if ahead > SEEN_MM else None
        inside = side.nearest(-ahead, PLACE_MM + 0.3 * ahead) if ahead > BORDER_MM else None
        border = side.outermost(-12.0, 26.0 if s == "sill" else BORDER_MM)
        if outside is not None and (inside is None or side.strong(outside) > FAINT * side.strong(inside)):
            shifts[s] = outside
        elif border is not None and (inside is not None or s == "head" or ahead <= BORDER_MM):
            shifts[s] = border  # a soffit lies in the shade: the line at its arris is seen
        elif border is None and s == "sill":
            shifts[s] = 0.0  # the region ends where a sill begins
        else:
            return f"edge and frame could be taken for each other at the {s}"
    return shifts


def _deep_as_a_frame(lines: Mapping[Side, _Lines], reveals: Mapping[Side, list[float]], distance: float) -> bool:
    """Return whether outside both jambs a further line stands equally deep before them: they are those of a frame."""
    depths = []
    for s in JAMBS:
        outer = max(reveals[s])
        if lines[s].foot < SEEN_MM:
            return False
        at = lines[s].at
        further = at[(at > outer + BORDER_MM) & (lines[s].size > FAINT * lines[s].strong(outer))] - outer
        depths.append(further * distance / (lines[s].foot + outer))
    u = PLACE_MM * distance * float(np.hypot(1 / lines["left"].foot, 1 / lines["right"].foot))
    x, y = (d[d < REVEAL_MM] for d in depths)
    return bool((np.abs(x[:, None] - y) < u).any())


def _jambs(
    reveals: Mapping[Side, list[float]], lines: Mapping[Side, _Lines], distance: float
) -> tuple[dict[Side, float], float] | str:
    """Return shifts mm of the jambs and the frame's depth mm, 0 where the region already ends at the edges."""
    outer = {s: max(reveals[s]) for s in JAMBS}
    seen = {s: [x for x in reveals[s] if x > SEEN_MM] for s in JAMBS}
    if not seen["left"] and not seen["right"]:
        if min(lines[s].foot for s in JAMBS) > 0 and not _alike_inside(lines["left"], lines["right"]):
            return "the jambs left and right do not look alike"
        return outer, 0.0
    per_mm = {s: distance / lines[s].foot for s in JAMBS if seen[s]}
    if len(per_mm) == 2:
        u = PLACE_MM * float(np.hypot(per_mm["left"], per_mm["right"]))
        agreeing = [
            (x, y)
            for x in seen["left"]
            for y in seen["right"]
            if abs(x * per_mm["left"] - y * per_mm["right"]) < 1.5 * u
        ]
        if not agreeing:
            return "the reveals left and right contradict each other"
        x, y = max(agreeing, key=sum)
        depth = (x + y) / (1 / per_mm["left"] + 1 / per_mm["right"])
        return {"left": x, "right": y}, depth
    one: Side = "left" if seen["left"] else "right"
    if PLACE_MM * per_mm[one] > VAGUE_MM or outer[one] * per_mm[one] > REVEAL_MM:
        return outer, 0.0  # that jamb stands nearly before the camera: its reveal tells little
    other: Side = "right" if one == "left" else "left"
    depth = outer[one] * per_mm[one]
    ahead = max(lines[other].foot, 0.0) * depth / distance
    if ahead > 1.5 * PLACE_MM and lines[other].nearest(-ahead, 0.5 * PLACE_MM + 0.3 * ahead) is None:
        outer[other] = ahead  # that reveal looks like the wall: the trace must find its arris there
    return outer, depth


def _alike_inside(left: _Lines, right: _Lines) -> bool:
    """Return whether some line inside each jamb stands equally deep, as where both regions end at the edges."""
    depths = []
    for jamb in (left, right):
        at = jamb.at[(jamb.at > -INSIDE_MM) & (jamb.at < -SEEN_MM)]
        depths.append(-at / np.maximum(jamb.foot + at, 1.0))
    x, y = depths
    return bool((np.abs(x[:, None] - y) < 0.35 * np.maximum(x[:, None], y)).any())


def _trimmed(lines: Mapping[Side, _Lines]) -> dict[Side, float] | str:
    """Return outward shifts mm of the sides of a trimmed opening: left, right and head carry trim of one width."""
    best: tuple[float, float, float] | None = None
    left, right = (_pairs(lines[s]) for s in ("left", "right"))
    for edge_left, wide in left:
        for edge_right, wide_right in right:
            if abs(wide - wide_right) > TRIM_ALIKE_MM:
                continue
            if best is None or edge_left + edge_right > best[0] + best[1] + 5.0:
                best = (edge_left, edge_right, 0.5 * (wide + wide_right))
    if best is None:
        return "no trim of one width is seen left and right"
    within = best[0] < -TRIM_MM  # the region holds the trim
    framed = not within and _alike_outside(lines["left"].at - best[0], lines["right"].at - best[1], best[2])
    if within != (best[1] < -TRIM_MM) or framed:
        return "edge and trim could be taken for each other"
    heads = [
        e
        for e, wide in _pairs(lines["head"])
        if (e < -TRIM_MM) == within and -2.5 * TRIM_ALIKE_MM < wide - best[2] < TALLER[within] * best[2]
    ]
    if within and len(heads) > 1:
        return "the head's trim has several lines"
    if not heads:
        return "the head's trim is not seen"
    # a trim all round has its edge above the region's end, a sill stands at that end
    sill = lines["sill"].nearest(-best[2], 2.5 * TRIM_ALIKE_MM) if within else lines["sill"].outermost(-12.0, BORDER_MM)
    if within and sill is None:
        return "trim and sill could be taken for each other"
    return {"left": best[0], "right": best[1], "head": max(heads), "sill": sill if sill is not None else 0.0}


def _alike_outside(left: Array, right: Array, wide: float) -> bool:
    """Return whether lines (N,), (M,) mm from the edge stand alike outside a trim: then that is a frame."""
    x, y = left[left > wide + TRIM_MM], right[right > wide + TRIM_MM]
    return bool((np.abs(x[:, None] - y) < TRIM_ALIKE_MM).any())


def _pairs(side: _Lines) -> list[tuple[float, float]]:
    """Return (inner edge, width) mm of what could be a trim: one of the two stands at the region's border."""
    out = []
    for inner in side.at:
        for outer in side.at:
            if outer - inner > TRIM_MM and (-12 < inner < 35 or abs(outer) < 12):
                out.append((float(inner), float(outer - inner)))
    return out


def _lines(view: WallView, corners: Array, foot: Array, side: Side, other: Mask) -> _Lines:
    """Return the steps of colour along one side; what also runs beyond its ends belongs to the wall: taken off."""
    a, b = corners[list(ENDS[side])]
    normal = np.array(NORMAL[side])
    reach = np.arange(-REACH_MM / PITCH_MM, REACH_MM / PITCH_MM + 1)
    shown = np.asarray(cv2.GaussianBlur(view.lab, (0, 0), 0.8), np.float32)
    colour, _ = _sampled(shown, view.valid, a + np.linspace(0.06, 0.94, 96)[:, None] * (b - a), reach, normal)
    step = (colour[:, 2:] - colour[:, :-2]).reshape(12, 8, len(reach) - 2, 3).mean(axis=1)
    mean, error = step.mean(0), np.linalg.norm(step.std(0, ddof=1), axis=1) / np.sqrt(12)
    if side in ("head", "sill"):
        mean = mean - _wall_steps(shown, view.valid * (1 - other), a, b, reach, normal)
    size = np.linalg.norm(mean, axis=1)
    peak = (size / np.maximum(error, 0.5) > STEP_T) & (size > STEP_LAB)
    peak[[0, -1]] = False
    peak[1:-1] &= (size[1:-1] >= size[:-2]) & (size[1:-1] >= size[2:])
    i = np.nonzero(peak)[0]
    curve = size[i - 1] - 2 * size[i] + size[i + 1]
    fine = np.where(curve < 0, 0.5 * (size[i - 1] - size[i + 1]) / np.where(curve < 0, curve, -1.0), 0.0)
    return _Lines((reach[1:-1][i] + fine) * PITCH_MM, size[i], float((0.5 * (a + b) - foot) @ normal) * PITCH_MM)


def _sampled(shown: NDArray[np.float32], valid: Mask, line: Array, reach: Array, normal: Array) -> tuple[Array, Array]:
    """Return colours (N, M, 3) and which are valid (N, M) on lines parallel to one of N points."""
    # Borders lie half-way between pixels: the last digits of a machine's arithmetic must not choose between them.
    at = np.rint(np.round(line[:, None] + reach[:, None] * normal, 6)).astype(int)
    h, w = valid.shape
    y, x = at[..., 1], at[..., 0]
    inside = (x >= 0) & (x < w) & (y >= 0) & (y < h)
    y, x = y.clip(0, h - 1), x.clip(0, w - 1)
    return shown[y, x].astype(float), inside & (valid[y, x] > 0)


def _wall_steps(shown: NDArray[np.float32], wall: Mask, a: Array, b: Array, reach: Array, normal: Array) -> Array:
    """Return the steps (M - 2, 3) of the wall beyond both ends of a side, zero where too little of it is seen."""
    along = (b - a) / np.linalg.norm(b - a)
    beyond = np.arange(80.0 / PITCH_MM, 350.0 / PITCH_MM)[:, None] * along
    colour, seen = _sampled(shown, wall, np.concatenate([a - beyond, b + beyond]), reach, normal)
    count = seen.sum(axis=0)
    mean = (colour * seen[..., None]).sum(axis=0) / np.maximum(count, 1)[:, None]
    enough = (count[2:] > 20) & (count[:-2] > 20)
    return np.asarray((mean[2:] - mean[:-2]) * enough[:, None])
