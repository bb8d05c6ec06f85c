"""What probably slipped, ranked: hypotheses weighed by the photo and by priors.

They explain and never move a verdict. Codes and facts only; the words stand in `messages`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import solve_triangular

from sizing.decision import LONGEST_MM, SHORTEST_MM, Judgement
from sizing.slips import NONE, RATIOS, Priors, hypotheses_of, load_priors
from sizing.tape import u_reading_mm
from vision.request import NINE, Array, Candidate, Estimate

if TYPE_CHECKING:
    from sizing.job import Opening

# Shown to people: not more than this many, none less likely than this (taste, no effect on verdicts).
_SHOWN = 4
_LEAST_SHOWN = 0.02
# Metres away from the photo the tails of the hypotheses mean nothing: a size put forward lies as near as this
# to the photo's, or within its U95 (guess, no effect on verdicts).
_NEAR_MM = 25.4


@dataclass(frozen=True, slots=True)
class Explanation:
    """One explanation of a reading: code, posterior probability, the reading set right, facts for words.

    `corrected_mm` and `shift_mm` are None for 'none-of-these' and where no size follows.
    """

    slip: str
    probability: float
    corrected_mm: float | None
    shift_mm: float | None
    facts: Mapping[str, str] = field(default_factory=dict)


def explain_wrong_unit(reading_mm: float) -> tuple[Explanation, ...]:
    """Return the explanations of a length that no opening has, the units taken wrong.

    Sizes that an opening may have share the probability; without one the corrected size is None.
    """
    sizes = [reading_mm * ratio for ratio in RATIOS if SHORTEST_MM <= reading_mm * ratio <= LONGEST_MM]
    if not sizes:
        return (Explanation("wrong-unit", 1.0, None, None),)
    return tuple(Explanation("wrong-unit", 1.0 / len(sizes), v, reading_mm - v) for v in sizes)


def _log_normal(residual: Array, cov: Array) -> Array:
    """Return the log densities, up to one constant, of residuals (m, n) under a covariance (n, n)."""
    factor = np.linalg.cholesky(cov)
    white = solve_triangular(factor, residual.T, lower=True)
    log_density: Array = -0.5 * np.sum(white**2, axis=0) - np.sum(np.log(np.diag(factor)))
    return log_density


def _edge_scenarios(candidates: Sequence[Candidate], names: Sequence[str]) -> tuple[Array, Array]:
    """Return log weights (m,) and shifts (m, n): the edges as traced, or one candidate in place."""
    rows = [NINE.index(n) for n in names]
    shifts = [np.zeros(len(rows))]
    odds = [1.0]
    for c in candidates:
        rivals = sum(o.weight for o in candidates if o.side == c.side and abs(o.shift_mm) > 1e-9)
        rest = max(1.0 - rivals, 0.05)
        if abs(c.shift_mm) > 1e-9 and c.weight > 0.0:
            shifts.append(np.asarray(c.shift_nine_mm, dtype=np.float64)[rows])
            odds.append(c.weight / rest)
    return np.log(np.array(odds) / sum(odds)), np.array(shifts)


def explain_reading(
    name: str,
    readings_mm: Mapping[str, float],
    values_mm: Array,
    cov_mm2: Array,
    u_tape_mm: Mapping[str, float],
    priors: Priors,
    *,
    candidates: Sequence[Candidate] = (),
    suspects: Collection[str] = (),
    written: str | None = None,
) -> tuple[Explanation, ...]:
    """Return the explanations of one reading, best first, their probabilities summing to 1.

    Parameters
    ----------
    name : the reading to explain.
    readings_mm : all readings of the opening by name, mm.
    values_mm, cov_mm2 : the photo's nine measures (9,) mm and their covariance (9, 9) mm2.
    u_tape_mm : standard uncertainty of each reading as read without slip, mm, positive.
    priors : see `load_priors`.
    candidates : competing edges; every hypothesis is summed over them.
    suspects : other readings that differ; they may be off by anything unless the hypothesis explains them.
    written : the reading as written, for swapped digits.

    Returns
    -------
    tuple of Explanation
        'none-of-these' holds both 'no slip at all' and 'something else'.

    Raises
    ------
    KeyError
        If `name` is not among the readings.

    Notes
    -----
    Bayes' theorem over discrete hypotheses; the likelihood is the joint Gaussian of all differences, reading
    minus measure, so an error that the photo's measures share is taken out by the sound readings.
    """
    names = [n for n in NINE if n in readings_mm]
    rows = [NINE.index(n) for n in names]
    difference = np.array([readings_mm[n] for n in names]) - values_mm[rows]
    cov = cov_mm2[np.ix_(rows, rows)] + np.diag([u_tape_mm[n] ** 2 for n in names])
    log_edges, edges = _edge_scenarios(candidates, names)
    hypotheses = hypotheses_of(name, readings_mm, priors, written)
    logs = np.empty(len(hypotheses))
    for k, h in enumerate(hypotheses):
        wide = np.array(
            [priors.suspect_spread_mm if n in suspects and n != name and n not in h.shift_mm else 0.0 for n in names]
        )
        wide[names.index(name)] = priors.none_spread_mm if h.broad else 0.0
        shift = np.array([h.shift_mm.get(n, 0.0) for n in names])
        terms = log_edges + _log_normal(difference - shift - edges, cov + np.diag(wide**2))
        logs[k] = np.log(h.prior) + np.logaddexp.reduce(terms)
    posterior = np.exp(logs - np.logaddexp.reduce(logs))
    ranked = [
        Explanation(h.slip, float(p), readings_mm[name] - h.shift_mm[name], h.shift_mm[name], h.facts)
        for h, p in zip(hypotheses[:-2], posterior[:-2], strict=True)
    ]
    ranked.append(Explanation(NONE, float(posterior[-2:].sum()), None, None))
    return tuple(sorted(ranked, key=lambda e: -e.probability))


def explain(
    opening: Opening, judgements: Mapping[str, Judgement], estimate: Estimate | None
) -> dict[str, tuple[Explanation, ...]]:
    """Return the likely explanations of each reading that needs one, by name, best first.

    Parameters
    ----------
    opening : its readings are those in force.
    judgements : verdict of each reading, by name.
    estimate : what the photo says; without it only lengths that no opening has are explained.

    Returns
    -------
    dict
        Of readings that differ, and of unproven ones where a slip is likelier than none; at most four each.
    """
    readings_mm = {r.name: r.length.mm for r in opening.readings}
    suspects = {n for n, j in judgements.items() if j.verdict == "differs"}
    u_tape = {r.name: u_reading_mm(r.length.mm, r.tape, r.graduation_mm, opening.wall) for r in opening.readings}
    found: dict[str, tuple[Explanation, ...]] = {}
    for r in opening.readings:
        judgement = judgements[r.name]
        if judgement.verdict == "agrees":
            continue
        ranked: tuple[Explanation, ...] = ()
        if estimate is not None:
            ranked = explain_reading(
                r.name,
                readings_mm,
                estimate.values_mm,
                estimate.cov_mm2,
                u_tape,
                load_priors(),
                candidates=estimate.candidates,
                suspects=suspects,
                written=r.length.as_written,
            )
        if judgement.out_of_range and not _fits(ranked, judgement):
            # Sizes that the photo refutes are not put forward; equal odds: a guess, no effect on verdicts.
            unfit = (Explanation("wrong-unit", 0.5, None, None), Explanation(NONE, 0.5, None, None))
            ranked = explain_wrong_unit(r.length.mm) if estimate is None else unfit
        if judgement.verdict == "differs" or (ranked and ranked[0].slip != NONE):
            found[r.name] = tuple(e for e in ranked if e.probability >= _LEAST_SHOWN)[:_SHOWN]
    return found


def _fits(ranked: Sequence[Explanation], judgement: Judgement) -> bool:
    """Return whether the best explanation puts forward a size that the photo bears out."""
    if not ranked or ranked[0].corrected_mm is None or judgement.photo_mm is None:
        return False
    near_mm = max(judgement.U95_mm or 0.0, _NEAR_MM)
    return abs(ranked[0].corrected_mm - judgement.photo_mm) <= near_mm
