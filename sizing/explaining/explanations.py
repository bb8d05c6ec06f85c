"""What probably slipped, ranked: hypotheses weighed by the photo and by priors.

They explain and never move a verdict. Codes and facts only; the words stand in `messages`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from sizing.decision import LONGEST_MM, SHORTEST_MM, Judgement
from sizing.explaining.hypotheses import Hypothesis, Other, Scene, SizeFrom, Weighable, weighable
from sizing.explaining.hypotheses_faces import of_faces
from sizing.explaining.hypotheses_form import of_boxes, of_copies
from sizing.explaining.hypotheses_reading import RATIOS, of_habit, of_marks, of_readings
from sizing.explaining.hypotheses_scene import of_everything, of_lines, of_other_openings
from sizing.explaining.posterior import Flags, posterior_of
from sizing.explaining.slips import NONE, Priors, Scale, load_priors
from sizing.explaining.units_taken import units_taken
from sizing.explaining.without_photo import vague_measures
from sizing.tape import readings_cov_mm2
from sizing.units import INCH_MM
from vision.request import NINE, SIDES, Array, Candidate, Estimate

if TYPE_CHECKING:
    from sizing.jobs.job import Opening, Reading

# Shown to people: not more than this many, none less likely than this (taste, no effect on verdicts).
_SHOWN = 4
_LEAST_SHOWN = 0.02
# Metres away from the photo the tails of the hypotheses mean nothing: a size put forward lies as near as this
# to the photo's, or within its U95 (guess, no effect on verdicts).
_NEAR_MM = 25.4
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
# A length written in steps that are no part of an inch was read from a metric scale: 1/64 in.
_STEP_MM = float(INCH_MM) / 64


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


def explain_wrong_unit(reading_mm: float) -> tuple[Explanation, ...]:
    """Return the explanations of a length that no opening has, the units taken wrong.

    Sizes that an opening may have share the probability; without one the corrected size is None.
    """
    sizes = [reading_mm * ratio for ratio in RATIOS if SHORTEST_MM <= reading_mm * ratio <= LONGEST_MM]
    if not sizes:
        return (Explanation("wrong-unit", 1.0, None, None),)
    return tuple(Explanation("wrong-unit", 1.0 / len(sizes), v, reading_mm - v) for v in sizes)


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


def hypotheses_of(scene: Scene, priors: Priors) -> list[Sequence[Hypothesis]]:
    """Return every hypothesis about the readings of one opening: those common to all openings, then its own."""
    found = of_readings(scene, priors) + of_boxes(scene, priors) + of_copies(scene, priors)
    found += of_lines(scene, priors) + of_faces(scene, priors)
    found += of_other_openings(scene, priors) + of_everything(scene, priors)
    return [*of_marks(scene, priors), of_habit(scene, priors), [h for h in found if h.odds > 0.0]]


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
        By name. 'none-of-these' holds 'this reading did not slip' and 'something else'.

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
    best = [k for k in posterior.members[int(posterior.weights.argmax())] if k >= 0 and not common[k]]
    hook_mm = _common_shift_mm(difference, cov, np.logical_not(what.touches[best].any(axis=0)), priors)
    found: dict[str, tuple[Explanation, ...]] = {}
    for i, name in enumerate(names):
        if wanted is None or name in wanted:
            shares = posterior.of_reading(what.touches[:, i], common)
            found[name] = _ranked(name, scene, hypotheses, what, shares, hook_mm)
    return found


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
    else_share = max(float(shares[:-1][other].sum()), _LEFT_OUT)
    else_density = else_share / float(what.odds[other].sum())
    none = float(shares[-1]) + float(shares[:-1][other].sum())
    sound = {"reading": "sound"} if float(shares[-1]) > _SOUND * none else {}
    ranked = [Explanation(NONE, none, None, None, sound, 1.0)]
    groups: dict[tuple[str, float], list[int]] = {}
    for k in np.flatnonzero((shares[:-1] > _LEAST_SHARE) & ~other).tolist():
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


def explain(
    opening: Opening,
    judgements: Mapping[str, Judgement],
    estimate: Estimate | None,
    others: Sequence[Other] = (),
) -> dict[str, tuple[Explanation, ...]]:
    """Return the likely explanations of each reading that needs one, by name, best first.

    Parameters
    ----------
    opening : its readings are those in force.
    judgements : verdict of each reading, by name.
    estimate : what the photo says; without it readings are weighed against each other.
    others : the other openings of the job, as their photos measure them.

    Returns
    -------
    dict
        Of readings that differ, and of unproven ones where a slip is likelier than none; at most four each,
        'none-of-these' among them.
    """
    wanted = {n for n, j in judgements.items() if j.verdict != "agrees"}
    if not wanted:
        return {}
    ranked: dict[str, tuple[Explanation, ...]] = {}
    scene = _scene_of(opening, estimate, others)
    if scene is not None:
        seen, photo_cov = scene
        tape_cov = tape_cov_of([r for n in seen.names for r in opening.readings if r.name == n], seen, opening)
        candidates = () if estimate is None else estimate.candidates
        ranked = explain_readings(seen, photo_cov, tape_cov, load_priors(), candidates=candidates, wanted=wanted)
    found: dict[str, tuple[Explanation, ...]] = {}
    for r in opening.readings:
        judgement, mine = judgements[r.name], ranked.get(r.name, ())
        if r.name not in wanted:
            continue
        if judgement.out_of_range and not _fits(mine, judgement):
            # Sizes that the photo refutes are not put forward; equal odds: a guess, no effect on verdicts.
            unfit = (Explanation("wrong-unit", 0.5, None, None), Explanation(NONE, 0.5, None, None))
            mine = explain_wrong_unit(r.length.mm) if estimate is None else unfit
        if judgement.verdict == "differs" or (mine and mine[0].slip != NONE):
            likely = [e for e in mine if e.probability >= _LEAST_SHOWN and e.slip != NONE][: _SHOWN - 1]
            likely += [e for e in mine if e.slip == NONE]
            found[r.name] = tuple(sorted((_with_units(e, r) for e in likely), key=lambda e: -e.probability))
    return found


def _with_units(explanation: Explanation, reading: Reading) -> Explanation:
    if explanation.slip != "wrong-unit":
        return explanation
    taken = units_taken(reading.length.as_written, reading.length.mm, explanation.corrected_mm)
    return replace(explanation, facts={**explanation.facts, **taken})


def _scene_of(opening: Opening, estimate: Estimate | None, others: Sequence[Other]) -> tuple[Scene, Array] | None:
    """Return the scene with the covariance (n, n) of its measures; None where nothing is known of the opening."""
    readings = {r.name: r for r in opening.readings}
    lengths = {n: r.length.mm for n, r in readings.items()}
    if estimate is not None:
        values, cov = estimate.values_mm, estimate.cov_mm2
    else:
        vague = vague_measures(lengths)
        if vague is None:
            return None
        values, cov = vague
    scene = Scene(
        lengths,
        dict(zip(NINE, values.tolist(), strict=True)),
        {n: r.length.as_written for n, r in readings.items()},
        {n: _scale_of(r) for n, r in readings.items()},
        max(r.graduation_mm for r in readings.values()),
        () if estimate is None else estimate.faces,
        tuple(others),
        _size_from(opening),
    )
    rows = [NINE.index(n) for n in scene.names]
    return scene, cov[np.ix_(rows, rows)]


def _size_from(opening: Opening) -> SizeFrom:
    kind, bar = opening.seen_reference.kind, opening.check_bar
    if kind == "sheet":
        return "print" if bar.across is None and bar.along is None else "bars"
    return "page" if kind in ("letter", "a4") else "object"


def _scale_of(reading: Reading) -> Scale:
    parts = reading.length.step_mm / _STEP_MM
    return "in" if abs(parts - round(parts)) < 1e-6 and parts > 0.5 else "mm"


def tape_cov_of(readings: Sequence[Reading], scene: Scene, opening: Opening) -> Array:
    """Return the (n, n) covariance of sound readings in mm2; zero and scale are common to those of one visit.

    The photo's lengths stand for the readings', which may have slipped.
    """
    cov = np.zeros((len(readings), len(readings)))
    groups: dict[tuple[str, int, float], list[int]] = {}
    for i, r in enumerate(readings):
        groups.setdefault((r.tape, r.visit, r.graduation_mm), []).append(i)
    for rows in groups.values():
        lengths = np.array([scene.photo_mm[readings[i].name] for i in rows])
        first = readings[rows[0]]
        cov[np.ix_(rows, rows)] = readings_cov_mm2(lengths, first.tape, first.graduation_mm, opening.wall)
    return cov


def _fits(ranked: Sequence[Explanation], judgement: Judgement) -> bool:
    """Return whether the best explanation puts forward a size that the photo bears out."""
    if not ranked or ranked[0].corrected_mm is None or judgement.photo_mm is None:
        return False
    near_mm = max(judgement.U95_mm or 0.0, _NEAR_MM)
    return abs(ranked[0].corrected_mm - judgement.photo_mm) <= near_mm
