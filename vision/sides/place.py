"""Sub-pixel place of one line in a strip: local edge samples, straight line and bow, honest scatter.

Each sample is the place where a sharp step between the local outer and inner level would hold the same light as the
blurred one does (moment-preserving location, Tabatabai & Mitchell 1984), in linear light, along the colour step of the
whole side. Blur symmetric about the edge does not move it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vision.request import Array
from vision.srgb import LUMA
from vision.strips.profiles import Strip
from vision.strips.strip_line import legendre

SAMPLE_MM = 4.0  # along the side, of one local edge
SMOOTH = 5  # samples to one local position: a tape's blade is 16 to 25 mm wide
FINE_PX = 0.25  # grid across the side
MAX_WINDOW_PX = 5.0  # about the line, where the next one leaves so much room
LEAST_STEP = 0.01  # of linear light: a fainter step's spread is noise
CORE_PX = 1.25  # the levels are read outside this: half of the blur
# Guesses from drawn and rendered edges: what two lit faces, blur and JPEG leave however long the side is.
U_OFFSET_PX, U_SLOPE_PX, U_ARRIS_MM = 0.15, 0.08, 0.15
# In a smeared photo lines beside the side are not parted from it any more, and draw it: by how much its step is spread
# beyond a sharp one's (standard deviations px, squares subtracted), times these. From photos moved by 2 to 6 px against
# themselves unmoved: rms 0.13, 0.24, 0.38 px at an excess of 0.5, 0.9, 1.5 px.
SHARP_PX, OFFSET_OF_SPREAD, SLOPE_OF_SPREAD = 1.1, 0.26, 0.1
BRICK_MM = 75.0  # a course: errors of the trace within one brick stand or fall together


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Shape (3,) mm of the placed line, samples (u, v - straight line) mm, what was kept, and the noise of it all.

    `local_mm` (N,) at `u_mm` (N,) are running means; `sample_mm` (M,) at `sample_u_mm` (M,) single samples, NaN unseen.
    """

    shape: Array
    cov: Array
    u_mm: Array
    local_mm: Array
    jitter_mm: float
    u_local_mm: float
    scatter_mm: float
    coverage: float
    sample_u_mm: Array
    sample_mm: Array


def place_line(
    strip: Strip, shape: Array, inner_px: float, outer_px: float, *, uneven_mm: float = 0.0
) -> Placed | None:
    """Return the line placed to sub-pixels, or None where fewer than a tenth of the samples show the step.

    Parameters
    ----------
    shape : (3,) Legendre coefficients in mm of the start
    inner_px, outer_px : free space to the next line on each side
    uneven_mm : how far a piece may end off the line; it is looked for so far at least where there is room
    """
    widest = max(MAX_WINDOW_PX, uneven_mm / strip.mm_per_px)
    inner = _whole(float(np.clip(inner_px - 1.0, 2.0, widest)))
    outer = _whole(float(np.clip(outer_px - 1.0, 2.0, widest)))
    u, rows = _gather(strip)
    t = 2 * u / strip.u_mm[-1] - 1
    base = legendre(t)
    mm = strip.mm_per_px
    now = np.asarray(shape, float)
    local = np.zeros(len(u))
    for last in (False, False, False, True):
        start = base @ now + (ndimage.median_filter(local, 9, mode="nearest") if last else 0.0)
        place, good, noise = _samples(strip, rows, start, inner, outer)
        if np.count_nonzero(good) < max(8, len(u) // 10):
            return None
        v = start + place * mm
        now, weight = _robust_fit(base, v, good, now)
        local = np.where(good, v - base @ now, 0.0)
    kept = good & (weight > 0)
    residual = v - base @ now
    scatter = 1.4826 * float(np.median(np.abs(residual[kept])))
    cov = _covariance(base[kept], residual[kept], u[kept], max(noise * mm, 0.02 * mm), mm)
    straight = v - base[:, :2] @ now[:2]
    near = good & (np.abs(residual) < max(6 * scatter, 1.5 * mm, 3.0))
    made = Placed(
        now,
        cov,
        u[near],
        ndimage.uniform_filter1d(straight[near], SMOOTH, mode="nearest"),
        float(np.std(straight[near] - ndimage.median_filter(straight[near], 9, mode="nearest"))),
        float(np.hypot(noise * mm / np.sqrt(SMOOTH), 0.12 * mm)),
        scatter,
        float(np.mean(kept)),
        u,
        np.where(good, straight, np.nan),
    )
    more = max(spread_px(strip, made, inner, outer) ** 2 - SHARP_PX**2, 0.0) * mm**2
    offset, slope = OFFSET_OF_SPREAD**2 * more, SLOPE_OF_SPREAD**2 * more
    return replace(made, cov=cov + np.diag([offset, slope, slope]))


def unplaced(shape: Array) -> Placed:
    """Return a line of shape (3,) mm of which no sample shows the step."""
    none = np.zeros(0)
    return Placed(np.asarray(shape, float), np.zeros((3, 3)), none, none, 0.0, 0.0, 0.0, 0.0, none, none)


def spread_px(strip: Strip, placed: Placed, inner: float, outer: float) -> float:
    """Return the standard deviation px of the step's blur by its 25 to 75 % width (1.349 for a Gaussian); 0: unseen."""
    at = np.arange(-inner, outer + FINE_PX / 2, FINE_PX)
    light = stack_profile(strip, placed, at)
    if not np.isfinite(light).all():
        return 0.0
    low, high = light[at <= 0.75 - inner].mean(), light[at >= outer - 0.75].mean()
    if abs(high - low) < LEAST_STEP:
        return 0.0
    share = (light - low) / (high - low)
    places = []
    for level in (0.25, 0.75):
        k = np.flatnonzero((share[:-1] < level) & (share[1:] >= level))
        if not len(k):
            return 0.0
        k = k[np.argmin(np.abs(at[k]))]
        places.append(at[k] + FINE_PX * (level - share[k]) / (share[k + 1] - share[k]))
    return float(abs(places[1] - places[0]) / 1.349)


def _whole(reach_px: float) -> float:
    """Return a reach rounded to the fine grid, so that the samples tile the window."""
    return round(reach_px / FINE_PX) * FINE_PX


def stack_profile(strip: Strip, placed: Placed, at_px: Array) -> Array:
    """Return the mean linear brightness (M,) at places at_px outward of the edge as it runs, roughness taken out."""
    local = np.interp(strip.u_mm, placed.u_mm, ndimage.median_filter(placed.local_mm, 9, mode="nearest"))
    edge = legendre(2 * strip.u_mm / strip.u_mm[-1] - 1)[:, :2] @ placed.shape[:2] + local
    pitch = float(strip.v_mm[1] - strip.v_mm[0])
    light = strip.colour @ np.array(LUMA, np.float32)
    index = (edge[:, None] + at_px * strip.mm_per_px - strip.v_mm[0]) / pitch
    inside = np.all((index >= 0) & (index <= light.shape[1] - 1.001), axis=0)
    index = np.clip(index, 0, light.shape[1] - 1.001)
    low = index.astype(int)
    k = np.arange(len(light))[:, None]
    value = light[k, low] * (1 - (index - low)) + light[k, low + 1] * (index - low)
    seen = np.isfinite(value).all(axis=1)
    mean = value[seen].mean(axis=0) if seen.any() else np.zeros(len(at_px))
    return np.where(inside, mean, np.nan)


def _gather(strip: Strip) -> tuple[Array, Array]:
    """Return middles (N,) mm and mean linear colours (N, V, 3) of pieces of about SAMPLE_MM along the side."""
    pitch = float(strip.u_mm[1] - strip.u_mm[0])
    each = max(round(SAMPLE_MM / pitch), 1)
    count = len(strip.u_mm) // each
    rows = strip.colour[: count * each].reshape(count, each, *strip.colour.shape[1:]).mean(axis=1)
    u = strip.u_mm[: count * each].reshape(count, each).mean(axis=1)
    return u, rows.astype(float)


def _samples(
    strip: Strip, rows: Array, start: Array, inner: float, outer: float
) -> tuple[Array, NDArray[np.bool_], float]:
    """Return place (N,) px of the step outward of `start`, which samples show it, and the noise (px) of one."""
    pitch = float(strip.v_mm[1] - strip.v_mm[0])
    offset = np.arange(-inner, outer + FINE_PX / 2, FINE_PX)
    index = (start[:, None] - strip.v_mm[0] + offset * strip.mm_per_px) / pitch
    inside = (index[:, 0] >= 0) & (index[:, -1] <= rows.shape[1] - 1)
    index = np.clip(index, 0, rows.shape[1] - 1.001)
    low = index.astype(int)
    part = (index - low)[..., None]
    k = np.arange(len(rows))[:, None]
    colour = rows[k, low] * (1 - part) + rows[k, low + 1] * part
    out, into = offset >= CORE_PX, offset <= -CORE_PX
    steps = colour[:, out].mean(axis=1) - colour[:, into].mean(axis=1)
    seen = inside & np.isfinite(steps).all(axis=1)
    if not seen.any():
        return np.zeros(len(rows)), seen, 0.0
    step = np.median(steps[seen], axis=0)
    axis = step / max(float(np.linalg.norm(step)), 1e-9)
    value = colour @ axis
    high, base = value[:, out].mean(axis=1), value[:, into].mean(axis=1)
    contrast = high - base
    usual = float(np.median(contrast[seen]))
    good = seen & (contrast > 0.3 * usual) & (contrast < 3 * usual)
    safe = np.where(good, contrast, 1.0)
    share = (high[:, None] - value) / safe[:, None]
    place = share.sum(axis=1) * FINE_PX - inner - FINE_PX / 2  # each sample stands for FINE_PX about it
    good &= np.abs(place) < min(inner, outer) - 0.3
    rough = np.diff(place[good]) if np.count_nonzero(good) > 8 else np.array([0.3])
    noise = 1.4826 * float(np.median(np.abs(rough))) / np.sqrt(2)
    return np.where(good, place, 0.0), good, noise


def _robust_fit(base: Array, v: Array, good: NDArray[np.bool_], start: Array) -> tuple[Array, Array]:
    """Return Legendre coefficients (3,) and weights (N,) by reweighted least squares, Tukey's bisquare at 4.685."""
    shape = start
    weight = good.astype(float)
    for _ in range(8):
        r = v - base @ shape
        scale = 1.4826 * float(np.median(np.abs(r[good]))) + 1e-3
        z = np.abs(r) / (4.685 * scale)
        weight = np.where(good & (z < 1), (1 - np.minimum(z, 1) ** 2) ** 2, 0.0)
        if np.count_nonzero(weight) < 6:
            break
        shape = np.linalg.lstsq(base * np.sqrt(weight)[:, None], v * np.sqrt(weight), rcond=None)[0]
    return np.asarray(shape), weight


def _covariance(base: Array, residual: Array, u: Array, noise: float, mm: float) -> Array:
    """Return the covariance (3, 3) mm2 of the coefficients: pieces of a brick's length vary as one."""
    group = (u // BRICK_MM).astype(int)
    counts = np.bincount(group)
    means = np.bincount(group, residual)[counts > 0] / counts[counts > 0]
    spread = 1.4826 * float(np.median(np.abs(means))) if len(means) > 3 else noise
    normal = base.T @ base * (np.count_nonzero(counts) / len(u))
    each = np.hypot(0.35 * spread, noise)
    floor = (U_OFFSET_PX * mm) ** 2 + U_ARRIS_MM**2
    cov = np.linalg.pinv(normal) * each**2 + np.diag([floor, (U_SLOPE_PX * mm) ** 2, (U_SLOPE_PX * mm) ** 2])
    return np.asarray(cov)
