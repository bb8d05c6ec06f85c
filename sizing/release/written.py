"""A release as it is written for the works: JSON and CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from typing import Any

from sizing.messages import release as messages
from sizing.messages.exact_length import exact_length
from sizing.release.release import Release
from sizing.safe_cell import safe_cell

SCHEMA = "secondtape/release/1"
COLUMNS = (
    "release", "job", "opening", "quantity", "rule", "width", "height", "width_mm", "height_mm", "verdict",
    "released_by", "decided_by", "decided_at", "reason", "risk_accepted", "inputs_sha256", "panels", "panels_mm",
    "also_in",
)  # fmt: skip


def release_document(release: Release, released_at: str, program: str) -> dict[str, Any]:
    """Return the release as JSON: what may be ordered, what may not and why, at what time, by what program."""
    unit = release.units
    lines = []
    for line in release.lines:
        document = asdict(line) | {"also_in": list(line.also_in)}
        document["width"] = exact_length(line.width_mm, unit)
        document["height"] = exact_length(line.height_mm, unit)
        document["panels"] = [exact_length(w, unit) for w in line.panels_mm]
        document |= {"panels_mm": list(line.panels_mm), "confirm": list(line.confirm), "notes": list(line.notes)}
        lines.append(document)
    return {
        "schema": SCHEMA,
        "release": release.number,
        "job": release.job,
        "job_sha256": release.job_sha256,
        "units": unit,
        "released_at": released_at,
        "program": program,
        "released": lines,
        "not_released": [asdict(rest) | {"also_in": list(rest.also_in)} for rest in release.rest],
        "note": messages.RELEASE_CAUTION,
    }


def release_csv(release: Release) -> str:
    """Return the released openings as CSV (RFC 4180), one a row and all cells quoted; nothing in it is a formula.

    Notes
    -----
    A spreadsheet runs a cell that begins with = + - or @; such text gets an apostrophe in front, also behind
    what may part cells under another locale.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for line in release.lines:
        row = asdict(line) | {
            "release": release.number,
            "job": release.job,
            "width": exact_length(line.width_mm, release.units),
            "height": exact_length(line.height_mm, release.units),
            "width_mm": f"{line.width_mm:.3f}",
            "height_mm": f"{line.height_mm:.3f}",
            "panels": "; ".join(exact_length(w, release.units) for w in line.panels_mm),
            "panels_mm": "; ".join(f"{w:.3f}" for w in line.panels_mm),
            "also_in": " ".join(line.also_in),
        }
        writer.writerow([safe_cell(str(row[column])) for column in COLUMNS])
    return stream.getvalue()
