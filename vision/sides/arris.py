"""Where the inner face begins behind a rounded arris, from the light across it.

A quarter round of radius r between two faces takes the light f = ambient + direct * max(0, cos a + beta * sin a)
(Lambert 1760), a the turn of its normal from the front face (0) to the inner face (90 degrees), beta the ratio of the
direct light on the two faces (negative: the inner face turns away from the sun). Seen from the front the arc takes the
r outermost mm; a tape touches at its inner end, while the middle of the step stands up to r further out, by the light.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vision.request import Array

PITCH_PX = 0.25  # of the profiles across a side
REACH_PX = 9.0  # of the profiles to either side
SLACK_PX = 6.0  # by which templates are longer, so that they can be shifted
RADII_PX = np.concatenate([np.arange(0, 3, 0.5), np.arange(3.0, 9.0, 1.0)])  # tried; 0 is sharp
BETAS = np.array([-1.5, -0.8, -0.4, -0.15, 0.0, 0.15, 0.4, 0.8, 1.25, 1.8, 3.0, 8.0])
SHIFTS_PX = np.arange(-5.0, 4.01, PITCH_PX)  # of the inner end of the arc against the step, outward
U_RADIUS_MM = 1.5  # guess: arrises of brick, stone, render and trim are rounded by 1 to 3 mm
BLUR_STEP_PX = 0.05  # templates are kept for blurs that far apart
LEAST_BLUR_PX = 0.7  # lens, pixel and sampling of the strip together
RESOLVED_MM_PER_PX = 0.8  # coarser photos hide the round within the blur
BLUR_FACTORS = (0.9, 1.0, 1.12, 1.25)  # of the photo's blur: at a side it is not known better
OCCAM = 6.0  # a round must explain this much more chi-square than a sharp arris
MODEL_ERROR = 0.03  # guess: share of the contrast that the model does not explain


@dataclass(frozen=True, slots=True)
class Arris:
    """Inner end of the arc against the place of the step, px outward, with its standard uncertainty."""

    shift_px: float
    u_px: float


def offsets_px() -> Array:
    """Return the places (M,) px, outward positive, on which profiles are wanted."""
    return np.arange(-REACH_PX, REACH_PX + PITCH_PX / 2, PITCH_PX)


def step_blur_px(profile: Array) -> float:
    """Return the standard deviation px of the blur of a step from its 25 to 75 % width (1.349 for a Gaussian)."""
    at = offsets_px()
    core = np.abs(at) <= 3
    low, high = np.median(profile[(at >= -3) & (at < -1.75)]), np.median(profile[(at > 1.75) & (at <= 3)])
    if abs(high - low) < 0.02:
        return float("inf")
    share = (profile[core] - low) / (high - low)
    first = np.argmax(share > 0.25)
    last = np.argmax(share > 0.75)
    if first == 0 or last <= first - 1:
        return float("inf")

    def crossing(k: int, level: float) -> float:
        return float(at[core][k] - PITCH_PX * (share[k] - level) / max(share[k] - share[k - 1], 1e-6))

    return (crossing(int(last), 0.75) - crossing(int(first), 0.25)) / 1.349


@lru_cache(maxsize=32)
def _templates(blur_steps: int) -> tuple[Array, Array]:
    """Return templates (T, M) on offsets widened by SLACK_PX, and their radius (T,); the arc's inner end lies at 0."""
    fine = 8
    y = np.arange(round(2 * (REACH_PX + SLACK_PX) / PITCH_PX) * fine) - (REACH_PX + SLACK_PX) / PITCH_PX * fine
    y = y * PITCH_PX / fine
    kernel_y = np.arange(-4.5, 4.5 + 1e-9, PITCH_PX / fine)
    kernel = np.exp(-0.5 * (kernel_y / (blur_steps * BLUR_STEP_PX)) ** 2)
    kernel /= kernel.sum()
    beta, radius = np.meshgrid(BETAS, RADII_PX)
    kept = (radius > 0) | (beta == BETAS[0])  # a sharp arris is one, whatever the light
    beta, radius = beta[kept], radius[kept]
    x = np.clip(1 - y / np.maximum(radius, 1e-6)[:, None], 0, 1)
    light = np.maximum(0, np.sqrt(1 - x**2) + beta[:, None] * x)
    padded = np.pad(light, ((0, 0), (len(kernel) // 2,) * 2), mode="edge")
    return np.lib.stride_tricks.sliding_window_view(padded, len(kernel), axis=1)[:, ::fine] @ kernel, radius


def find_arris(profile: Array, blur_px: float, inner_px: float, outer_px: float, mm_per_px: float) -> Arris | None:
    """Return where the inner face begins, or None where the brightness does not tell.

    Parameters
    ----------
    profile : (M,) linear brightness on `offsets_px`, 0 at the step as placed
    blur_px : blur of the photo as sampled, standard deviation
    inner_px, outer_px : reach that is free of other lines
    mm_per_px : scale across the side
    """
    if mm_per_px > RESOLVED_MM_PER_PX:
        return None
    at = offsets_px()
    window = (at >= -inner_px) & (at <= outer_px) & np.isfinite(profile)
    if np.count_nonzero(window) < 16:
        return None
    span = float(np.ptp(profile[window]))
    if span < 0.02:
        return None
    value = profile[window] - profile[window].mean()
    banks = [_templates(round(np.clip(max(blur_px, LEAST_BLUR_PX) * k, 0.5, 1.8) / BLUR_STEP_PX)) for k in BLUR_FACTORS]
    shapes, radius = (np.concatenate(part) for part in zip(*banks, strict=True))
    places = np.flatnonzero(window) + round(SLACK_PX / PITCH_PX)
    cost = np.empty((len(SHIFTS_PX), len(shapes)))
    for i, shift in enumerate(SHIFTS_PX):
        g = shapes[:, places - round(shift / PITCH_PX)]
        g = g - g.mean(axis=1, keepdims=True)
        along = g @ value
        fit = along**2 / (np.einsum("ij,ij->i", g, g) + 1e-9)
        cost[i] = value @ value - np.where((along > 0) | (radius == 0), fit, 0.0)
    chi2 = cost * PITCH_PX / (MODEL_ERROR * span) ** 2  # neighbours within a pixel are not independent
    chi2 += (radius * mm_per_px / U_RADIUS_MM) ** 2 + np.where(radius > 0, OCCAM, 0.0)
    weight = np.exp(-0.5 * (chi2 - chi2.min()))
    weight /= weight.sum()
    by_shift = weight[:, radius > 0].sum(axis=1)
    sharp = float(weight[:, radius == 0].sum())  # a sharp arris lies where the step was placed
    mean = float(by_shift @ SHIFTS_PX)
    u = float(np.sqrt(by_shift @ (SHIFTS_PX - mean) ** 2 + sharp * mean**2))
    return Arris(mean, u)
