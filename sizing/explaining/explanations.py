"""What probably slipped, ranked: hypotheses weighed by the photo and by priors.

They explain and never move a verdict. Codes and facts only; the words stand in `messages`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sizing.decision import Judgement
from sizing.explaining.hypotheses import Other
from sizing.explaining.hypotheses_reading import RATIOS
from sizing.explaining.opening_scene import scene_of, tape_cov_of
from sizing.explaining.slips import NONE, load_priors
from sizing.explaining.units_taken import units_taken
from sizing.explaining.weighed import Explanation, explain_readings
from sizing.jobs.job import Opening, Reading
from sizing.units import READING_FROM_MM, READING_TO_MM
from vision.request import Estimate

# Shown to people: not more than this many, none less likely than this (taste, no effect on verdicts).
_SHOWN = 4
_LEAST_SHOWN = 0.02
# Metres away from the photo the tails of the hypotheses mean nothing: a size put forward lies as near as this
# to the photo's, or within its U95 (guess, no effect on verdicts).
_NEAR_MM = 25.4


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
    scene = scene_of(opening, estimate, others)
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


def explain_wrong_unit(reading_mm: float) -> tuple[Explanation, ...]:
    """Return the explanations of a length that no opening has, the units taken wrong.

    Sizes that an opening may have share the probability; without one the corrected size is None.
    """
    sizes = [reading_mm * ratio for ratio in RATIOS if READING_FROM_MM <= reading_mm * ratio <= READING_TO_MM]
    if not sizes:
        return (Explanation("wrong-unit", 1.0, None, None),)
    return tuple(Explanation("wrong-unit", 1.0 / len(sizes), v, reading_mm - v) for v in sizes)


def _with_units(explanation: Explanation, reading: Reading) -> Explanation:
    if explanation.slip != "wrong-unit":
        return explanation
    taken = units_taken(reading.length.as_written, reading.length.mm, explanation.corrected_mm)
    return replace(explanation, facts={**explanation.facts, **taken})


def _fits(ranked: Sequence[Explanation], judgement: Judgement) -> bool:
    """Return whether the best explanation puts forward a size that the photo bears out."""
    if not ranked or ranked[0].corrected_mm is None or judgement.photo_mm is None:
        return False
    near_mm = max(judgement.U95_mm or 0.0, _NEAR_MM)
    return abs(ranked[0].corrected_mm - judgement.photo_mm) <= near_mm
