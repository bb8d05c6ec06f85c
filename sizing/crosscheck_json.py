"""The cross-check as JSON: tests of readings, of an opening, of a job."""

from __future__ import annotations

import math
from typing import Any

from sizing.consistency import CrossCheck
from sizing.snooping import ReadingTest

Document = dict[str, Any]


def reading_test_document(test: ReadingTest | None) -> Document:
    """Return `w`, `mdb_mm`, `redundancy` and `group` of one reading; null where nothing controls it."""
    if test is None:
        return {"w": None, "mdb_mm": None, "redundancy": None, "group": []}
    return {
        "w": _number(test.w, 2),
        "mdb_mm": _number(test.mdb_mm, 2),
        "redundancy": _number(test.redundancy, 3),
        "group": list(test.group),
    }


def joint_test_document(check: CrossCheck | None) -> Document | None:
    """Return `joint_test` of one opening, None where nothing was tested."""
    if check is None:
        return None
    found = check.snooped
    document: Document = {
        "chi2": _number(found.chi2, 2),
        "dof": found.dof,
        "p": _number(found.p, 6),
        "p_rest": _number(found.p_rest, 6),
        "with_photo": check.with_photo,
        "outliers": [
            {"group": list(o.group), "w": _number(o.w, 2), "slip_mm": _number(o.slip_mm, 2), "u_mm": _number(o.u_mm, 2)}
            for o in found.outliers
        ],
    }
    if check.edge is not None:
        document["fits_edge"] = {"side": check.edge.side, "shift_mm": _number(check.edge.shift_mm, 2)}
    return document


def _number(value: float | None, digits: int) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits) + 0.0
