"""Slips that have to do with the wall: another line, another opening, the reference, the hook, something else."""

from __future__ import annotations

from itertools import product

import numpy as np

from sizing.explaining.hypotheses import AXES, Hypothesis, Scene
from sizing.explaining.hypotheses_faces import modes_of
from sizing.explaining.slips import NONE, Priors
from vision.request import NINE, Face

# Lines nearer than this to the edge change no reading worth telling.
_NEAR_MM = 3.0
# Not more combinations of lines than this: the likeliest few are enough.
_COMBINATIONS = 16
# Guess: how far readings stray from one unknown common shift, mm.
_STRAY_MM = 8.0


def _moved(faces: tuple[Face, ...], scene: Scene) -> dict[str, float]:
    """Return by how much each reading grows when taken to these lines."""
    shift: dict[str, float] = {}
    for face in faces:
        for name, value in face.measures_mm.items():
            if name in scene.readings_mm:
                shift[name] = shift.get(name, 0.0) + value - scene.photo_mm[name]
    return {name: mm for name, mm in shift.items() if abs(mm) > _NEAR_MM}


def of_lines(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that the tape was laid to other lines that the photo sees (trim, frame, sill)."""
    found: list[Hypothesis] = []
    for axis in AXES[:2]:
        seen = [f for f in scene.faces if f.kind == "line" and any(n in f.measures_mm for n in axis)]
        # One line at a side: those of one side have names that begin alike.
        sides: dict[str, list[Face]] = {}
        for face in seen:
            sides.setdefault(face.name.split(",")[0], []).append(face)
        combos = list(product(*([None, *lines] for lines in sides.values())))[1 : _COMBINATIONS + 1]
        for combo in combos:
            faces = tuple(f for f in combo if f is not None)
            shift = _moved(faces, scene)
            if not shift:
                continue
            facts = {"lines": " and ".join(f.name for f in faces)}
            mine = {n: mm for n, mm in shift.items() if n in axis}
            # A line's own uncertainty is nearly all that of the photo, which is in the covariance already: the rest.
            for touched in (shift, mine) if len(mine) < len(shift) else (mine,):
                if len(touched) > 1:
                    spreads = modes_of(faces, touched)
                    odds = priors.another_line / len(combos)
                    found.append(Hypothesis("another-line", odds, touched, spreads, facts=facts))
            one = priors.another_line_one / len(combos)
            found += [
                Hypothesis("another-line", one, {n: mm}, modes_of(faces, (n,)), facts=facts) for n, mm in mine.items()
            ]
    return found


def of_other_openings(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that readings belong to another opening of the job.

    The uncertainty of this opening's photo stays in the likelihood: a little too wide, on the safe side.
    """
    found: list[Hypothesis] = []
    names = scene.names
    rows = [NINE.index(n) for n in names]
    for other in scene.others:
        facts = {"opening": other.label}
        shift = {n: float(other.values_mm[i]) - scene.photo_mm[n] for n, i in zip(names, rows, strict=True)}
        u = np.sqrt(np.maximum(np.diag(other.cov_mm2)[rows], 0.0))
        odds = priors.another_reading / len(scene.others)
        found += [
            Hypothesis("another-opening", odds, {n: shift[n]}, ({n: float(s)},), sized=False, facts=facts)
            for n, s in zip(names, u, strict=True)
        ]
        values, vectors = np.linalg.eigh(other.cov_mm2[np.ix_(rows, rows)])
        modes = vectors * np.sqrt(np.maximum(values, 0.0))
        columns = tuple(dict(zip(names, column.tolist(), strict=True)) for column in modes.T)
        if len(names) > 1:
            share = priors.another_opening / len(scene.others)
            found.append(Hypothesis("another-opening", share, shift, columns, sized=False, facts=facts))
    return found


def of_everything(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that move all readings: by one ratio, by one shift, by something else."""
    names = scene.names
    found: list[Hypothesis] = []
    if len(names) > 1:
        nothing = dict.fromkeys(names, 0.0)
        ratio = {n: priors.one_ratio_spread * scene.photo_mm[n] for n in names}
        facts = {"size_from": scene.size_from}
        found.append(
            Hypothesis("one-ratio", priors.one_ratio, nothing, (ratio,), common=True, sized=False, facts=facts)
        )
        hook = dict.fromkeys(names, priors.one_shift_spread_mm)
        found.append(Hypothesis("one-shift", priors.one_shift, nothing, (hook,), common=True))
    for axis in (*AXES, names):
        touched = scene.present(axis)
        odds = priors.none_all if axis == names else priors.none_axis
        if len(touched) < 2:
            continue
        groups = [scene.present(a) for a in AXES] if axis == names else [touched]
        together = tuple(dict.fromkeys(g, priors.none_together_mm) for g in groups if g)
        alone = tuple({n: _STRAY_MM} for n in touched)
        found.append(Hypothesis(NONE, odds, dict.fromkeys(touched, 0.0), together + alone, sized=False))
    return found
