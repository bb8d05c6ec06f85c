"""A line of a strip along one side: its shape by Legendre polynomials, and the colour step across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.request import Array

# Half of the blur of a sharp photo is left out of the step's two means; how far they reach beyond (a guess). Lines
# nearer to each other than MERGE_PX are one.
GAP_PX, WINDOW_PX, MERGE_PX = 0.75, 2.5, 1.6


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line of the strip, v(t) = a0 + a1 t + a2 (3 t^2 - 1) / 2 in mm on t in -1..1, and what speaks for it.

    `shape` (3,) is a0, a1, a2: offset, slope and bow along the side. `step` (3,) is the mean colour step, outer minus
    inner, `outer` and `inner` (3,) the usual colours on its two sides, `contrast` the length of the step, `t_value` the
    contrast over its standard error from the pieces, `coverage` the share of pieces that show the step. `peak` is near
    1 for a step and near 0 within a soft gradient. `over_texture` is the contrast over that of a usual step beside the
    line, away from clearer lines: what a face without edges shows by chance.
    """

    shape: Array
    step: Array
    contrast: float
    t_value: float
    coverage: float
    peak: float
    outer: Array
    inner: Array
    over_texture: float = np.inf


def legendre(t: Array) -> Array:
    """Return P0, P1, P2 (N, 3) at t in -1..1: a bow so written leaves the straight line of least squares alone."""
    return np.stack([np.ones_like(t), t, 1.5 * t**2 - 0.5], axis=-1)


def steps_across(
    profiles: Array, pitch_px: float, gap_px: float = GAP_PX, window_px: float = WINDOW_PX
) -> tuple[Array, Array, Array]:
    """Return outer minus inner, outer and inner mean colours (K, V, 3) about every place of the profiles (K, V, 3).

    A sample stands for its whole pitch, and of those at the ends of a window only what lies within counts: rounded to
    whole samples, a gap of one and a half hung on the last digits of the camera.
    """
    gap, width = gap_px / pitch_px, max(window_px / pitch_px, 2.0)
    total = np.cumsum(np.pad(profiles, ((0, 0), (1, 0), (0, 0))), axis=1)
    last = profiles.shape[1]
    middle = 0.5 + np.arange(last, dtype=float)

    def up_to(place: Array) -> Array:
        low = np.minimum(place.astype(int), last - 1)
        part = (place - low)[:, None]
        return np.asarray(total[:, low] * (1 - part) + total[:, low + 1] * part)

    def mean(low: Array, high: Array) -> Array:
        low, high = np.clip(low, 0, last - 1), np.clip(high, 1, last)
        return np.asarray((up_to(high) - up_to(low)) / (high - low)[:, None])

    outer = mean(middle + gap, middle + gap + width)
    inner = mean(middle - gap - width, middle - gap)
    return outer - inner, outer, inner


def sample(field: Array, index: Array) -> Array:
    """Return values (..., K, C) of field (K, V, C) at fractional places index (..., K) of its second axis (linear)."""
    index = np.clip(index, 0, field.shape[1] - 1.001)
    low = index.astype(int)
    part = (index - low)[..., None]
    low += field.shape[1] * np.arange(field.shape[0])
    flat = field.reshape(-1, field.shape[2])
    return np.asarray(flat.take(low, axis=0) * (1 - part) + flat.take(low + 1, axis=0) * part)


def apart_mm(a: Array, b: Array) -> float:
    """Return the rms distance in mm of two shapes (3,); the mean squares of P0, P1, P2 are 1, 1/3, 1/5."""
    d = a - b
    return float(np.sqrt(d @ (np.array([1, 1 / 3, 1 / 5]) * d)))


def crossing(a: Line, b: Line) -> bool:
    """Return whether two lines meet within the side: real ones do not, a slanted ghost of a strong one does."""
    apart = legendre(np.linspace(-0.9, 0.9, 9)) @ (a.shape - b.shape)
    return bool(apart.min() * apart.max() <= 0)
