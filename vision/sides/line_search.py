"""Lines in a strip along one side: consistent colour steps found by a Hough search (`place` then fits them).

A side of an opening is a colour step of one sign and one hue along its whole length; bricks, joints and
stains are steps too, but not along the whole length. The search therefore adds up step vectors (outer minus inner
mean colour) of short pieces along every line, slope and bow within reach, and rates a line by the length of the mean
vector and by how well the pieces agree.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from scipy import ndimage

from vision.request import Array
from vision.srgb import LUMA
from vision.strips.profiles import Strip, block_means
from vision.strips.strip_line import GAP_PX, MERGE_PX, WINDOW_PX, Line, apart_mm, legendre, sample, steps_across

BLOCKS = 48  # pieces of a side
SLACK_PX = 1.5  # beyond the reach, that a climb may lead to
WIDEST = 2.5  # of the usual window: what a strip's margin holds
BESIDE_PX = 4.0  # where a soft gradient would have a step too, a line none
STARTS = 24  # of each of the two searches
# A weak line beside a strong one. Nearer than FREE_PX the windows of its step take in the strong one and only narrow
# ones, in luma, tell it apart: JPEG spreads colour over 2 px. Blurred by 0.9 to 1 px (standard deviation) two steps are
# one below the full width at half height.
NARROW_PX, RESOLVED_PX, FREE_PX = 1.0, 2.3, 5.0
BESIDE_STARTS, PARALLEL_PX = 4, 1.5
HALO_SHARE = 0.05  # guess: of the strong step, what a camera's sharpening and flare leave beside it
LEAST_STEP = 0.0005  # in the root of linear light, a quarter of a grey level
ROOM_PX = 5.5  # of the margin of a strip, in which a step still fits
LEAST_TEXTURE = 5  # places beside a line by which its face is judged
Beside = Literal["none", "inside", "both"]


def find_lines(
    strip: Strip,
    reach_px: tuple[float, float],
    bow_mm: float,
    beside: Beside = "none",
    *,
    even_mm: float = 0.0,
    gap_px: float = GAP_PX,
) -> list[Line]:
    """Return the lines of consistent step whose middle lies within reach (px, inner to outer), outermost first.

    `beside`: look for weak lines close to clear ones too, on both sides (an arris lies outside of a frame) or inside
    (the arris of a lintel lies below its top). `even_mm`: how wide a step is read at least; what is less even than a
    photo is fine shows its step here and there, and none of them is its line. `gap_px`: what is left out about a step.
    """
    middle, profiles = block_means(strip, BLOCKS)
    seen = np.isfinite(profiles).all(axis=(1, 2))
    if np.count_nonzero(seen) < BLOCKS // 4:
        return []
    profiles = profiles[seen]
    t = 2 * middle[seen] / strip.u_mm[-1] - 1
    pitch = float(strip.v_mm[1] - strip.v_mm[0])
    per_px = strip.mm_per_px / pitch
    wide = float(np.clip(even_mm / (WINDOW_PX * strip.mm_per_px), 1.0, WIDEST))
    step, outer, inner = steps_across(profiles, 1 / per_px, gap_px * wide, WINDOW_PX * wide)
    zero = -strip.v_mm[0] / pitch
    shapes, strengths = _hough((step, _votes(step, per_px)), t, zero, per_px, reach_px, bow_mm / strip.mm_per_px)
    starts = np.concatenate([_peaks(shapes, strength) for strength in strengths])
    base = legendre(t)
    shapes = _climb(step, base, np.array([zero, 0, 0]) + starts * per_px, per_px)
    middle = (shapes[:, 0] - zero) / per_px
    shapes = shapes[(middle >= reach_px[0] - SLACK_PX) & (middle <= reach_px[1] + SLACK_PX)]
    lines: list[Line] = []

    def add(shapes: Array, step: Array, outer: Array, inner: Array) -> None:
        first = np.sort(np.unique(np.round(shapes / (0.5 * per_px)), axis=0, return_index=True)[1])
        for line in _read(step, outer, inner, t, shapes[first], zero, pitch, per_px * wide):
            if all(apart_mm(line.shape, other.shape) > MERGE_PX * strip.mm_per_px for other in lines):
                lines.append(line)

    add(shapes, step, outer, inner)
    clear = [x for x in sorted(lines, key=lambda x: -x.contrast) if x.t_value > 10 and x.coverage > 0.9]
    if beside != "none" and clear:
        light = np.repeat((profiles @ np.array(LUMA))[..., None], 3, axis=-1)
        for shown, shades, (near, far) in (
            ((step, outer, inner), profiles, (FREE_PX * wide, np.inf)),
            (steps_across(light, 1 / per_px, GAP_PX, NARROW_PX), light, (RESOLVED_PX, FREE_PX * wide)),
        ):
            votes = _votes(steps_across(shades, 1 / per_px, GAP_PX, NARROW_PX)[0], per_px)
            for line in clear[:2]:
                parent = line.shape / pitch + np.array([zero, 0, 0])
                found: Array = _beside(votes, base, parent, zero, per_px, reach_px)
                found = found[(found[:, 0] < parent[0]) | (beside == "both")]
                apart = np.abs(found[:, :1] - zero - [x.shape[0] / pitch for x in clear]).min(axis=1) / per_px
                found = found[(apart > near) & (apart <= far)]
                strength = np.linalg.norm([sample(shown[0], base @ x).mean(axis=0) for x in (parent, *found)], axis=-1)
                add(found[strength[1:] > HALO_SHARE * strength[0]], *shown)
    offsets = np.arange(reach_px[0] - ROOM_PX, reach_px[1] + ROOM_PX + 0.1, 0.75)
    lines = [
        replace(x, over_texture=_over_texture(x, lines, step, t, zero, pitch, per_px * offsets, per_px * wide))
        for x in lines
    ]
    return sorted(lines, key=lambda x: -x.shape[0])


def _over_texture(
    line: Line, lines: list[Line], step: Array, t: Array, zero: float, pitch: float, offsets: Array, per_px: float
) -> float:
    """Return a line's step over the usual one (rms of a normal by its median) of the face beside it, parallel to it."""
    at = line.shape[0] / pitch
    clearer = [x.shape[0] / pitch for x in lines if x.t_value > 10 and x.coverage > 0.85 and x.contrast > line.contrast]
    near, clear = BESIDE_PX * per_px, max(clearer, default=-np.inf)
    free = offsets > at + near
    if np.count_nonzero(free) < LEAST_TEXTURE:
        free |= (offsets < at - near) & (offsets > clear + 1.5 * near)
    if np.count_nonzero(free) < LEAST_TEXTURE:
        return np.inf
    index = zero + legendre(t)[:, 1:] @ (line.shape[1:] / pitch) + offsets[free, None]
    across = line.step / max(line.contrast, 1e-12)
    beside = sample(step, index).mean(axis=1) @ across
    return line.contrast / max(1.4826 * float(np.median(np.abs(beside))), LEAST_STEP)


def _beside(
    votes: Array, base: Array, parent: Array, zero: float, per_px: float, reach_px: tuple[float, float]
) -> Array:
    """Return shapes (S, 3) in grid steps of lines that run along a clear one, within the windows of its step.

    Lines parallel in space are parallel in the strip, whatever their depth (central projection on a plane parallel to
    them). A weak arris so near a strong frame is a shoulder of the step, from which a climb leads to the frame.
    """
    offsets = np.arange(reach_px[0], reach_px[1] + 0.1, 0.5)
    trial = np.array([[zero + per_px * o, parent[1], parent[2]] for o in offsets])
    index = np.clip(np.rint(trial @ base.T).astype(int), 0, votes.shape[1] - 1)
    size = np.linalg.norm(votes[np.arange(len(base)), index].mean(axis=1), axis=-1)
    top = np.flatnonzero((size >= ndimage.maximum_filter1d(size, 5)) & (np.abs(trial[:, 0] - parent[0]) > per_px))
    starts = trial[top[np.argsort(-size[top], kind="stable")][:BESIDE_STARTS]]
    if not len(starts):
        return starts
    shapes = _climb(votes, base, starts, per_px)
    return shapes[(np.abs(shapes - parent)[:, 1:] <= PARALLEL_PX * per_px).all(axis=1)]


def _votes(step: Array, per_px: float) -> Array:
    """Return the steps (K, V, 3) kept at their local maxima along v only, and of about equal length.

    A weak arris beside a strong frame has no maximum of its own in the plain sum; here it counts as much.
    """
    size = np.linalg.norm(step, axis=-1)
    reach = max(round(1.5 * per_px), 1)
    top = ndimage.maximum_filter1d(size, 2 * reach + 1, axis=1)
    vote = np.where((size >= top)[..., None], step / (size + np.median(size) + 1e-6)[..., None], 0.0)
    spread = ndimage.uniform_filter1d(vote, 2 * round(0.5 * per_px) + 1, axis=1)
    return np.asarray(spread)


def _hough(
    steps: tuple[Array, ...], t: Array, zero: float, per_px: float, reach_px: tuple[float, float], bow_px: float
) -> tuple[Array, tuple[Array, ...]]:
    """Return shapes (A, S, B, 3) px and by kind of step the length (A, S, B) of their mean step vector."""
    half = (reach_px[1] - reach_px[0]) / 2
    pace = float(np.clip(half / 11, 1.0, 1.5))  # px; the sum's peak is 3 px wide
    offsets = np.arange(np.floor(reach_px[0]), np.ceil(reach_px[1]) + 0.5, pace)
    slopes = np.arange(-np.ceil(half / pace), np.ceil(half / pace) + 0.5) * pace
    count = int(np.ceil(bow_px / (2.0 * pace)))
    bows = np.linspace(-1, 1, 2 * count + 1) * bow_px / 1.5 if count else np.zeros(1)  # sagitta = 1.5 * P2
    grid = np.stack(np.meshgrid(offsets, slopes, bows, indexing="ij"), axis=-1)
    base = legendre(t)
    mid, ends = grid[..., 0], np.abs(grid[..., 1])
    outside = (mid + ends > reach_px[1] + 1) | (mid - ends < reach_px[0] - 1)
    strengths = tuple(np.zeros(grid.shape[:3]) for _ in steps)
    small = np.concatenate(steps, axis=-1, dtype=np.float32)  # all kinds at the same places
    last, flat = small.shape[1] - 1, small.reshape(-1, small.shape[2])
    row = (last + 1) * np.arange(len(t))
    for i in range(len(offsets)):
        inside = ~outside[i]
        index = np.rint(zero + per_px * (grid[i][inside] @ base.T)).astype(int)
        mean = np.einsum("nkc->nc", flat.take(np.clip(index, 0, last) + row, axis=0)) / np.float32(len(t))
        for kind, strength in enumerate(strengths):
            strength[i, inside] = np.linalg.norm(mean[..., 3 * kind : 3 * kind + 3], axis=-1)
    share = 1 - 0.04 * np.abs(grid[..., 2]) / max(bow_px, 1.0)  # a bow must earn its place
    share[outside] = 0
    return grid, tuple(strength * share for strength in strengths)


def _peaks(shapes: Array, strength: Array) -> Array:
    """Return starting shapes (S, 3) in px: local maxima in offset, slope and bow, the strongest first."""
    top = ndimage.maximum_filter(strength, size=3, mode="constant")
    i = np.flatnonzero(((strength >= top) & (strength > 0)).ravel())
    i = i[np.argsort(-strength.ravel()[i], kind="stable")]
    return np.asarray(shapes.reshape(-1, 3)[i[:STARTS]])


def _climb(step: Array, base: Array, shapes: Array, per_px: float) -> Array:
    """Return shapes (S, 3) in grid steps at the nearest maxima of the mean step, highest first (pattern search)."""
    flat = np.ascontiguousarray(step.reshape(-1, 3), np.float32)
    width = step.shape[1]
    row = np.arange(len(base)) * width

    def height(s: Array) -> Array:
        index = np.clip(s @ base.T, 0, width - 1.001)
        low = index.astype(int)
        part = (index - low).astype(np.float32)
        low += row
        first, second = flat.take(low, axis=0), flat.take(low + 1, axis=0)
        total = np.einsum("...k,...kc->...c", 1 - part, first) + np.einsum("...k,...kc->...c", part, second)
        return np.asarray(np.linalg.norm(total, axis=-1))

    moves = np.concatenate([np.eye(3), -np.eye(3)])
    shapes, now = shapes.copy(), height(shapes)
    size = np.full(len(shapes), 0.8 * per_px)
    for _ in range(60):
        live = np.flatnonzero(size > 0.06 * per_px)
        if not len(live):
            break
        trial = shapes[live, None] + moves * size[live, None, None]
        value = height(trial)
        best = value.argmax(axis=1)
        rows = np.arange(len(live))
        up = value[rows, best] > now[live] * (1 + 1e-6)
        shapes[live[up]], now[live[up]] = trial[rows, best][up], value[rows, best][up]
        size[live[~up]] /= 2
    order = np.argsort(-now, kind="stable")
    return shapes[order]


def _read(
    step: Array, outer: Array, inner: Array, t: Array, shapes: Array, zero: float, pitch: float, per_px: float
) -> list[Line]:
    """Return what the pieces show along shapes (S, 3) in grid steps, as lines in mm."""
    index = shapes @ legendre(t).T
    d = sample(step, index)
    mean = d.mean(axis=1)
    size = np.linalg.norm(mean, axis=-1)
    along = _toward(d, mean / np.maximum(size, 1e-12)[:, None])
    middle = np.median(along, axis=1)
    spread = 1.4826 * np.median(np.abs(along - middle[:, None]), axis=1) + 1e-5
    seen = (along > 0.35 * middle[:, None]) & (along < 3 * middle[:, None] + 0.01)
    beside = [np.median(_toward(sample(step, index + k * BESIDE_PX * per_px), mean), axis=1) for k in (-1, 1)]
    peak = 1 - np.mean(np.maximum(beside, 0), axis=0) / np.maximum((mean * mean).sum(axis=-1), 1e-12)
    t_value = np.abs(middle) / spread * np.sqrt(len(t))
    colours = [np.median(sample(field, index), axis=1) for field in (outer, inner)]
    in_mm = (shapes - np.array([zero, 0, 0])) * pitch
    figures = np.stack([size, t_value, seen.mean(axis=1), peak], axis=1).tolist()
    return [
        Line(in_mm[i], mean[i], contrast, t, coverage, top, colours[0][i], colours[1][i])
        for i, (contrast, t, coverage, top) in enumerate(figures)
    ]


def _toward(d: Array, axis: Array) -> Array:
    """Return the parts (S, K) of vectors (S, K, C) along one axis (S, C) each."""
    return np.asarray((d @ axis[..., None])[..., 0])
