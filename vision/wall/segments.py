"""Straight edges seen in a photo: found on a reduced picture, then placed to sub-pixel on the full one.

References: Grompone von Gioi et al. (2012), LSD: a Line Segment Detector, IPOL 2 (through OpenCV).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.request import Array

LONG_SIDE_PX = 2100  # a quarter of a 12 MP photo's pixels
# LSD reduces further, by its authors' 0.8 and from there to 0.6 where the picture is large: a 2 MP photo keeps 1330 px,
# and as few show all the lines of a larger one, in half the time: joints stay four pixels wide at 3 m.
SEEN_PX, SCALES = 1335.0, (0.6, 0.8)
SHORTEST_PX = 14.0  # in the reduced picture
REACH_PX, STEP_PX = 3.0, 0.5  # how far across a piece its edge is looked for
SAMPLES = 25  # places along a segment that are asked whether they are wall
ALONG = 9  # profiles a piece
LEAST_STEP = 4.0  # grey values across the edge; less is noise


@dataclass(frozen=True, slots=True, eq=False)
class Segments:
    """Segments by their ends (N, 2, 2) px; walking from the first end to the second, the bright side is at the left.

    With x right and y down, "left" is the direction (dy, -dx).
    """

    ends_px: Array

    def __len__(self) -> int:
        return len(self.ends_px)

    def middle_px(self) -> Array:
        """Return the middles (N, 2) px."""
        return np.asarray(self.ends_px.mean(1))

    def length_px(self) -> Array:
        """Return the lengths (N,) px."""
        return np.asarray(np.linalg.norm(self.ends_px[:, 1] - self.ends_px[:, 0], axis=1))

    def some(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Segments:
        """Return those of a mask or index (M,)."""
        return Segments(self.ends_px[keep])


def find_segments(grey: cv2.typing.MatLike) -> Segments:
    """Return all straight edges of a grey picture (H, W) uint8, in its own pixels."""
    h, w = grey.shape[:2]
    reduced = max(1, round(max(h, w) / LONG_SIDE_PX))
    small = np.asarray(grey)
    if reduced > 1:
        small = np.asarray(cv2.resize(small, (w // reduced, h // reduced), interpolation=cv2.INTER_AREA))
    again = float(np.clip(SEEN_PX / max(small.shape), *SCALES))
    lines = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, again).detect(small)[0]
    ends = np.zeros((0, 2, 2)) if lines is None else np.asarray(lines, float).reshape(-1, 2, 2)
    long = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) >= SHORTEST_PX
    scale = np.array([w / (w // reduced), h / (h // reduced)])
    return Segments((ends[long] + 0.5) * scale - 0.5)


def clipped(segments: Segments, polygons: list[Array]) -> Segments:
    """Return the longest part of each segment that lies in none of the polygons (M, 2) px; too short ones go."""
    if not len(segments):
        return segments
    t = np.linspace(0, 1, SAMPLES)
    first, step = segments.ends_px[:, 0], segments.ends_px[:, 1] - segments.ends_px[:, 0]
    points = first[:, None] + t[None, :, None] * step[:, None]
    free = np.ones(points.shape[:2], bool)
    for polygon in polygons:
        free &= ~_inside(points, polygon)
    run = np.zeros(free.shape, int)  # length of the free run that ends at each sample
    for k in range(SAMPLES):
        run[:, k] = np.where(free[:, k], (run[:, k - 1] if k else 0) + 1, 0)
    last = run.argmax(1)
    begin = last - run.max(1) + 1
    part = np.stack([t[np.clip(begin, 0, SAMPLES - 1)], t[last]], axis=1)
    ends = first[:, None] + part[:, :, None] * step[:, None]
    keep = (run.max(1) >= 2) & (np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) >= SHORTEST_PX)
    return Segments(ends[keep])


def _inside(points: Array, polygon: Array) -> NDArray[np.bool_]:
    """Return whether points (..., 2) lie inside a polygon (M, 2): the parity of the sides crossed to the right."""
    odd = np.zeros(points.shape[:-1], bool)
    x, y = points[..., 0], points[..., 1]
    for (ax, ay), (bx, by) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if ay == by:
            continue
        crosses = (ay > y) != (by > y)
        odd ^= crosses & (x < ax + (y - ay) * (bx - ax) / (by - ay))
    return odd


def pieces(segments: Segments, longest_px: Array) -> tuple[Array, Array, NDArray[np.intp]]:
    """Return segments cut into equal pieces no longer than (N,) px: middles (M, 2), half vectors (M, 2), owner (M,)."""
    count = np.maximum(1, np.ceil(segments.length_px() / longest_px)).astype(int)
    owner = np.repeat(np.arange(len(count)), count)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    first, last = segments.ends_px[owner, 0], segments.ends_px[owner, 1]
    part = ((rank + 0.5) / count[owner])[:, None]
    return first + part * (last - first), (last - first) / (2 * count[owner][:, None]), owner


def place_pieces(grey: cv2.typing.MatLike, middle: Array, half: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return pieces moved across onto their edge, middles (M, 2) px, and a mask (M,) of those with a clear edge.

    Profiles across each piece are averaged along it; the edge is where the grey rises steepest toward the bright side.
    """
    if not len(middle):
        return middle, np.zeros(0, bool)
    length = np.linalg.norm(half, axis=1, keepdims=True)
    across = np.stack([half[:, 1], -half[:, 0]], axis=1) / length
    s = np.arange(-REACH_PX, REACH_PX + STEP_PX / 2, STEP_PX)
    t = np.linspace(-0.9, 0.9, ALONG)
    at = middle[:, None, None] + t[None, :, None, None] * half[:, None, None]
    at = at + s[None, None, :, None] * across[:, None, None]
    n = len(middle)
    sampled = np.concatenate(
        [
            cv2.remap(
                np.asarray(grey),
                part[..., 0].reshape(len(part), -1).astype(np.float32),
                part[..., 1].reshape(len(part), -1).astype(np.float32),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            for part in np.array_split(at, n // 30000 + 1)
        ]
    )
    profile = sampled.reshape(n, ALONG, len(s)).astype(float).mean(1)
    smooth = profile[:, :-2] + 2 * profile[:, 1:-1] + profile[:, 2:]
    step = np.diff(smooth, axis=1) / 4
    places = (s[2:-1] + s[1:-2]) / 2
    peak = 1 + np.argmax(step[:, 1:-1], axis=1)
    row = np.arange(n)
    before, top, after = (np.log(np.maximum(step[row, peak + k], 1e-3)) for k in (-1, 0, 1))
    bend = np.minimum(before - 2 * top + after, -1e-6)  # the step of a blurred edge is a Gaussian: its log a parabola
    shift = places[peak] + np.clip(0.5 * (before - after) / bend, -1, 1) * STEP_PX
    total = np.maximum(step, 0.0).sum(1)
    return middle + shift[:, None] * across, (total >= LEAST_STEP) & (np.abs(shift) < REACH_PX - 1.3)
