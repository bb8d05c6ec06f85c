"""What the photo knows of one measure: a mixture of Gaussians over the edges it may mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import ndtr

from vision.request import NINE, SIDES, Array, Candidate

# Contract, Decision: level of `differs`; JCGM 106 leaves the levels to the user.
P_DIFFERS = 0.05
# Contract, Words: the smallest slip is seen with this probability.
P_SEEN = 0.95
# Standard deviations beyond which nothing is left of a Gaussian.
_FAR = 9.0
# Places that are looked at together.
_BLOCK = 64
# Contract, Decision: no side gives less to 'another line'.
OTHER_LINE = 0.01
# Guess: how far another line may lie from the one traced. Smaller: a hidden wrong line is taken for a slip.
OTHER_LINE_U_MM = 25.0
# Components lighter than this change no verdict and cost time.
_LIGHTEST = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """What the photo knows of one measure: best value and u, and the Gaussians over the edges it may mean.

    `weights` (n,) sum to 1; `means_mm` (n,); `u_all_mm` (n,) standard uncertainties.
    """

    value_mm: float
    u_mm: float
    weights: Array
    means_mm: Array
    u_all_mm: Array


def sides_of(name: str) -> tuple[str, ...]:
    """Return the sides on which a measure depends (second-order effects of the stations left out)."""
    if name.startswith("width"):
        return ("right", "left")
    if name.startswith("height"):
        return ("head", "sill")
    return SIDES


def side_terms(side: str, measure: int, candidates: Sequence[Candidate]) -> list[tuple[float, float, float]]:
    """Return (weight, shift_mm, added variance in mm2) of each line that the side may mean, candidates first."""
    mine = [(float(c.weight), float(c.shift_nine_mm[measure]), c.shift_mm) for c in candidates if c.side == side]
    total = sum(w for w, _, _ in mine)
    room = 1.0 - OTHER_LINE
    scale = room / total if total > room else 1.0
    terms = [(w * scale, shift, 0.0) for w, shift, _ in mine]
    rest = 1.0 - total * scale
    # The traced line itself may or may not stand in the list; if not, it holds what the others leave.
    if not any(abs(outward) < 1e-9 for _, _, outward in mine):
        terms.append((rest - OTHER_LINE, 0.0, 0.0))
        rest = OTHER_LINE
    terms.append((rest, 0.0, OTHER_LINE_U_MM**2))
    return terms


def mixture_of(values_mm: Array, cov_mm2: Array, candidates: Sequence[Candidate], name: str) -> Mixture:
    """Return what the photo knows of measure `name`, summed over the candidate edges of its sides.

    Parameters
    ----------
    values_mm : (9,) the nine measures in the order of `NINE`, mm.
    cov_mm2 : (9, 9) their covariance (edge choice left out, station included), mm2.
    candidates : competing edges of all sides. One of shift 0 is the traced edge itself; without such it
        holds the remaining weight. At least 1 % of each side goes to 'another line', sd 25 mm (a guess).
    name : one of `NINE`.

    Returns
    -------
    Mixture
        Components of one measure; sides are taken as independent.

    Raises
    ------
    ValueError
        If `name` is not one of `NINE`.

    References
    ----------
    Contract, *Decision*: p is the weighted sum over candidate edges.
    """
    if name not in NINE:
        msg = f"{name!r} is no measure; the nine are {', '.join(NINE)}"
        raise ValueError(msg)
    i = NINE.index(name)
    u2 = max(float(cov_mm2[i, i]), 0.0)
    rows = []
    for combo in product(*(side_terms(s, i, candidates) for s in sides_of(name))):
        rows.append((float(np.prod([w for w, _, _ in combo])), sum(t[1] for t in combo), sum(t[2] for t in combo)))
    table = np.array([r for r in rows if r[0] > _LIGHTEST], dtype=np.float64)
    value = float(values_mm[i])
    return Mixture(value, u2**0.5, table[:, 0] / table[:, 0].sum(), value + table[:, 1], np.sqrt(u2 + table[:, 2]))


def gaussian(value_mm: float, u_mm: float) -> Mixture:
    """Return the mixture of one component: a measure whose edges are beyond doubt."""
    return Mixture(value_mm, u_mm, np.ones(1), np.array([value_mm]), np.array([u_mm]))


def interval95(mixture: Mixture) -> tuple[float, float]:
    """Return the probabilistically symmetric 95 % interval (mm) of a measure: JCGM 101:2008, 5.3.3."""
    reach = 9.0 * mixture.u_all_mm

    def quantile(p: float) -> float:
        low, high = float((mixture.means_mm - reach).min()), float((mixture.means_mm + reach).max())
        for _ in range(60):
            middle = 0.5 * (low + high)
            below = float(ndtr((middle - mixture.means_mm) / np.maximum(mixture.u_all_mm, 1e-9)) @ mixture.weights)
            low, high = (middle, high) if below < p else (low, middle)
        return 0.5 * (low + high)

    return quantile(0.025), quantile(0.975)


def probability_within(reading_mm: Array, mixture: Mixture, under_mm: float, over_mm: float) -> Array:
    """Return P(-under <= reading - opening <= over) for each reading (n,), by the photo alone."""
    u = np.maximum(mixture.u_all_mm, 1e-9)
    error = np.atleast_1d(np.asarray(reading_mm, dtype=np.float64))[:, None] - mixture.means_mm
    # Both tails taken on the far side of the centre: their difference keeps its digits.
    near = np.where(error > 0.0, over_mm, under_mm)
    far = np.where(error > 0.0, under_mm, over_mm)
    inside: Array = (ndtr((near - np.abs(error)) / u) - ndtr((-far - np.abs(error)) / u)) @ mixture.weights
    return np.clip(inside, 0.0, 1.0)


def _threshold(mixture: Mixture, under_mm: float, over_mm: float) -> float | None:
    """Return by how much a reading must exceed the best value to `differ` with all longer ones; None: blind.

    For the other direction call it with the mirrored mixture.
    """
    value = mixture.value_mm
    shifts = mixture.means_mm - value
    reach = float(shifts.max()) + over_mm + 2.0 * mixture.u_mm
    while probability_within(np.array([value + reach]), mixture, under_mm, over_mm)[0] > P_DIFFERS:
        reach = 2.0 * abs(reach) + 1.0
    start = float(shifts.min()) - under_mm
    peaks = shifts + 0.5 * (over_mm - under_mm)
    steps = int(np.clip(4.0 * (reach - start) / max(mixture.u_mm, 1e-9), 100, 2000))
    grid = np.union1d(np.linspace(start, reach, steps), peaks[peaks <= reach])
    last = _last_above(grid, mixture, under_mm, over_mm)
    if last is None:
        return None
    low, high = float(grid[last]), float(grid[last + 1])
    for _ in range(2):  # each pass makes the bracket 63 times shorter
        finer = np.linspace(low, high, _BLOCK)
        at = _last_above(finer, mixture, under_mm, over_mm) or 0
        low, high = float(finer[at]), float(finer[min(at + 1, _BLOCK - 1)])
    return high


def _last_above(grid: Array, mixture: Mixture, under_mm: float, over_mm: float) -> int | None:
    """Return the last place of a rising grid where a reading does not differ; None without one.

    Looked for from the end, where it mostly lies.
    """
    for end in range(grid.size, 0, -_BLOCK):
        start = max(end - _BLOCK, 0)
        p = probability_within(mixture.value_mm + grid[start:end], mixture, under_mm, over_mm)
        above = np.flatnonzero(p > P_DIFFERS)
        if above.size:
            return start + int(above[-1])
    return None


def smallest_slip(mixture: Mixture, under_mm: float, over_mm: float) -> float:
    """Return the least |error| in mm whose verdict would be `differs` with 95 % probability, both ways.

    For one Gaussian with u small against the tolerance it is tolerance + 3.29 u; infinite when the photo is
    so weak that it cannot tell any reading from any other. That the opening's edge is another than the one traced
    counts with its weight, as in the verdict.
    """
    too_long = _threshold(mixture, under_mm, over_mm)
    if too_long is not None and under_mm == over_mm and bool((mixture.means_mm == mixture.value_mm).all()):
        return _found(mixture, too_long)  # both ways are one
    mirrored = Mixture(-mixture.value_mm, mixture.u_mm, mixture.weights, -mixture.means_mm, mixture.u_all_mm)
    too_short = _threshold(mirrored, over_mm, under_mm)
    if too_long is None or too_short is None:
        return float("inf")
    return max(_found(mixture, too_long), _found(mirrored, too_short))


def _found(mixture: Mixture, threshold: float) -> float:
    """Return the least error, mm, of a reading that lies `threshold` or more above the best value with 95 %."""
    shifts, u = mixture.means_mm - mixture.value_mm, np.maximum(mixture.u_all_mm, 1e-9)
    # The opening is best value + shift + noise, the reading that much and the error.
    reach = max(threshold, 0.0) - shifts
    low, high = float((reach - _FAR * u).min()), float((reach + _FAR * u).max())
    for _ in range(3):  # each pass makes the bracket 63 times shorter
        errors = np.linspace(low, high, _BLOCK)
        seen = ndtr((errors[:, None] - reach) / u) @ mixture.weights
        first = int(np.flatnonzero(seen >= P_SEEN).min(initial=_BLOCK - 1))
        low, high = float(errors[max(first - 1, 0)]), float(errors[first])
    return high
