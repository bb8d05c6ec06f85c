"""Steps of colour that run along a whole side, on the wall seen straight on.

A line of an opening keeps its step from end to end; joints, bricks and plants do not. It may lean a little against the
side that it is looked for along. What also runs beyond the side's ends belongs to the wall and is taken off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.finder.wall_mask import PITCH_MM, Mask, WallView
from vision.request import Array, Side

REACH_MM = 240.0  # outward and inward of the side that is given
TILT_MM, TILT_STEP_MM = 12.5, 2.5  # how far the ends of a line lie off its middle
UPRIGHT = 0.3  # guess: by so much a line must be better that is tilted most
STEP_T, STEP_LAB = 5.0, 4.0  # a step along a side: against its scatter, and in Lab units
BLOCKS, EACH = 12, 8  # pieces of a side, samples in each
LEAST_SEEN = 0.4  # guess: of a side, beside what hangs before the wall, to tell a step along it
SHARE, MOST = 0.15, 0.6  # joints at every other course show such a share of the mean step in half of the samples
FROM, TO = 0.06, 0.94  # part of the side: at its ends the neighbours begin
BEYOND_MM = (80.0, 350.0)  # beyond both ends, where the wall's own steps are read
# Outward, in the plane of the wall: x right, y down.
NORMAL: Mapping[Side, tuple[float, float]] = {"head": (0, -1), "right": (1, 0), "sill": (0, 1), "left": (-1, 0)}


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Steps along one side: offset of the middle outward (N,) mm, of its end against it (N,) mm, size (N,) in Lab.

    `colour` (N, 3) is the step itself, outer less inner.

    `foot` is how far outward of the camera's foot the side's middle lies, mm.
    """

    at: Array
    tilt: Array
    size: Array
    colour: Array
    foot: float

    def nearest(self, place: float, within: float) -> int | None:
        """Return the number of the step nearest to a place, if any."""
        off = np.abs(self.at - place)
        return int(np.argmin(off)) if (off <= within).any() else None

    def outermost(self, inner: float, outer: float, least: float = 0.0) -> int | None:
        """Return the number of the outermost step of a size between two offsets, if any."""
        there = np.flatnonzero((self.at > inner) & (self.at < outer) & (self.size >= least))
        return int(there[np.argmax(self.at[there])]) if len(there) else None

    def strongest(self, inner: float, outer: float) -> float:
        """Return the size of the strongest step between two offsets, 0 where there is none."""
        there = (self.at > inner) & (self.at < outer)
        return float(self.size[there].max(initial=0.0))


def steps_along(view: WallView, ends: Array, foot: Array, side: Side, wall: Mask | None = None) -> Steps:
    """Return the steps of colour along one side.

    Parameters
    ----------
    view : the rectified wall.
    ends : (2, 2) px of the view, the side about which lines are looked for.
    foot : (2,) px, foot of the camera on the wall.
    side : which one.
    wall : (H, W) pixels of the wall: what its own lines beyond the ends show is taken off.
    """
    a, b = ends
    normal = np.array(NORMAL[side], float)
    reach = np.arange(-REACH_MM / PITCH_MM, REACH_MM / PITCH_MM + 1)
    shown = np.asarray(cv2.GaussianBlur(view.lab, (0, 0), 0.8), np.float32)
    line = a + np.linspace(FROM, TO, BLOCKS * EACH)[:, None] * (b - a)
    colour, seen = _sampled(shown, view.valid, line, reach, normal)
    own = np.zeros((len(reach) - 2, 3)) if wall is None else _wall_steps(shown, view.valid * wall, a, b, reach, normal)
    tilts = np.arange(-TILT_MM, TILT_MM + TILT_STEP_MM / 2, TILT_STEP_MM) / PITCH_MM
    sizes, ts, whole = (np.empty((len(tilts), len(reach) - 2)) for _ in range(3))
    means = np.empty((len(tilts), len(reach) - 2, 3))
    narrow = colour.astype(np.float32)
    if view.covered is not None:  # what hangs before the wall has sides of its own
        _, bare = _sampled(shown, np.asarray(1 - view.covered, np.uint8), line, reach, normal)
        narrow[bare == 0] = np.nan
    half = np.linspace(-1, 1, len(line))
    for i, tilt in enumerate(tilts):
        moved = _moved(narrow, tilt * half)
        step = moved[:, 2:] - moved[:, :-2] - own
        mean, error, known = _mean_step(step)
        means[i] = mean
        sizes[i] = np.linalg.norm(mean, axis=1)
        ts[i] = np.where(known >= LEAST_SEEN * len(line), sizes[i] / np.maximum(error, 0.5), 0.0)
        along = np.einsum("bmc,mc->bm", step, mean) / np.maximum(sizes[i] ** 2, 1e-9)
        whole[i] = (along > SHARE).sum(axis=0) / np.maximum(known, 1)
    level = 1 - UPRIGHT * (tilts / tilts[-1]) ** 2  # noise alone must not turn a line
    best = np.argmax(np.where(ts > STEP_T, sizes, 0.0) * level[:, None], axis=0)
    every = np.arange(len(reach) - 2)
    size, t = sizes[best, every], ts[best, every]
    peak = (
        (t > STEP_T)
        & (whole[best, every] >= MOST)
        & (size > STEP_LAB)
        & seen[:, 2:].all(axis=0)
        & seen[:, :-2].all(axis=0)
    )
    peak[[0, -1]] = False
    peak[1:-1] &= (size[1:-1] >= size[:-2]) & (size[1:-1] >= size[2:])
    n = np.flatnonzero(peak)
    curve = size[n - 1] - 2 * size[n] + size[n + 1]
    fine = np.where(curve < 0, 0.5 * (size[n - 1] - size[n + 1]) / np.where(curve < 0, curve, -1.0), 0.0)
    out = float((0.5 * (a + b) - foot) @ normal) * PITCH_MM
    return Steps((reach[1:-1][n] + fine) * PITCH_MM, tilts[best[n]] * PITCH_MM, size[n], means[best[n], n], out)


def _mean_step(step: Array) -> tuple[Array, Array, Array]:
    """Return the mean (M, 3) of steps (N, M, 3), its standard error (M,) by the pieces of the side, and how many (M,).

    Steps that are not seen are NaN and do not count.
    """
    seen = np.isfinite(step[..., 0])
    if seen.all():
        pieces = step.reshape(BLOCKS, EACH, *step.shape[1:]).mean(axis=1)
        error = np.linalg.norm(pieces.std(axis=0, ddof=1), axis=1) / np.sqrt(BLOCKS)
        return step.mean(axis=0), error, np.full(step.shape[1], len(step))
    known = np.where(seen[..., None], step, 0.0)
    n = np.asarray(seen.sum(axis=0))
    mean = known.sum(axis=0) / np.maximum(n, 1)[:, None]
    in_piece = seen.reshape(BLOCKS, EACH, -1).sum(axis=1)
    pieces = known.reshape(BLOCKS, EACH, *mean.shape).sum(axis=1) / np.maximum(in_piece, 1)[..., None]
    of_pieces = (in_piece[..., None] * (pieces - mean) ** 2).sum(axis=(0, 2)) / EACH  # a piece half seen counts half
    whole = np.maximum(n / EACH, 1.0)
    return mean, np.sqrt(of_pieces / np.maximum(whole - 1, 1.0) / whole), n


def moved_ends(ends: Array, side: Side, at: float, tilt: float) -> Array:
    """Return the ends (2, 2) px moved outward by `at` mm in the middle and `tilt` mm more at the second end."""
    return np.asarray(ends + np.array([[at - tilt], [at + tilt]]) / PITCH_MM * np.array(NORMAL[side]))


def _moved(colour: NDArray[np.float32], shift: Array) -> Array:
    """Return profiles (N, M, 3) taken `shift` (N,) px further out each."""
    n, m = colour.shape[:2]
    x = (np.arange(m) + shift[:, None]).astype(np.float32)
    y = np.repeat(np.arange(n, dtype=np.float32)[:, None], m, axis=1)
    return np.asarray(cv2.remap(colour, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), float)


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
    beyond = np.arange(BEYOND_MM[0] / PITCH_MM, BEYOND_MM[1] / PITCH_MM)[:, None] * along
    colour, seen = _sampled(shown, wall, np.concatenate([a - beyond, b + beyond]), reach, normal)
    count = seen.sum(axis=0)
    mean = (colour * seen[..., None]).sum(axis=0) / np.maximum(count, 1)[:, None]
    enough = (count[2:] > 20) & (count[:-2] > 20)
    return np.asarray((mean[2:] - mean[:-2]) * enough[:, None])
