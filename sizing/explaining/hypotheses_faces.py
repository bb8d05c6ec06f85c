"""The slip that the tape was laid to another outline that the photo sees: frame, what lies further in it, trim."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from sizing.explaining.hypotheses import AXES, Hypothesis, Scene
from sizing.explaining.slips import Priors
from vision.request import Face

# Outlines nearer than this to the edge change no reading worth telling.
_NEAR_MM = 3.0
# A share of an outline's modes below this is none.
_LEAST_MM = 0.01


def of_faces(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that widths, heights, all readings or one were taken to an outline of the photo."""
    outlines = [f for f in scene.faces if f.kind == "outline"]
    found: list[Hypothesis] = []
    for face in outlines:
        share = face.weight / len(outlines)
        whole = {n: v - scene.photo_mm[n] for n, v in face.measures_mm.items() if n in scene.readings_mm}
        whole = {n: mm for n, mm in whole.items() if abs(mm) > _NEAR_MM}
        axes = [{n: whole[n] for n in axis if n in whole} for axis in AXES]
        level = axes[0] | axes[1]
        # of one direction, of both, of diagonals too: whoever measures to a frame may measure all so or some
        groups = [axes[0], axes[1], level if axes[0] and axes[1] else {}, whole if len(whole) > len(level) else {}]
        groups = [group for group in groups if len(group) > 1]
        facts = {"lines": face.name}
        found += [_to(face, priors.another_line * share, group, facts) for group in groups]
        found += [_to(face, priors.another_line_one * share, {n: mm}, facts) for n, mm in level.items()]
    return found


def _to(face: Face, odds: float, shift_mm: Mapping[str, float], facts: Mapping[str, str]) -> Hypothesis:
    return Hypothesis("another-line", odds, shift_mm, modes_of((face,), shift_mm), facts=facts)


def modes_of(faces: Iterable[Face], names: Iterable[str]) -> tuple[Mapping[str, float], ...]:
    """Return what the faces' own uncertainty moves of the readings `names`, on top of the photo's, mm."""
    touched = list(names)
    found = []
    for face in faces:
        for mode in face.modes_mm:
            mine = {n: mode[n] for n in touched if n in mode and abs(mode[n]) > _LEAST_MM}
            if mine:
                found.append(mine)
    if len(touched) == 1 and len(found) > 1:
        # Of one reading only the sum counts.
        found = [{n: math.hypot(*(mode[n] for mode in found)) for n in touched}]
    return tuple(found)
