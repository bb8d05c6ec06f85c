"""The log as JSON and CSV: one row a reading, nothing in it a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from sizing.logged import Details
from sizing.safe_cell import safe_cell
from sizing.statistics.findings import Together
from sizing.statistics.pooling import Interval

SCHEMA = "secondtape/log/1"
COLUMNS = (
    "job", "run", "checked_at", "day", "program", "verdict_of_job", "opening", "verdict_of_opening", "reading",
    "in_force", "by", "on", "tape", "tape_mm", "photo_mm", "difference_mm", "U95_mm", "verdict", "likely_slip",
    "decision", "decided_by", "decided_at", "decision_stale", "release", "released_at", "release_stale",
)  # fmt: skip


def export_document(checks: Iterable[Details]) -> dict[str, Any]:
    """Return checks with readings, decisions and releases as one JSON document, lengths in mm."""
    jobs = []
    for check in checks:
        logged = asdict(check.logged)
        del logged["id"]
        jobs.append(
            logged
            | {
                "openings": [{"label": label, "verdict": v, "why": why} for label, v, why in check.openings],
                "readings": [asdict(r) for r in check.readings],
                "decisions_taken": [asdict(d) for d in check.decisions],
                "released": [asdict(x) for x in check.releases],
                "pointed_anew": [{"checked_at": at, "verdict": v, "run": run} for at, v, run in check.others],
            }
        )
    return {"schema": SCHEMA, "checks": jobs}


def export_csv(checks: Iterable[Details]) -> str:
    """Return one row a reading as CSV (RFC 4180), with the last decision on its opening; one row where none is."""
    stream = io.StringIO()
    writer = csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for check in checks:
        for row in _rows(check):
            writer.writerow([_cell(row.get(column)) for column in COLUMNS])
    return stream.getvalue()


def _rows(check: Details) -> Iterable[dict[str, object]]:
    logged = check.logged
    head: dict[str, object] = {
        "job": logged.job, "run": logged.run, "checked_at": logged.checked_at, "day": logged.day,
        "program": logged.program, "verdict_of_job": logged.verdict,
    }  # fmt: skip
    for label, verdict, _ in check.openings:
        mine: dict[str, object] = head | {"opening": label, "verdict_of_opening": verdict}
        last = next((d for d in reversed(check.decisions) if d.opening == label), None)
        handed = next((x for x in reversed(check.releases) if x.opening == label), None)
        if handed is not None:
            mine |= {"release": handed.release, "released_at": handed.released_at, "release_stale": handed.stale}
        if last is not None:
            mine |= {"decision": last.decision, "decided_by": last.by, "decided_at": last.time}
            mine["decision_stale"] = last.stale
        readings = [r for r in check.readings if r.opening == label]
        for reading in readings:
            yield mine | asdict(reading) | {"reading": reading.name, "likely_slip": reading.slip}
        if not readings:
            yield mine


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    # A number is no formula, whatever its sign; text may be one.
    return f"{value:.3f}" if isinstance(value, float) else safe_cell(str(value))


def statistics_document(groups: Iterable[Together], by: str) -> dict[str, Any]:
    """Return the statistics as JSON: intervals of 95 %, lengths in mm, null where too little is known."""
    return {"schema": SCHEMA, "by": by, "groups": [_group(g) for g in groups]}


def _group(group: Together) -> dict[str, Any]:
    document: dict[str, Any] = asdict(group)
    for key in ("first", "last"):
        document[key] = document[key].isoformat() if document[key] is not None else None
    for key in ("shift_mm", "beyond_mm", "slope_mm_per_m", "scatter_mm", "trend_mm", "slips_per_100"):
        document[key] = _interval(getattr(group, key))
    document["mean_length_mm"] = round(group.mean_length_mm, 1)
    document["findings"] = [{"kind": f.kind, "p": f.p, "p_table": f.p_table} for f in group.findings]
    return document | {"enough": group.enough, "nature": group.nature}


def _interval(interval: Interval | None) -> dict[str, float] | None:
    if interval is None:
        return None
    return {"value": round(interval.value, 3), "low": round(interval.low, 3), "high": round(interval.high, 3)}
