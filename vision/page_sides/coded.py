"""Sides of coloured references, placed as the photo's coding shows their step.

A photo is kept as luma at full and chroma at half resolution (JPEG, ITU-T T.871; the common 4:2:0 sampling of phones),
both of coded and not of linear light. The chroma of an edge is so spread over three pixels, and turned back to linear
light it moves the step: a green card on brick is seen 0.15 px too large on each side, a violet one 0.08 px too small
(renderings). So the step of the two colours that stand beside a station is coded and spread likewise, and laid over
what the photo shows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.page_sides.fit import TracedSide, crossings, fitted_side
from vision.page_sides.steps import BLURS_PX, OF_SIDE, peaks, sampled, side_points
from vision.page_sides.traced import TracedQuad, part_about
from vision.request import Array
from vision.srgb import LINEAR

TO_LUMA = np.array([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])  # ITU-T T.871
CHROMA_WEIGHT = 0.7  # its errors go together over its breadth; 0.5 to 1 place sides alike
TO_CODE = TO_LUMA * [[1.0], [CHROMA_WEIGHT], [CHROMA_WEIGHT]]
# Standard deviation (px) of what sampling between pixels spreads, and with the mean over two and the triangle between
# them that halving chroma and doubling it again spread: 4/12 - 1/12 + 4/6 px^2.
U_SAMPLED_PX, U_HALVED_PX = 0.41, 1.04
ACROSS_PX, REACH_PX = 0.25, 3.0
LEVEL_PX = 1.9  # from the edge, the colours that stand beside it
SHIFTS_PX, COARSE_PX = np.arange(-1.6, 1.61, 0.2), np.arange(-1.0, 1.01, 0.5)
TABLE_PX = 0.05  # pitch of the table of steps
ROUNDS = 2
LEAST_SHARE = 0.5  # of what a station shows, explained by a step


def refined(rgb: NDArray[np.uint8], traced: TracedQuad, left_out: tuple[float, float]) -> TracedQuad:
    """Return traced sides placed anew in the photo's own coding; as they are where that does not succeed.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, sRGB.
    left_out : share of the width and of the height left out at each end of a side.
    """
    code, low = coded(rgb, traced.corners_px, REACH_PX + 2.6 * max(traced.blur_px) + 4)
    if code is None:
        return traced
    corners, blurs = traced.corners_px - low, traced.blur_px
    sides: list[TracedSide] = []
    for turn in range(ROUNDS):
        seen = [_profiles(code, corners, i, left_out[i % 2], blurs[i % 2]) for i in range(4)]
        if not turn:
            blurs = _blurs(seen, blurs)
        sides, lines = [], np.empty((4, 3))
        for i, profiles in enumerate(seen):
            side = _placed(corners, i, profiles, blurs[i % 2])
            if side is None:
                return traced
            sides.append(side[0])
            lines[i] = side[1]
        moved = crossings(lines)
        if not np.isfinite(moved).all() or np.abs(moved - corners).max() > REACH_PX:
            return traced
        corners = moved
    a, b, c, d = (
        replace(s, pixel=s.pixel + low, beside_px=t.beside_px) for s, t in zip(sides, traced.sides, strict=True)
    )
    return TracedQuad(corners + low, (a, b, c, d), blurs, as_coded=True)


def side_at(
    code: NDArray[np.float32], quad: Array, i: int, left_out: float, blur: float
) -> tuple[TracedSide, Array] | None:
    """Return side `i` of a quadrilateral traced near where it stands in a coded picture, and its line; None if not."""
    found = None
    for _ in range(ROUNDS):
        found = _placed(quad, i, _profiles(code, quad, i, left_out, blur), blur)
        if found is None:
            return None
        moved = with_line(quad, i, found[1])
        if not np.isfinite(moved).all() or np.abs(moved - quad).max() > REACH_PX:
            return None
        quad = moved
    return found


def with_line(quad: Array, i: int, line: Array) -> Array:
    """Return the corners (4, 2) of a quadrilateral of which side `i` lies on another line a x + b y = c."""
    a, b = quad, np.roll(quad, -1, axis=0)
    normal = np.column_stack([b[:, 1] - a[:, 1], a[:, 0] - b[:, 0]])
    lines = np.column_stack([normal, (normal * a).sum(1)])
    lines[i] = line
    lines /= np.linalg.norm(lines[:, :2], axis=1)[:, None]
    return crossings(lines)


def coded(rgb: NDArray[np.uint8], quad: Array, margin: float) -> tuple[NDArray[np.float32] | None, Array]:
    """Return the part of the picture about a quad as codes 0 to 1 (h, w, 3), None if too small; its top left pixel."""
    part, low = part_about(rgb, quad, margin)
    return None if part is None else (part / 255).astype(np.float32), low


def luma_and_chroma(code: Array) -> Array:
    """Return codes (..., 3) as luma and weighted chroma."""
    return np.asarray(code @ TO_LUMA.T * [1, CHROMA_WEIGHT, CHROMA_WEIGHT])


def coded_positions(profile: Array, across: Array, blur: float) -> tuple[Array, Array]:
    """Return the step's place (A,) px outward and its height (A,) in linear light; NaN where no step stands.

    Parameters
    ----------
    profile : (A, V, 3) sRGB codes, 0 to 1, across the side; `across` (V,) px outward.
    blur : of the light itself, standard deviation px.
    """
    seen, total, inside, outside = _explained(profile, across, SHIFTS_PX, blur)
    at, explained, good = peaks(seen, SHIFTS_PX)
    good &= np.isfinite(profile).all((1, 2)) & (explained > LEAST_SHARE * total)
    height = np.linalg.norm(_linear(inside) - _linear(outside), axis=1)
    return np.where(good, at, np.nan), np.where(good, height, 0.0)


def _explained(profile: Array, across: Array, shifts: Array, blur: float) -> tuple[Array, Array, Array, Array]:
    """Return how much of each profile a step at each shift explains (A, S), all there is (A,), and colours beside."""
    inside, outside = profile[:, across <= -LEVEL_PX].mean(1), profile[:, across >= LEVEL_PX].mean(1)
    seen = np.nan_to_num(luma_and_chroma(profile))
    seen -= seen.mean(1, keepdims=True)
    told, size = np.zeros((2, len(seen), len(shifts)))
    for k, model in enumerate(_coded_steps(inside, outside, across, shifts, blur)):
        told += np.einsum("asv,av->as", model, np.ascontiguousarray(seen[..., k]))
        size += np.einsum("asv,asv->as", model, model)
    told = np.maximum(told / np.sqrt(np.maximum(size, 1e-12)), 0)
    return told, np.maximum((seen**2).sum((1, 2)), 1e-12), inside, outside


def _coded_steps(inside: Array, outside: Array, across: Array, shifts: Array, blur: float) -> Iterator[Array]:
    """Give the steps (A, S, V) from colour to colour (A, 3) in luma and both weighted chromas, about their means."""
    u = np.arange(across[0] - shifts[-1] - 1, across[-1] - shifts[0] + 1, TABLE_PX)
    share = ndtr(-u / blur)
    near, far = _linear(inside), _linear(outside)
    red, green, blue = (_coded(far[:, k, None] + (near[:, k] - far[:, k])[:, None] * share) for k in range(3))
    at = np.rint((across[None, :] - shifts[:, None] - u[0]) / TABLE_PX).astype(np.intp)
    first, last = int(at.min()), int(at.max())
    luma, chroma = (_spreading(len(u), first, last, sd) for sd in (U_SAMPLED_PX, U_HALVED_PX))
    for (r, g, b), matrix in zip(TO_CODE, (luma, chroma, chroma), strict=True):
        model = ((r * red + g * green + b * blue) @ matrix).take(at - first, axis=1)
        model -= model.mean(2, keepdims=True)
        yield model


def _spreading(count: int, first: int, last: int, sd: float) -> Array:
    """Return the matrix (count, last - first + 1) that spreads a row of the table by a Gaussian; its ends run on."""
    bell = _bell(sd)
    reach = len(bell) // 2
    apart = np.arange(first, last + 1) - np.arange(count)[:, None]
    matrix = np.where(np.abs(apart) <= reach, bell[np.clip(apart + reach, 0, 2 * reach)], 0.0)
    beyond = np.append(np.cumsum(bell[::-1])[::-1], 0.0)  # of all places that far out and farther
    matrix[0] += beyond[np.clip(apart[0] + 1 + reach, 0, 2 * reach + 1)]
    matrix[-1] += beyond[np.clip(1 - apart[-1] + reach, 0, 2 * reach + 1)]
    return matrix


def _blurs(seen: list[tuple[Array, Array, Array, Array]], before: tuple[float, float]) -> tuple[float, float]:
    """Return the blur of the light of each pair of opposite sides, near that of their steps in linear light."""
    best = []
    for k in (0, 1):
        near = BLURS_PX[: max(int(np.searchsorted(BLURS_PX, before[k] * 1.05, side="right")), 1)]
        loss = []
        for blur in near[-4:]:
            rest = 0.0
            for i in (k, k + 2):
                _, profile, across, _ = seen[i]
                share, total, _, _ = _explained(profile[::2], across, COARSE_PX, float(blur))
                rest += float(np.median(1 - share.max(1) ** 2 / total))
            loss.append(rest)
        best.append(float(near[-4:][int(np.argmin(loss))]))
    return best[0], best[1]


def _placed(
    quad: Array, i: int, profiles: tuple[Array, Array, Array, Array], blur: float
) -> tuple[TracedSide, Array] | None:
    along, profile, across, normal = profiles
    shift, height = coded_positions(profile, across, blur)
    return fitted_side(quad, i, along, shift, height, normal)


def _profiles(
    code: NDArray[np.float32], quad: Array, i: int, left_out: float, blur: float
) -> tuple[Array, Array, Array, Array]:
    """Return places along side `i` (A,), codes across it (A, V, 3), across (V,) px and the outward normal (2,)."""
    lengths = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    reach = min(max(REACH_PX, 2.6 * blur + 1 if blur > 1.25 else 0.0), max(OF_SIDE * float(lengths.min()), REACH_PX))
    half = int(np.ceil(reach / ACROSS_PX))
    across: Array = np.arange(-half, half + 1, dtype=np.float64) * ACROSS_PX
    ends = max(left_out, 4.0 / float(lengths[i]))
    count = max(int((1 - 2 * ends) * lengths[i] / 2.0), 6)
    along = ends + (np.arange(count) + 0.5) / count * (1 - 2 * ends)
    part = np.array([-0.33, 0.0, 0.33]) / count * (1 - 2 * ends)
    px, normal = side_points(quad, i, (along[:, None] + part).ravel(), across)
    thirds = sampled(code, px).reshape(count, 3, len(across), 3)
    return along, (thirds[:, 0] + thirds[:, 1] + thirds[:, 2]) / 3, across, normal


def _bell(sd: float) -> Array:
    x = np.arange(-np.ceil(3.5 * sd / TABLE_PX), np.ceil(3.5 * sd / TABLE_PX) + 1) * TABLE_PX
    bell = np.exp(-0.5 * (x / sd) ** 2)
    return np.asarray(bell / bell.sum())


def _linear(code: Array) -> Array:
    """Return linear light of sRGB codes 0 to 1 (IEC 61966-2-1)."""
    return np.asarray(np.interp(code, np.arange(256) / 255, LINEAR))


def _coded(light: Array) -> Array:
    """Return sRGB codes 0 to 1 of linear light (IEC 61966-2-1); single precision, 2e-7, takes half the time."""
    light = np.clip(light, 0, 1, dtype=np.float32, casting="same_kind")
    power = np.maximum(light, np.float32(1e-9)) ** np.float32(1 / 2.4)
    return np.asarray(np.where(light <= 0.0031308, 12.92 * light, 1.055 * power - 0.055), float)
