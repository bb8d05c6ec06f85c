"""Every reading of a scene explained: its hypotheses weighed together and ranked, with their probabilities."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from sizing.explaining.fit import refuted
from sizing.explaining.hypotheses import Hypothesis, Scene, Weighable, weighable
from sizing.explaining.hypotheses_faces import of_faces
from sizing.explaining.hypotheses_form import of_boxes, of_copies
from sizing.explaining.hypotheses_reading import of_habit, of_marks, of_readings
from sizing.explaining.hypotheses_scene import of_everything, of_lines, of_other_openings
from sizing.explaining.posterior import Flags, posterior_of
from sizing.explaining.slips import NONE, Priors
from vision.request import NINE, SIDES, Array, Candidate

# Explanations less likely than this are left out.
_LEAST_SHARE = 1e-9
# What `posterior_of` drops, as a share of the best.
_LEFT_OUT = 1e-7
# 'None of these' means a sound reading when that is likelier than 'something else'.
_SOUND = 0.5
# Shifts closer than this are one explanation.
_SAME_SHIFT_MM = 0.01
# Combinations of candidate edges that are weighed, and the least weight beside the likeliest.
_EDGES = 12
_LIGHTEST_EDGE = 0.003


@dataclass(frozen=True, slots=True)
class Explanation:
    """One explanation of a reading: code, posterior probability, the reading set right, facts for words.

    `corrected_mm` and `shift_mm` are None for 'none-of-these' and where no size follows. `likelihood_ratio`: how
    many times better it predicts readings and photo than 'something else' does (1 for 'none-of-these'; at least so
    many times where that is beyond what is weighed); how common a slip is has no part in it.
    """

    slip: str
    probability: float
    corrected_mm: float | None
    shift_mm: float | None
    facts: Mapping[str, str] = field(default_factory=dict)
    likelihood_ratio: float | None = None


def explain_readings(
    scene: Scene,
    photo_cov_mm2: Array,
    tape_cov_mm2: Array,
    priors: Priors,
    *,
    candidates: Sequence[Candidate] = (),
    wanted: Collection[str] | None = None,
) -> dict[str, tuple[Explanation, ...]]:
    """Return the explanations of each reading, best first, their probabilities summing to 1.

    Parameters
    ----------
    scene : readings, measures and what else is seen, of n readings.
    photo_cov_mm2 : (n, n) covariance of the photo's measures of these readings, mm2.
    tape_cov_mm2 : (n, n) covariance of sound readings, common zero and scale included, mm2.
    priors : see `load_priors`.
    candidates : competing edges; every hypothesis is summed over them.
    wanted : readings to explain; all by default.

    Returns
    -------
    dict
        By name. 'none-of-these' holds 'this reading did not slip', 'something else', and what would be likelier
    than both but explains its readings no better than chance (see `fit`).

    Notes
    -----
    All readings are weighed together: an error that the photo's measures share is taken out by the sound ones,
    and slips of several readings are found as a set.
    """
    names = scene.names
    blocks = hypotheses_of(scene, priors)
    hypotheses = [h for block in blocks for h in block]
    what = weighable(blocks, names)
    difference = np.array([scene.readings_mm[n] - scene.photo_mm[n] for n in names])
    cov = photo_cov_mm2 + tape_cov_mm2
    log_edges, edges = _edge_scenarios(candidates, names)
    posterior = posterior_of(difference, cov, what, log_edges, edges)
    common = what.common
    unfit = refuted(posterior, what, difference, cov, edges)
    best = [k for k in posterior.members[int(posterior.weights.argmax())] if k >= 0 and not common[k]]
    hook_mm = _common_shift_mm(difference, cov, np.logical_not(what.touches[best].any(axis=0)), priors)
    found: dict[str, tuple[Explanation, ...]] = {}
    for i, name in enumerate(names):
        if wanted is None or name in wanted:
            shares = posterior.of_reading(what.touches[:, i], common, unfit)
            found[name] = _ranked(name, scene, hypotheses, what, shares, hook_mm)
    return found


def hypotheses_of(scene: Scene, priors: Priors) -> list[Sequence[Hypothesis]]:
    """Return every hypothesis about the readings of one opening: those common to all openings, then its own."""
    found = of_readings(scene, priors) + of_boxes(scene, priors) + of_copies(scene, priors)
    found += of_lines(scene, priors) + of_faces(scene, priors)
    found += of_other_openings(scene, priors) + of_everything(scene, priors)
    return [*of_marks(scene, priors), of_habit(scene, priors), [h for h in found if h.odds > 0.0]]


def _edge_scenarios(candidates: Sequence[Candidate], names: Sequence[str]) -> tuple[Array, Array]:
    """Return log weights (J,) and shifts (J, n) of the lines that the sides may be: as traced, or others."""
    rows = [NINE.index(n) for n in names]
    sides: list[list[tuple[float, Array]]] = []
    for side in SIDES:
        rivals = [c for c in candidates if c.side == side and abs(c.shift_mm) > 1e-9 and c.weight > 0.0]
        if rivals:
            rest = max(1.0 - sum(c.weight for c in rivals), 0.05)
            shifts = [np.asarray(c.shift_nine_mm, dtype=np.float64)[rows] for c in rivals]
            sides.append([(rest, np.zeros(len(rows))), *zip((c.weight for c in rivals), shifts, strict=True)])
    combos = [
        (float(np.prod([w for w, _ in combo])), sum((s for _, s in combo), np.zeros(len(rows))))
        for combo in product(*sides)
    ]
    combos.sort(key=lambda c: -c[0])
    kept = [c for c in combos[:_EDGES] if c[0] > _LIGHTEST_EDGE * combos[0][0]]
    weights = np.array([w for w, _ in kept])
    return np.log(weights / weights.sum()), np.array([s for _, s in kept])


def _common_shift_mm(difference: Array, cov: Array, sound: Flags, priors: Priors) -> float:
    """Return the best value of one shift of all readings from the `sound` ones, mm (prior mean 0)."""
    if not sound.any():
        return 0.0
    pulled = np.linalg.solve(cov[np.ix_(sound, sound)], np.ones(int(sound.sum())))
    return float(pulled @ difference[sound] / (pulled.sum() + priors.one_shift_spread_mm**-2))


def _ranked(
    name: str, scene: Scene, hypotheses: Sequence[Hypothesis], what: Weighable, shares: Array, hook_mm: float
) -> tuple[Explanation, ...]:
    i = scene.names.index(name)
    here = scene.readings_mm[name]
    other = what.none & what.touches[:, i]
    # What the search left out weighs less than this: the ratio is then at least what is said.
    else_share = max(float(shares[:-2][other].sum()), _LEFT_OUT)
    else_density = else_share / float(what.odds[other].sum())
    none = float(shares[-2:].sum()) + float(shares[:-2][other].sum())
    sound = {"reading": "sound"} if float(shares[-1]) > _SOUND * none else {}
    ranked = [Explanation(NONE, none, None, None, sound, 1.0)]
    groups: dict[tuple[str, float], list[int]] = {}
    for k in np.flatnonzero((shares[:-2] > _LEAST_SHARE) & ~other).tolist():
        groups.setdefault((hypotheses[k].slip, round(hypotheses[k].shift_mm[name], 2)), []).append(k)
    for (slip, shift), members in groups.items():
        share = float(shares[members].sum())
        best = hypotheses[members[int(shares[members].argmax())]]
        moved = hook_mm if best.common else best.shift_mm[name]
        alike = what.touches[:, i] & (np.abs(what.shift_mm[:, i] - shift) < _SAME_SHIFT_MM)
        odds = sum(hypotheses[k].odds for k in np.flatnonzero(alike).tolist() if hypotheses[k].slip == slip)
        ranked.append(
            Explanation(
                slip,
                share,
                here - moved if best.sized else None,
                moved if best.sized else None,
                best.facts,
                share / odds / else_density,
            )
        )
    return tuple(sorted(ranked, key=lambda e: -e.probability))
