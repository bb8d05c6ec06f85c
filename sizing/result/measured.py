"""What the photo says of an opening as JSON: measures with covariance and budget, sides and faces."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sizing.json_values import Document, rounded, rounded_mm
from sizing.mixture import interval95_if_odd, mixture_of
from sizing.result.values import COV_DIGITS, P_DIGITS, point_lists
from vision.request import NINE, PARTS, SIDES, Candidate, Estimate, Face, NotMeasured


def measured_document(answer: Estimate | NotMeasured) -> Document:
    """Return what the photo says, or why it says nothing."""
    if isinstance(answer, NotMeasured):
        return {"why": answer.why, "why_code": answer.code, "faces": []}
    u_mm = np.sqrt(np.maximum(np.diag(answer.cov_mm2), 0.0))
    measures: Document = {}
    for i, name in enumerate(NINE):
        parts = {part: rounded_mm(answer.budget_mm[i, k]) for k, part in enumerate(PARTS)}
        measures[name] = {
            **_quantity(answer.values_mm[i], u_mm[i]),
            **_interval(answer, name, float(u_mm[i])),
            "budget_mm": {part: value for part, value in parts.items() if value},
        }
    for name, further in answer.further.items():
        place = {} if further.place_mm is None else {"place_mm": rounded_mm(further.place_mm)}
        measures[name] = {**_quantity(further.value_mm, further.u_mm), **place}
    return {
        "found_by": answer.found_by,
        "measures": measures,
        "covariance_mm2": [[rounded(v, COV_DIGITS) for v in row] for row in answer.cov_mm2],
        "sides": _sides(answer.candidates),
        "faces": [_face(face) for face in answer.faces],
    }


def _face(face: Face) -> Document:
    """Return an outline or line beside the edges: what a tape taken to it would read, and what that rests on."""
    return {
        "name": face.name,
        "kind": face.kind,
        "measures_mm": {name: rounded_mm(v) for name, v in face.measures_mm.items()},
        "u_mm": rounded_mm(face.u_mm),
        "U95_mm": {name: rounded_mm(2.0 * u) for name, u in face.u_by_mm.items()},
        "depth_mm": rounded_mm(face.depth_mm),
        "u_depth_mm": rounded_mm(face.u_depth_mm),
        "depth_by": face.depth_by,
        "weight": rounded(face.weight, P_DIGITS),
        "lines_px": {side: point_lists(px) for side, px in face.lines_px.items()},
    }


def _interval(answer: Estimate, name: str, u_mm: float) -> Document:
    """Return the 95 % interval where rival edges make it much unlike value +- U95 (contract, *Words*)."""
    mixture = mixture_of(answer.values_mm, answer.cov_mm2, answer.candidates, name)
    odd = interval95_if_odd(mixture, 2.0 * u_mm)
    return {} if odd is None else {"ci95_mm": [rounded_mm(mm) for mm in odd]}


def _quantity(value_mm: float, u_mm: float) -> Document:
    return {"value_mm": rounded_mm(value_mm), "u_mm": rounded_mm(u_mm), "U95_mm": rounded_mm(2.0 * u_mm)}


def _sides(candidates: Sequence[Candidate]) -> Document:
    return {
        side: {
            "candidates": [
                {
                    "weight": rounded(c.weight, P_DIGITS),
                    "shift_mm": rounded_mm(c.shift_mm),
                    "shift_nine_mm": [rounded_mm(v) for v in c.shift_nine_mm],
                    "name": c.name,
                }
                for c in candidates
                if c.side == side
            ]
        }
        for side in SIDES
    }
