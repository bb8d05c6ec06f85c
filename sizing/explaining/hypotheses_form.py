"""Slips of the form: readings that stand in the wrong box, or were copied."""

from __future__ import annotations

import math
from itertools import combinations

from sizing.explaining.hypotheses import AXES, Hypothesis, Scene
from sizing.explaining.slips import Priors

_TURNED = dict(zip(AXES[0], AXES[1], strict=True))
# As seen from the other side of the wall.
_MIRRORED = (("height_left", "height_right"), ("diagonal_down", "diagonal_up"))
# Readings closer than this are the same number.
_SAME_MM = 1e-6
# A copied reading tells nothing of its own box: so broad that the photo's figure there weighs nothing, mm.
_UNKNOWN_MM = 1000.0


def _swapped(pairs: list[tuple[str, str]], scene: Scene) -> dict[str, float]:
    shift: dict[str, float] = {}
    for a, b in pairs:
        gap = scene.readings_mm[a] - scene.readings_mm[b]
        shift |= {a: gap, b: -gap}
    return shift


def of_boxes(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that readings stand in each other's boxes: stations, directions, left and right."""
    found: list[Hypothesis] = []
    for axis in AXES:
        for a, b in combinations(scene.present(axis), 2):
            shift = _swapped([(a, b)], scene)
            if abs(shift[a]) > _SAME_MM:
                found.append(
                    Hypothesis("stations-swapped", priors.stations_swapped, shift, facts={"between": f"{a} {b}"})
                )
    turned = [(w, h) for w, h in _TURNED.items() if w in scene.readings_mm and h in scene.readings_mm]
    for a, b in turned:
        facts = {"between": f"{a} {b}", "extent": "one"}
        found.append(
            Hypothesis("width-height-swapped", priors.width_height_swapped, _swapped([(a, b)], scene), facts=facts)
        )
    if len(turned) > 1:
        facts = {"extent": "all"}
        found.append(Hypothesis("width-height-swapped", priors.width_height_all, _swapped(turned, scene), facts=facts))
    mirrored = [(a, b) for a, b in _MIRRORED if a in scene.readings_mm and b in scene.readings_mm]
    if len(mirrored) > 1:
        found.append(Hypothesis("seen-from-inside", priors.seen_from_inside, _swapped(mirrored, scene)))
    return found


def of_copies(scene: Scene, priors: Priors) -> list[Hypothesis]:
    """Return the hypotheses that one reading was copied into all boxes of its direction.

    Only where they hold one number. Sound readings would fall on one mark by chance alone; the copied ones are
    the same by force: each is weighed by its graduation in place of its density.
    """
    found: list[Hypothesis] = []
    for axis in AXES:
        names = scene.present(axis)
        if len(names) < 2 or any(abs(scene.readings_mm[n] - scene.readings_mm[names[0]]) > _SAME_MM for n in names):
            continue
        for source in names:
            copies = [n for n in names if n != source]
            evidence = len(copies) * math.log(_UNKNOWN_MM * math.sqrt(2.0 * math.pi) / scene.graduation_mm)
            found.append(
                Hypothesis(
                    "copied",
                    priors.copied / len(names),
                    dict.fromkeys(copies, 0.0),
                    tuple({n: _UNKNOWN_MM} for n in copies),
                    sized=False,
                    log_factor=evidence,
                    facts={"from": source},
                )
            )
    return found
