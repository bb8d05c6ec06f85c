"""What the photo knows of one measure: a mixture of Gaussians over the edges it may mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import ndtr

from vision.request import ANOTHER_LINE, NINE, SIDES, Array, Candidate, Side

# Guess: how far another line may lie from the one traced. Smaller: a hidden wrong line is taken for a slip.
OTHER_LINE_U_MM = 25.0
# Components lighter than this change no verdict and cost time.
_LIGHTEST = 1e-6
# An interval so many times as long as 2 U95 is no longer a normal one's (guess).
_FAR_FROM_NORMAL = 1.3


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


def sides_of(name: str) -> tuple[Side, ...]:
    """Return the sides on which a measure depends (second-order effects of the stations left out)."""
    if name.startswith("width"):
        return ("right", "left")
    if name.startswith("height"):
        return ("head", "sill")
    return SIDES


def outward(side: str, values_mm: Array) -> Array:
    """Return by how much each of the nine (9,) grows when a side moves out by 1 mm, of a rectangle of such measures."""
    group = "width" if side in ("left", "right") else "height"
    slope = float(values_mm[NINE.index(f"{group}_middle")] / values_mm[NINE.index("diagonal_down")])
    return np.array([1.0 if n.startswith(group) else slope if n.startswith("diagonal") else 0.0 for n in NINE])


def side_terms(side: str, values_mm: Array, candidates: Sequence[Candidate]) -> list[tuple[float, Array, Array]]:
    """Return weight, shift (9,) and added standard uncertainty (9,), mm, of each line that the side may mean.

    Candidates come first. The uncertainties of one line are of one error: their covariance is the outer product.
    """
    nothing = np.zeros(len(NINE))
    mine = [(float(c.weight), np.asarray(c.shift_nine_mm, float), c.shift_mm) for c in candidates if c.side == side]
    total = sum(w for w, _, _ in mine)
    room = 1.0 - ANOTHER_LINE
    scale = room / total if total > room else 1.0
    terms = [(w * scale, shift, nothing) for w, shift, _ in mine]
    rest = 1.0 - total * scale
    # The traced line itself may or may not stand in the list; if not, it holds what the others leave.
    if not any(abs(moved) < 1e-9 for _, _, moved in mine):
        terms.append((rest - ANOTHER_LINE, nothing, nothing))
        rest = ANOTHER_LINE
    terms.append((rest, nothing, OTHER_LINE_U_MM * outward(side, values_mm)))
    return terms


def mixture_of(values_mm: Array, cov_mm2: Array, candidates: Sequence[Candidate], name: str) -> Mixture:
    """Return what the photo knows of measure `name`, summed over the candidate edges of its sides.

    Parameters
    ----------
    values_mm : (9,) the nine measures in the order of `NINE`, mm.
    cov_mm2 : (9, 9) their covariance, mm2: all parts of the budget, each side being the line that was traced. What
        `edge_choice` is there is where the tape touches behind that line; which line it is is in `candidates`.
    candidates : competing edges of all sides. One of shift 0 is the traced edge itself; without such it
        holds the remaining weight. At least 1 % of each side goes to 'another line', sd 25 mm across it (a guess).
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
    # Lines of one shift (but for rounding) and spread are one component.
    parts: dict[tuple[float, float], float] = {}
    lines = [
        [(w, float(moved[i]), float(more[i]) ** 2) for w, moved, more in side_terms(s, values_mm, candidates)]
        for s in sides_of(name)
    ]
    for combo in product(*lines):
        weight, shift, spread2 = 1.0, 0.0, 0.0
        for w, moved, more2 in combo:
            weight, shift, spread2 = weight * w, shift + moved, spread2 + more2
        if weight > _LIGHTEST:
            key = (round(shift, 9), spread2)
            parts[key] = parts.get(key, 0.0) + weight
    table = np.array([(weight, *key) for key, weight in parts.items()], dtype=np.float64)
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


def interval95_if_odd(mixture: Mixture, U95_mm: float) -> tuple[float, float] | None:
    """Return the 95 % interval (mm) where rival edges make it unlike value +- U95 (contract, *Words*), else None."""
    low, high = interval95(mixture)
    return (low, high) if high - low > _FAR_FROM_NORMAL * 2.0 * U95_mm else None
