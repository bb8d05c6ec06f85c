"""Where the texture of a receding face ends: evidence for an arris that needs no difference in brightness.

A front face shows its grain and joints as they are. A face that recedes behind an arris (a sill's top, a reveal) shows
them foreshortened: squeezed across the side and sheared along the rays toward the foot of the camera's perpendicular
(plane perspective of a plane normal to the wall). With g_u, g_v the gradients of log light along and across the side,
the share of energy across, A = ln(E[g_v^2] / E[g_u^2]) / 2, therefore rises inward of an arris, and with s the known
shear du/dv, B = ln(E[(g_v + s g_u)^2] / E[g_v^2]) / 2 falls: lines that run into the depth, joints above all, have
g_v + s g_u = 0. Both are ratios within one face, so light and shade do not move them. The change is held against its
scatter between pieces of the side (Student's t), since joints and stains differ from piece to piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.camera import Camera
from vision.request import Array
from vision.srgb import LUMA
from vision.strips.profiles import Strip
from vision.strips.strip_line import Line, legendre

PIECES = 16  # of a side
SURE_T = 6.0  # of an end that no line shows
PARALLEL_PX = 3.0  # between the ends of a side: how far its lines may be from parallel
BASE_STEPS = 3  # rows of half a pixel between the two ends of a gradient
SKIP_PX = 1.25  # blur of the arris itself, left out
BAND_PX = 5.0  # reach of each face that is looked at
LEAST_BAND_PX = 1.5  # of a face that is looked at, across
LEAST_SPREAD = 0.04  # of A - B between pieces: noise of pieces without grain
STEEPEST = 2.0  # guess: a face is sheared no more by the view, so far aside a camera seldom stands
BESIDE_LINE_PX = 1.75  # blur of a line, and the base of the gradients
LEAST_ROWS = 2.0  # of a face in a piece, below which the piece tells nothing (a guess)
INDEPENDENT = 2.0  # samples to one independent value, in each direction
TINY = 1e-7
LIMIT = 0.5  # of one gradient, so that a stain or a twig does not decide


@dataclass(frozen=True, slots=True, eq=False)
class Texture:
    """Running sums along v, from the inside, of energies (4, K, V+1): g_u^2, g_v^2, g_u g_v and rows counted.

    `shear` (K,) and `t` (K,) by piece of the side; `columns` samples along each piece.
    """

    sums: Array
    shear: Array
    t: Array
    columns: float
    first_mm: float
    pitch_mm: float
    mm_per_px: float


@dataclass(frozen=True, slots=True, eq=False)
class TextureEnd:
    """A place where a receding face ends: shape (3,) mm as of a line, and Student's t of the change."""

    shape: Array
    t_value: float


def texture_of(strip: Strip, camera: Camera, lines: Sequence[Line]) -> Texture:
    """Return the energies of the gradients of log light in pieces along a strip.

    Steps along the side are no texture: the mean of each piece is taken out of g_v, and rows beside the strong `lines`
    are not counted.
    """
    light = np.log(np.maximum(np.nan_to_num(strip.colour @ np.array(LUMA, np.float32)), 0.0) + np.float32(0.01))
    pitch_u = float(strip.u_mm[1] - strip.u_mm[0]) / strip.mm_per_px
    pitch_v = float(strip.v_mm[1] - strip.v_mm[0])
    along = np.diff(light, axis=0)
    gu = (along[:, 1:-2] + along[:, 2:-1]) / (2 * pitch_u)
    gv = light[:, BASE_STEPS:] - light[:, :-BASE_STEPS]
    gv = (gv[1:] + gv[:-1]) / (2 * BASE_STEPS * pitch_v / strip.mm_per_px)
    edges = np.linspace(0, len(gu), PIECES + 1).astype(int)
    counts = np.diff(edges)
    gv = gv - np.repeat(np.add.reduceat(gv, edges[:-1], axis=0) / counts[:, None], counts, axis=0)
    gu, gv = np.clip(gu, -LIMIT, LIMIT), np.clip(gv, -LIMIT, LIMIT)
    energy = np.stack([np.add.reduceat(x, edges[:-1], axis=0) for x in (gu * gu, gv * gv, gu * gv)])
    energy = energy.astype(float) / counts[:, None]
    middle = strip.u_mm[(edges[:-1] + edges[1:]) // 2]
    t = 2 * middle / strip.u_mm[-1] - 1
    first = float(strip.v_mm[0]) + BASE_STEPS / 2 * pitch_v
    rows = first + pitch_v * np.arange(energy.shape[2])
    seen = np.ones(energy.shape[1:])
    for line in lines:
        beside = np.abs(rows - (legendre(t) @ line.shape)[:, None])
        seen[beside < BESIDE_LINE_PX * strip.mm_per_px] = 0.0
    away = camera.centre_mm()[:2] - strip.origin_mm
    across = float(away @ strip.normal)
    shear = (float(away @ strip.direction) - middle) / (np.sign(across) * max(abs(across), 1.0))
    sums = np.cumsum(np.concatenate([energy * seen, seen[None]]), axis=2)
    return Texture(
        np.ascontiguousarray(np.pad(np.moveaxis(sums, 0, -1), ((0, 0), (1, 0), (0, 0)))),
        np.clip(shear, -STEEPEST, STEEPEST),
        t,
        float(counts.mean()),
        first,
        pitch_v,
        strip.mm_per_px,
    )


def changes(texture: Texture, shapes_mm: Array, inner_px: float = BAND_PX) -> Array:
    """Return Student's t (N,) of the change of A - B inward across lines of shapes (N, 3) mm; + as at an arris.

    `inner_px`: how far the face inward of the line reaches at most. NaN where too little is seen.
    """
    inner = float(np.clip(inner_px, LEAST_BAND_PX, BAND_PX))
    within, beyond = _faces(texture, shapes_mm, SKIP_PX, inner)
    change = _ratio(within, texture.shear) - _ratio(beyond, texture.shear)
    good = (within[3] >= LEAST_ROWS) & (beyond[3] >= LEAST_ROWS)
    n = np.maximum(np.count_nonzero(good, axis=1), 1)
    mean = np.where(good, change, 0.0).sum(axis=1) / n
    spread = np.sqrt(np.where(good, (change - mean[:, None]) ** 2, 0.0).sum(axis=1) / np.maximum(n - 1, 1))
    value = mean / np.hypot(spread, LEAST_SPREAD) * np.sqrt(n)
    return np.where(n >= PIECES // 2, value, np.nan)


def likelihood_gain(texture: Texture, shapes_mm: Array, inner_px: float = BAND_PX) -> Array:
    """Return the log likelihood (N,) gained by two faces instead of one: gradients Gaussian, one covariance a face."""
    within, beyond = _faces(texture, shapes_mm, 0.5, float(np.clip(inner_px, LEAST_BAND_PX, BAND_PX)))

    def cost(e: Array) -> Array:
        n = np.maximum(e[3], 1e-9)
        uu, vv, uv = e[0] / n + TINY, e[1] / n + TINY, e[2] / n
        return np.asarray(e[3] * np.log(np.maximum(uu * vv - uv**2, TINY**2)))

    good = (within[3] >= LEAST_ROWS) & (beyond[3] >= LEAST_ROWS)
    gain = np.where(good, cost(within + beyond) - cost(within) - cost(beyond), 0.0)
    each = texture.columns / INDEPENDENT * texture.pitch_mm / texture.mm_per_px / INDEPENDENT
    return np.asarray(0.5 * each * gain.sum(axis=1))


def _faces(t: Texture, shapes_mm: Array, skip_px: float, inner_px: float) -> tuple[Array, Array]:
    """Return the energies (4, N, K) of the faces inward and outward of lines."""
    per_px = t.mm_per_px / t.pitch_mm
    at = (np.atleast_2d(shapes_mm) @ legendre(t.t).T - t.first_mm) / t.pitch_mm
    last = t.sums.shape[1] - 1
    row, flat = (last + 1) * np.arange(len(t.sums)), t.sums.reshape(-1, t.sums.shape[2])

    def total(low: Array, high: Array) -> Array:
        a, b = (row + np.clip(np.rint(v).astype(int), 0, last) for v in (low, high))
        return np.asarray(np.moveaxis(flat.take(b, axis=0) - flat.take(a, axis=0), -1, 0))

    within = total(at - (skip_px + inner_px) * per_px, at - skip_px * per_px)
    return within, total(at + skip_px * per_px, at + (skip_px + BAND_PX) * per_px)


def _ratio(e: Array, shear: Array) -> Array:
    """Return A - B (N, K) of energies (4, N, K)."""
    n = np.maximum(e[3], 1e-9)
    uu, vv, uv = e[0] / n, e[1] / n, e[2] / n
    along = np.maximum(vv + 2 * shear * uv + shear**2 * uu, 0.0)
    return np.asarray(np.log(vv + TINY) - 0.5 * np.log(uu + TINY) - 0.5 * np.log(along + TINY))


def find_end(
    texture: Texture, reach_px: tuple[float, float], tilt_px: float | None, inner_px: float
) -> TextureEnd | None:
    """Return the clearest place within reach (inner, outer) where a receding face ends, or None where none is clear.

    `tilt_px`: half the difference of the ends' places that known lines of the side have; None where none is known.
    Where no texture ends along them they may be slanted readings of joints and stains: then as the corners point.
    """
    far = 0.6 * reach_px[1]
    if tilt_px is None:
        return _clearest(texture, reach_px, (-far, far), inner_px)
    along = _clearest(texture, reach_px, (tilt_px - PARALLEL_PX, tilt_px + PARALLEL_PX), inner_px)
    return _clearest(texture, reach_px, (-PARALLEL_PX, PARALLEL_PX), inner_px) if along is None else along


def _clearest(
    texture: Texture, reach_px: tuple[float, float], tilts_px: tuple[float, float], inner_px: float
) -> TextureEnd | None:
    """Return the clearest end with its middle within reach and its tilt between two, or None."""
    mm = texture.mm_per_px
    offsets = np.arange(reach_px[0], reach_px[1] + 0.1, 0.5)
    tilts = np.arange(tilts_px[0], tilts_px[1] + 0.1, 0.5)
    grid = np.stack([*np.meshgrid(offsets, tilts, indexing="ij"), np.zeros((len(offsets), len(tilts)))], axis=-1)
    shapes = grid.reshape(-1, 3) * mm
    t = np.nan_to_num(changes(texture, shapes, inner_px))
    gain = likelihood_gain(texture, shapes, inner_px)
    best = int((np.clip(t, 0.0, 10.0) * np.sqrt(np.maximum(gain, 0.0))).argmax())
    peak = float(t[best])
    if peak < SURE_T:
        return None
    # t is broad; the likelihood is sharp where the two faces meet
    near = (np.abs(shapes - shapes[best])[:, :2] <= 2.5 * mm).all(axis=1) & (t > 0.6 * t[best])
    best = int(np.where(near, gain, -np.inf).argmax())
    return TextureEnd(shapes[best], peak)
