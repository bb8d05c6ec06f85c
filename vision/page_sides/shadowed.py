"""A side of paper on a wall that is nearly as bright: paper, the thin shadow that it throws, and what lies beyond.

A page stands half a millimetre off the wall, so a strip of shadow a pixel or two wide lies along the sides that the
light does not come from. Where paper and wall differ by a few hundredths that strip is the stronger line, and one step
laid over both is placed in its middle or at its far end. So three levels are laid over each place: the paper's and the
wall's as they are seen on either hand, and the wall's darkened by a share that is common to a side, as is its breadth.
The wall may be brighter than the paper at one place and darker at the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.page_sides.fit import TracedSide, crossings, fitted_side
from vision.page_sides.steps import STEP_PX, peaks, sampled, side_points
from vision.request import Array

# Contrast in linear light, of sides that are looked at, and that are placed by paper, shadow and wall.
FAINT, FAINTER = 0.2, 0.1
REACH_PX, BLURS = 6.0, 2.6  # of the profiles: at the least, and beyond the strip of as many blurs
NEAR_PX = 1.0  # inside of the side, and with the blur: there the paper's level begins
OUTER_PX = 2.0  # the wall's level is seen in the outmost ones
BREADTHS_PX = np.arange(0.8, 3.7, 0.4)
SHARES = np.array([0.03, 0.06, 0.1, 0.14, 0.19, 0.25, 0.32, 0.4])
BLURRED = np.array([0.8, 1.0, 1.2, 1.4, 1.7])  # times the blur of the steps: a strip makes them seem sharper or softer
SHIFTS_PX = np.arange(-2.5, 2.51, 0.25)
PLACES, ROUNDS = 24, 2
CLEARER = 0.8  # of what is left unexplained without a shadow: more than that a shadow does not explain
EXPLAINED = 0.5  # of what is seen at a place, by a step there


def beside_shadows(
    crop: NDArray[np.float32],
    low: Array,
    corners: Array,
    sides: Sequence[TracedSide],
    blurs: tuple[float, float],
    left_out: tuple[float, float],
) -> tuple[list[TracedSide], Array]:
    """Return the sides with those placed anew that are faint and beside a shadow, and their corners (4, 2) px.

    Parameters
    ----------
    crop : linear light (h, w, 3), its top left pixel at `low`.
    corners : (4, 2) px of the photo, of the `sides` as steps.
    blurs : standard deviation px, of head and foot, and of right and left.
    left_out : share of width and height left out at each end of a side.

    Notes
    -----
    A side is as uncertain as half of what both ways of placing it differ by; the fainter ones are placed anew.
    """
    quad = corners - low
    made, lines = list(sides), _lines(quad)
    before = lines.copy()
    for i, side in enumerate(sides):
        if side.contrast >= FAINT:
            continue
        at, fitted = quad, None
        for _ in range(ROUNDS):
            steps = _shadowed_steps(crop, at, i, left_out[i % 2], blurs[i % 2])
            fitted = None if steps is None else fitted_side(at, i, *steps)
            if fitted is None:
                break
            about = before.copy()
            about[i] = fitted[1]
            at = crossings(about)
        if fitted is None:
            continue
        a, b = quad[i], quad[(i + 1) % 4]
        anew, line = fitted
        differ = float(max(abs(line[:2] @ a - line[2]), abs(line[:2] @ b - line[2])))
        u = float(np.hypot(side.beside_px, 0.5 * differ))
        made[i] = replace(side, beside_px=u)
        if side.contrast < FAINTER:
            scatter = max(side.scatter_px, anew.scatter_px)
            made[i] = replace(anew, pixel=anew.pixel + low, seen=side.seen, scatter_px=scatter, beside_px=u)
            lines[i] = line
    moved = crossings(lines)
    return (made, moved + low) if np.isfinite(moved).all() else (list(sides), corners)


def _lines(quad: Array) -> Array:
    """Return the lines (4, 3) of the sides, a x + b y = c."""
    along = np.roll(quad, -1, axis=0) - quad
    normal = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    return np.column_stack([normal, (normal * quad).sum(1)])


def _shadowed_steps(
    crop: NDArray[np.float32], quad: Array, i: int, left_out: float, blur: float
) -> tuple[Array, Array, Array, Array] | None:
    """Return places along (A,) side `i`, where the paper ends (A,) px outward, how clear (A,), and the normal (2,).

    None where no shadow is seen.
    """
    length = float(np.linalg.norm(quad[(i + 1) % 4] - quad[i]))
    reach = max(REACH_PX, BLURS * blur + float(BREADTHS_PX[-1]))
    across = np.arange(-np.ceil(reach / STEP_PX), np.ceil(reach / STEP_PX) + 1) * STEP_PX
    ends = max(left_out, 4.0 / length)
    count = max(int((1 - 2 * ends) * length), 2 * PLACES)
    px, normal = side_points(quad, i, ends + (np.arange(count) + 0.5) / count * (1 - 2 * ends), across)
    every = sampled(crop, px)
    whole = np.asarray(np.isfinite(every).all((1, 2)))
    parts = [p[whole[p]] for p in np.array_split(np.arange(count), PLACES) if whole[p].any()]
    if len(parts) < PLACES // 2:
        return None
    along = np.array([(ends + (p.mean() + 0.5) / count * (1 - 2 * ends)) for p in parts])
    seen = np.array([every[p].mean(0) for p in parts])
    paper = seen[:, across < -NEAR_PX - blur].mean(1)
    wall = seen[:, across > reach - OUTER_PX].mean(1)
    share, breadth, blur = _shadow(seen, paper, wall, across, blur)
    if share == 0:
        return None
    shifts = np.arange(-2.5, 2.51, 0.1)
    steps, ends_at = _ramps(across, shifts, blur), _ramps(across, shifts + breadth, blur)
    rest = _rest(seen, paper, wall, steps, ends_at, np.array([share]))[0]
    total = np.maximum(((seen - seen.mean(1, keepdims=True)) ** 2).sum((1, 2)), 1e-12)
    at, height, peak = peaks(np.sqrt(np.maximum(total[:, None] - rest, 0)), shifts)
    good = peak & (height > EXPLAINED * total)
    clear = np.maximum(np.abs(wall - paper).max(1), share * wall.max(1))
    return along, np.where(good, at, np.nan), np.where(good, clear, 0.0), normal


def _shadow(seen: Array, paper: Array, wall: Array, across: Array, blur: float) -> tuple[float, float, float]:
    """Return the share of light that the strip takes, its breadth and the blur (px) that explain most places best."""
    blurs = blur * BLURRED
    ramps = [_ramps(across, SHIFTS_PX, b) for b in blurs]
    bare = min(float(_left(_rest(seen, paper, wall, r, r, np.zeros(1)))[0]) for r in ramps)
    best, found = float(np.log(CLEARER)) + bare, (0.0, 1.0, blur)
    for b, steps in zip(blurs, ramps, strict=True):
        for width in BREADTHS_PX:
            rest = _left(_rest(seen, paper, wall, steps, _ramps(across, SHIFTS_PX + width, b), SHARES))
            dark = int(rest.argmin())
            if rest[dark] < best:
                best, found = float(rest[dark]), (float(SHARES[dark]), float(width), float(b))
    return found


def _left(rest: Array) -> Array:
    """Return the mean logarithm (D,) of the squares (D, A, S) that the best shifts leave: a few grains count little."""
    return np.asarray(np.log(np.maximum(rest.min(axis=2), 1e-9)).mean(axis=1))


def _ramps(across: Array, at: Array, blur: float) -> Array:
    return np.asarray(ndtr((across - at[:, None]) / blur))


def _rest(seen: Array, paper: Array, wall: Array, steps: Array, ends: Array, dark: Array) -> Array:
    """Return the squares (D, A, S) that paper, strip of each darkness (D,) and wall leave of profiles (A, V, 3).

    They are (off - a step + dark b wall)^2, by the powers of dark.
    """
    off, step = seen - paper[:, None], wall - paper
    a, b = steps, steps - ends  # (S, V): beyond the paper, and on the strip
    on_step, on_wall = np.einsum("avc,ac->av", off, step), np.einsum("avc,ac->av", off, wall)
    plain = (off**2).sum((1, 2))[:, None] - 2 * on_step @ a.T + np.outer((step**2).sum(1), (a * a).sum(1))
    once = 2 * on_wall @ b.T - 2 * np.outer((step * wall).sum(1), (a * b).sum(1))
    twice = np.outer((wall**2).sum(1), (b * b).sum(1))
    share = dark[:, None, None]
    return np.asarray(plain + share * once + share**2 * twice)
