"""How probably readings lie within their tolerance (JCGM 106), and the smallest slip that would be stopped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sizing.mixture import Mixture
from vision.request import Array

Places = np.ndarray[tuple[int], np.dtype[np.int64]]
Flags = NDArray[np.bool_]

# Contract, Decision: level of `differs`; JCGM 106 leaves the levels to the user.
P_DIFFERS = 0.05
# Contract, Words: the smallest slip is seen with this probability.
P_SEEN = 0.95
# Standard deviations beyond which nothing is left of a Gaussian.
_FAR = 9.0
# Places that are looked at together first; a bracket is cut into so many parts, so often (to 1e-4 of u).
_FIRST_BLOCK = 8
_PARTS, _PASSES = 12, 3
# Of `differs`, what lines too far and too light to be looked at may have.
_FAR_SHARE = 0.8


def probabilities(
    readings_mm: Array, mixtures: Sequence[Mixture], under_mm: Array, over_mm: Array
) -> tuple[Array, Array, Array]:
    """Return the probabilities (n,) that readings, one each of several measures, are within, too short, too long."""
    stack = _stacked(mixtures, under_mm, over_mm)
    beyond = readings_mm - np.array([m.value_mm for m in mixtures])
    error = beyond[:, None] - stack.shifts_mm
    short, long = (
        np.einsum("nk,nk->n", ndtr(z / stack.u_all_mm), stack.weights)
        for z in (-under_mm[:, None] - error, error - over_mm[:, None])
    )
    return _within(beyond[:, None], stack)[:, 0], short, long


@dataclass(frozen=True, slots=True, eq=False)
class _Stack:
    """Several mixtures of as many components, light ones added: shifts from the best value, u, weights (n, K)."""

    shifts_mm: Array
    u_all_mm: Array
    weights: Array
    under_mm: Array
    over_mm: Array

    def of(self, rows: Places) -> _Stack:
        """Return some of the rows."""
        return _Stack(*(v[rows] for v in (self.shifts_mm, self.u_all_mm, self.weights, self.under_mm, self.over_mm)))


def _stacked(mixtures: Sequence[Mixture], under_mm: Array, over_mm: Array) -> _Stack:
    most = max(len(m.weights) for m in mixtures)
    shifts, u, weights = np.zeros((3, len(mixtures), most))
    for row, m in enumerate(mixtures):
        count = len(m.weights)
        shifts[row, :count] = m.means_mm - m.value_mm
        shifts[row, count:] = shifts[row, 0]
        u[row, :count] = m.u_all_mm
        u[row, count:] = u[row, 0]
        weights[row, :count] = m.weights
    return _Stack(shifts, np.maximum(u, 1e-9), weights, under_mm, over_mm)


def _within(beyond_mm: Array, stack: _Stack) -> Array:
    """Return P(-under <= reading - opening <= over) (n, X) of readings that lie (n, X) mm beyond the best values."""
    error = beyond_mm[:, :, None] - stack.shifts_mm[:, None, :]
    # Both tails taken on the far side of the centre: their difference keeps its digits.
    under, over = stack.under_mm[:, None, None], stack.over_mm[:, None, None]
    longer, away = error > 0.0, np.abs(error)
    u = stack.u_all_mm[:, None, :]
    near, far = np.where(longer, over, under), np.where(longer, under, over)
    inside = ndtr((near - away) / u) - ndtr((-far - away) / u)
    p: Array = np.clip(np.einsum("nxk,nk->nx", inside, stack.weights), 0.0, 1.0)
    return p


def _thresholds(stack: _Stack, u_mm: Array) -> Array:
    """Return by how much readings (n,) must exceed the best value to `differ` with all longer ones; inf: blind.

    For the other direction call it with mirrored shifts.
    """
    light = _light_lines(stack)
    reach = _end_of_search(stack, light, u_mm)
    start = stack.shifts_mm.min(axis=1) - stack.under_mm
    steps = np.clip(4.0 * (reach - start) / np.maximum(u_mm, 1e-9), 20, 2000).astype(np.int64)
    gap = (reach - start) / (steps - 1)
    last = _with_peaks(stack, light, _last_of_grid(stack, reach, gap, steps))
    found = np.full(len(reach), np.inf)
    rows = np.flatnonzero(np.isfinite(last))
    found[rows] = _bracketed(stack.of(rows), last[rows], last[rows] + gap[rows])
    return found


def _light_lines(stack: _Stack) -> Flags:
    """Return which lines (n, K) are so far and light that all of them together come to less than `differs`.

    They only raise p: no need to look there.
    """
    order = np.argsort(-stack.shifts_mm, axis=1)
    sums = np.cumsum(np.take_along_axis(stack.weights, order, axis=1), axis=1)
    light = np.zeros(order.shape, dtype=np.bool_)
    np.put_along_axis(light, order, sums < _FAR_SHARE * P_DIFFERS, axis=1)
    return light


def _end_of_search(stack: _Stack, light: Flags, u_mm: Array) -> Array:
    """Return places (n,) mm above the best value at which, and beyond which, every reading differs."""
    heavy = replace(stack, weights=np.where(light, 0.0, stack.weights))
    rest = P_DIFFERS - np.where(light, stack.weights, 0.0).sum(axis=1)
    reach: Array = np.where(light, -np.inf, stack.shifts_mm).max(axis=1) + stack.over_mm + 2.0 * u_mm
    while True:
        within = np.flatnonzero(_within(reach[:, None], heavy)[:, 0] > rest)
        if not within.size:
            return reach
        reach[within] = 2.0 * np.abs(reach[within]) + 1.0


def _last_of_grid(stack: _Stack, reach: Array, gap: Array, steps: Places) -> Array:
    """Return the last places (n,) of a grid, gap by gap down from `reach`, where a reading does not differ."""
    last = np.full(len(reach), -np.inf)
    open_rows = np.arange(len(reach))
    block, size = 0, _FIRST_BLOCK
    while open_rows.size:
        grid = reach[open_rows, None] - gap[open_rows, None] * np.arange(block, block + size)
        above = _within(grid, stack.of(open_rows)) > P_DIFFERS
        seen = above.any(axis=1)
        last[open_rows[seen]] = grid[seen, above[seen].argmax(axis=1)]
        block, size = block + size, 2 * size
        open_rows = open_rows[~seen & (steps[open_rows] > block)]
    return last


def _with_peaks(stack: _Stack, light: Flags, last: Array) -> Array:
    """Return the last places (n,), further out where a narrow peak stands between two places of the grid."""
    peaks = stack.shifts_mm + 0.5 * (stack.over_mm - stack.under_mm)[:, None]
    rows = np.flatnonzero((~light & (peaks > last[:, None])).any(axis=1))
    above = _within(peaks[rows], stack.of(rows)) > P_DIFFERS
    last[rows] = np.maximum(last[rows], np.where(above, peaks[rows], -np.inf).max(axis=1))
    return last


def _bracketed(stack: _Stack, low: Array, high: Array) -> Array:
    """Return where readings (n,) begin to differ, between a place where they do not and one where they do."""
    parts = np.linspace(0.0, 1.0, _PARTS + 1)
    for _ in range(_PASSES):
        finer = low[:, None] + (high - low)[:, None] * parts
        above = _within(finer, stack) > P_DIFFERS
        at = np.where(above, np.arange(_PARTS + 1), 0).max(axis=1)
        width = (high - low) / _PARTS
        low = low + width * at
        high = low + width
    return high


def smallest_slip(mixture: Mixture, under_mm: float, over_mm: float) -> float:
    """Return the least |error| in mm whose verdict would be `differs` with 95 % probability, both ways.

    For one Gaussian with u small against the tolerance it is tolerance + 3.29 u; infinite when the photo is
    so weak that it cannot tell any reading from any other. That the opening's edge is another than the one traced
    counts with its weight, as in the verdict.
    """
    return float(smallest_slips([mixture], np.array([under_mm]), np.array([over_mm]))[0])


def smallest_slips(mixtures: Sequence[Mixture], under_mm: Array, over_mm: Array) -> Array:
    """Return `smallest_slip` of several measures (n,) at once, each with its tolerance (n,)."""
    long = _stacked(mixtures, under_mm, over_mm)
    u_mm = np.array([m.u_mm for m in mixtures])
    # Where nothing tells long from short both ways are one.
    rows = np.flatnonzero((under_mm != over_mm) | (np.abs(long.shifts_mm) > 1e-9).any(axis=1))
    some = long.of(rows)
    stack = _Stack(
        np.concatenate([long.shifts_mm, -some.shifts_mm]),
        np.concatenate([long.u_all_mm, some.u_all_mm]),
        np.concatenate([long.weights, some.weights]),
        np.concatenate([long.under_mm, some.over_mm]),
        np.concatenate([long.over_mm, some.under_mm]),
    )
    found = _found(stack, _thresholds(stack, np.concatenate([u_mm, u_mm[rows]])))
    slips = found[: len(mixtures)]
    slips[rows] = np.maximum(slips[rows], found[len(mixtures) :])
    return slips


def _found(stack: _Stack, threshold: Array) -> Array:
    """Return the least errors (n,) mm of readings that lie the threshold or more above the best value with 95 %."""
    slips = np.full(len(threshold), np.inf)
    rows = np.flatnonzero(np.isfinite(threshold))
    some = stack.of(rows)
    # The opening is best value + shift + noise, the reading that much and the error.
    reach = np.maximum(threshold[rows], 0.0)[:, None] - some.shifts_mm
    low = (reach - _FAR * some.u_all_mm).min(axis=1)
    high = (reach + _FAR * some.u_all_mm).max(axis=1)
    parts = np.linspace(0.0, 1.0, _PARTS + 1)
    for _ in range(_PASSES + 2):
        errors = low[:, None] + (high - low)[:, None] * parts
        z = (errors[:, :, None] - reach[:, None, :]) / some.u_all_mm[:, None, :]
        seen = np.einsum("nxk,nk->nx", ndtr(z), some.weights) >= P_SEEN
        first = np.where(seen.any(axis=1), seen.argmax(axis=1), _PARTS)
        width = (high - low) / _PARTS
        low = low + width * np.maximum(first - 1, 0)
        high = low + np.where(first > 0, width, 0.0)
    slips[rows] = high
    return slips
