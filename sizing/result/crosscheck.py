"""The cross-check as JSON: tests of readings, of an opening, of a job."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sizing.crosscheck.consistency import CrossCheck
from sizing.crosscheck.job_tests import CommonTest
from sizing.crosscheck.snooping import ReadingTest
from sizing.json_values import Document, rounded
from sizing.messages import crosscheck as messages
from sizing.units import Unit


def reading_test_document(test: ReadingTest | None) -> Document:
    """Return `w`, `mdb_mm`, `redundancy` and `group` of one reading; null where nothing controls it."""
    if test is None:
        return {"w": None, "mdb_mm": None, "redundancy": None, "group": []}
    return {
        "w": rounded(test.w, 2),
        "mdb_mm": rounded(test.mdb_mm, 2),
        "redundancy": rounded(test.redundancy, 3),
        "group": list(test.group),
    }


def joint_test_document(check: CrossCheck | None) -> Document | None:
    """Return `joint_test` of one opening, None where nothing was tested."""
    if check is None:
        return None
    found = check.snooped
    document: Document = {
        "chi2": rounded(found.chi2, 2),
        "dof": found.dof,
        "p": rounded(found.p, 6),
        "p_rest": rounded(found.p_rest, 6),
        "with_photo": check.with_photo,
        "outliers": [
            {"group": list(o.group), "w": rounded(o.w, 2), "slip_mm": rounded(o.slip_mm, 2), "u_mm": rounded(o.u_mm, 2)}
            for o in found.outliers
        ],
    }
    if check.edge is not None:
        document["fits_edge"] = {"side": check.edge.side, "shift_mm": rounded(check.edge.shift_mm, 2)}
    return document


def job_tests_document(tests: Sequence[CommonTest], units: Unit) -> list[Document]:
    """Return `job_tests`: ratios (less 1) of prints and tapes, shifts of tapes in mm, and what they point to."""
    return [
        {
            "test": t.kind,
            "of": t.of,
            "openings": list(t.labels),
            **_sized(t),
            "w": rounded(t.w, 2),
            "critical_w": rounded(t.critical, 2),
            "found": t.found,
            "group": [f"{kind} {of}" for kind, of in t.group],
            "says": messages.common_part(t, units),
        }
        for t in tests
    ]


def _sized(test: CommonTest) -> Document:
    """Return value, U95, what was expected and the least value found, each with the unit in its name."""
    unit, digits = ("mm", 2) if test.kind == "tape_zero" else ("ratio", 5)
    known = math.isfinite(test.u)
    figures = {
        "value": test.value if known else None,
        "U95": 2.0 * test.u,
        "expected_U95": 2.0 * test.allowed_u,
        "detectable": test.least,
    }
    return {f"{name}_{unit}": rounded(value, digits) for name, value in figures.items()}
