"""The four sides of a page, card or given rectangle in a photo, traced as lines at sub-pixel precision.

Twice coarsely, then finely: a line of consistent colour steps with the reference's own colours inside, then one edge
position a station, by least squares of a blurred step in linear light. Corners are left out (a card's are rounded, a
page's curl), and so is what does not lie on the line: tape, fingers, joints of the wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.page_sides.fit import TracedSide, crossings, fitted_side
from vision.page_sides.shadowed import FAINT, beside_shadows
from vision.page_sides.steps import (
    SHARP_PX,
    WIDE,
    least_reach,
    neighbours_px,
    pair_blurs,
    profiles_across,
    sampled,
    side_points,
    step_positions,
)
from vision.request import Array
from vision.srgb import LINEAR

BLOCKS = 24  # pieces of a side in the coarse search
MIN_SIDE_PX = 18.0  # of a reference that can be traced
TURNS, CENTRED_PX = 5, 0.4  # of looking again where a smeared side was found, and when its ramp lies amid the profile
CODE_NOISE = 0.006  # of square-root light: what JPEG and rounding leave
PALETTE = 10  # colours of a reference (k-means)
UNLIKE = 3.0  # times the contrast of the other sides; of the same paper on the same wall (a guess)
ALIKE = 0.06  # of square-root light: colours of the reference
# Those of even paper differ by its noise, of which this is a multiple: a wall a few hundredths off is another colour.
ALIKE_NOISE, ALIKE_LEAST = 3.0, 0.008  # the least is a step of the codes at light tones
EVEN = 0.08  # of square-root light: colours farther apart are no plain paper's
INMOST = 6  # places of a profile that lie farthest in


@dataclass(frozen=True, slots=True, eq=False)
class TracedQuad:
    """Four traced sides (head, right, foot, left), their crossings (4, 2) px and the blur px there.

    `blur_px` is the standard deviation across head and foot, and across right and left. `as_coded`: the sides were
    placed in the photo's own coding (`coded_sides`).
    """

    corners_px: Array
    sides: tuple[TracedSide, TracedSide, TracedSide, TracedSide]
    blur_px: tuple[float, float]
    as_coded: bool = False

    @property
    def weakest(self) -> float:
        """Share seen of the side that is seen least."""
        return min(s.seen for s in self.sides)


def trace_quad(
    rgb: NDArray[np.uint8], quad: Array, reach_px: float, left_out: tuple[float, float]
) -> TracedQuad | None:
    """Return the traced sides of a rectangle whose rough corners are given, None where there are none.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, sRGB.
    quad : (4, 2) px, top left first, clockwise.
    reach_px : how far off the corners may be.
    left_out : share of the width and of the height left out at each end of a side (corners).
    """
    lengths = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    if not np.isfinite(quad).all() or lengths.min() < MIN_SIDE_PX:
        return None
    reach = float(min(reach_px, 0.3 * lengths.min()))
    crop, low = cropped(rgb, quad, reach + 18)
    if crop is None:
        return None
    corners = quad - low
    colours = palette(crop, corners)
    for r in [r for r in (reach, max(0.4 * reach, 3.0)) if r <= reach] if reach > 3 else [reach]:
        moved = _coarse(crop, corners, r, left_out, colours)
        if moved is None:
            return None
        corners = moved
    traced = _fine(crop, corners, low, left_out)
    if traced is None or not _even(colours) or min(side.contrast for side in traced.sides) >= FAINT:
        return traced
    sides, corners = beside_shadows(crop, low, traced.corners_px, traced.sides, traced.blur_px, left_out)
    a, b, c, d = _loosened(traced.sides, sides, reach)
    return replace(traced, corners_px=corners, sides=(a, b, c, d))


def _loosened(before: Sequence[TracedSide], sides: Sequence[TracedSide], reach: float) -> list[TracedSide]:
    """Return the sides, those uncertain by the reach that stand out from paper whose other sides are faint.

    A lap or a joint beside the paper is a much stronger line than its end, which may be anywhere short of it.
    """
    contrast = np.array([s.contrast for s in before])
    others = np.array([np.median(np.delete(contrast, i)) for i in range(4)])
    unlike = (others < FAINT) & (contrast > UNLIKE * others)
    u = reach / np.sqrt(3)  # rectangular (GUM 4.3.7)
    return [
        replace(s, beside_px=float(np.hypot(s.beside_px, u))) if k else s for s, k in zip(sides, unlike, strict=True)
    ]


def cropped(rgb: NDArray[np.uint8], quad: Array, margin: float) -> tuple[NDArray[np.float32] | None, Array]:
    """Return the part of the picture about a quad in linear light (h, w, 3) and its top left pixel."""
    part, low = part_about(rgb, quad, margin)
    return None if part is None else LINEAR[part], low


def part_about(rgb: NDArray[np.uint8], quad: Array, margin: float) -> tuple[NDArray[np.uint8] | None, Array]:
    """Return the part of the picture about a quad (h, w, 3), None if too small, and its top left pixel."""
    size = np.array(rgb.shape[1::-1])
    low = np.clip(np.floor(quad.min(0) - margin), 0, size).astype(int)
    high = np.clip(np.ceil(quad.max(0) + margin) + 1, 0, size).astype(int)
    small = bool((high - low < 12).any())
    return None if small else rgb[low[1] : high[1], low[0] : high[0]], low.astype(float)


def parting(rgb: NDArray[np.uint8], quad: Array, i: int, strip_px: Array, body: Array | None = None) -> float | None:
    """Return 0 to 1: over how much of side `i` colours of the reference lie inside and none of them outside.

    `strip_px` (N,): how far from the side its colours are looked at, on either hand. `body` (4, 2) px is what of it
    shows the reference's colours, if not all. None where too little is seen.
    """
    crop, low = cropped(rgb, quad, 8.0)
    if crop is None or not np.isfinite(quad).all():
        return None
    colours = palette(crop, (quad if body is None else body) - low)
    px, _ = side_points(quad - low, i, np.linspace(0.15, 0.85, 24), np.concatenate([-strip_px, strip_px]))
    root = np.sqrt(np.maximum(sampled(crop, px), 0))
    off = np.sqrt(((root[:, :, None] - colours) ** 2).sum(-1)).min(-1)
    like = np.nan_to_num(np.exp(-0.5 * (off / ALIKE) ** 2))
    n = len(strip_px)
    return float((like[:, :n].mean(1) * (1 - like[:, n:].mean(1))).mean())


def palette(crop: NDArray[np.float32], quad: Array) -> Array:
    """Return the colours (K, 3), square root of light, of the middle of the reference."""
    h = cv2.getPerspectiveTransform(np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32), quad.astype(np.float32))
    s = np.linspace(0.2, 0.8, 24)
    grid = np.stack(np.meshgrid(s, s), -1).reshape(-1, 1, 2)
    inside = np.asarray(cv2.perspectiveTransform(grid, np.asarray(h, float)), float).reshape(24, 24, 2)
    colours = np.sqrt(np.maximum(sampled(crop, inside).reshape(-1, 3), 0)).astype(np.float32)
    colours = colours[np.isfinite(colours).all(1)]
    if len(colours) < PALETTE:
        return np.zeros((1, 3))
    cv2.setRNGSeed(1)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.002)
    _, label, centres = cv2.kmeans(colours, PALETTE, None, criteria, 1, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
    share = np.bincount(np.asarray(label).ravel(), minlength=PALETTE) / len(colours)
    return np.asarray(centres, float)[share > 0.02]


def _coarse(
    crop: NDArray[np.float32], quad: Array, reach: float, left_out: tuple[float, float], palette: Array
) -> Array | None:
    """Return the corners after one search for the line of each side within `reach` px."""
    window = 3.0
    across = np.arange(-reach - window, reach + window + 0.25, 0.5)
    ways = _ways(reach, len(across) - 2 * round(window / 0.5), float(across[round(window / 0.5)]) - 0.25)
    lines = np.empty((4, 3))
    for i in range(4):
        a, b = quad[i], quad[(i + 1) % 4]
        length = float(np.linalg.norm(b - a))
        ends = max(left_out[i % 2], 3.0 / length)
        stations = np.linspace(ends, 1 - ends, BLOCKS * int(np.clip(length / BLOCKS / 1.5, 2, 10)))
        px, normal = side_points(quad, i, stations, across)
        root = np.sqrt(np.maximum(sampled(crop, px), 0))
        root = root.reshape(BLOCKS, -1, len(across), 3).mean(1)
        best = _best_line(root, window, ways, palette)
        if best is None:
            return None
        first, last = best
        line_a, line_b = a + first * normal, b + last * normal
        d = (line_b - line_a) / np.linalg.norm(line_b - line_a)
        n = np.array([d[1], -d[0]])
        lines[i] = [*n, n @ line_a]
    moved = crossings(lines)
    return moved if np.isfinite(moved).all() else None


def _ways(reach: float, count: int, first: float) -> tuple[Array, NDArray[np.intp], Array]:
    """Return ends (E,) px, the place in the profile of each line from end to end (E, E, BLOCKS), and its weight (E, E).

    `first` is the first of `count` places, half a pixel apart.
    """
    ends = np.arange(-reach, reach + 0.1, 0.5)
    t = (np.arange(BLOCKS) + 0.5) / BLOCKS
    v = ends[:, None, None] * (1 - t) + ends[None, :, None] * t
    index = np.clip(np.rint((v - first) / 0.5).astype(np.intp), 0, count - 1) + count * np.arange(BLOCKS)
    return ends, index, 1 - 0.1 * (np.abs(v).mean(-1) / reach) ** 2  # of equals the nearer


def _best_line(
    root: Array, window: float, ways: tuple[Array, NDArray[np.intp], Array], palette: Array
) -> tuple[float, float] | None:
    """Return how far out (px) the line stands at both ends: the most consistent step with the reference inside."""
    w = round(window / 0.5)
    off = (root[:, :, None, 0] - palette[:, 0]) ** 2
    for channel in (1, 2):
        off += (root[:, :, None, channel] - palette[:, channel]) ** 2
    off = off.min(-1)
    like = np.exp(-0.5 * off / (_alike(off) if _even(palette) else ALIKE) ** 2)
    total = np.cumsum(np.concatenate([np.zeros_like(root[:, :1]), root], axis=1), axis=1)
    total_like = np.cumsum(np.concatenate([np.zeros_like(like[:, :1]), like], axis=1), axis=1)
    at = np.arange(w, root.shape[1] - w)
    step = (total[:, at] - total[:, at - w]) / w - (total[:, at + w] - total[:, at]) / w
    inside = (total_like[:, at] - total_like[:, at - w]) / w
    outside = (total_like[:, at + w] - total_like[:, at]) / w
    size = np.sqrt(step[..., 0] ** 2 + step[..., 1] ** 2 + step[..., 2] ** 2)
    if not np.isfinite(size).any():
        return None
    size = np.nan_to_num(size)
    cap = max(float(np.median(size.max(1))), 2 * CODE_NOISE)
    score = np.minimum(size, cap) * (0.1 + np.nan_to_num(inside)) * (1.1 - np.nan_to_num(outside))
    smooth = cv2.GaussianBlur(score, (0, 0), sigmaX=1.0, sigmaY=0.01)
    ends, index, nearer = ways
    rated = np.asarray(smooth).ravel()[index].mean(-1) * nearer
    k = np.unravel_index(int(np.argmax(rated)), rated.shape)
    return float(ends[k[0]]), float(ends[k[1]])


def _even(palette: Array) -> bool:
    """Return whether colours (K, 3) are those of plain paper, light and noise apart."""
    return bool(np.ptp(palette, axis=0).max() < EVEN)


def _alike(off: Array) -> float:
    """Return how near (square-root light) a colour must be to be the reference's, of their squares (A, V)."""
    own = float(np.sqrt(np.median(np.nan_to_num(off[:, :INMOST]))))
    return float(np.clip(ALIKE_NOISE * own, ALIKE_LEAST, ALIKE))


def _fine(crop: NDArray[np.float32], quad: Array, low: Array, left_out: tuple[float, float]) -> TracedQuad | None:
    """Return the sides at sub-pixel precision about lines good to a few pixels.

    A smeared side is looked at again about where it was found, until its whole ramp lies amid the profile: one that is
    cut at one end is placed too near to the middle of the profile.
    """
    blurs = (1.0, 1.0)
    for turn in range(TURNS):
        reach = [least_reach(b, quad) for b in blurs]
        profiles = [profiles_across(crop, quad, i, left_out[i % 2], reach[i % 2]) for i in range(4)]
        blurs = pair_blurs([(p, across) for _, p, across, _ in profiles])
        if not turn:
            continue
        sides, lines = [], np.empty((4, 3))
        for i, (along, profile, across, normal) in enumerate(profiles):
            shift, contrast = step_positions(profile, across, blurs[i % 2])
            side = fitted_side(quad, i, along, shift, contrast, normal)
            if side is None:
                return None
            traced, lines[i] = side
            sides.append(traced)
        corners = crossings(lines)
        if not np.isfinite(corners).all():
            return None
        if max(blurs) <= SHARP_PX or np.abs(corners - quad).max() < CENTRED_PX:
            break
        quad = corners
    beside = [0.0] * 4
    for k in (0, 1):
        if blurs[k] > SHARP_PX:
            reach = [least_reach(b, corners) for b in blurs]
            wide = [profiles_across(crop, corners, i, left_out[k], WIDE * reach[k]) for i in (k, k + 2)]
            beside[k], beside[k + 2] = neighbours_px([(p, across) for _, p, across, _ in wide], blurs[k], reach[k])
    moved = [replace(s, pixel=s.pixel + low, beside_px=b) for s, b in zip(sides, beside, strict=True)]
    return TracedQuad(corners + low, (moved[0], moved[1], moved[2], moved[3]), blurs)
