"""The readings of the log that statistics may count, each held to the photo that measured its opening last."""

from __future__ import annotations

import sqlite3
from datetime import date

from sizing.log.asked import Asked, where_clause
from sizing.log.database import folded
from sizing.statistics.compared import Compared

NOT_SAID = "not said"


def compared(log: sqlite3.Connection, asked: Asked) -> tuple[Compared, ...]:
    """Return each reading once, held to the photo of the last check that measured its opening.

    Notes
    -----
    A reading stays the same through many checks; a copy of a job, with the same inputs, counts once. Readings that a
    visit replaced count too: a slip that was found is still a slip. Openings whose photo may show another one do not.
    """
    where, values = where_clause(asked, readings=True)
    rows = log.execute(
        f"""WITH measured AS (
            SELECT o.id, o.label, o.inputs_sha256, o.run_id, row_number() OVER (
                PARTITION BY coalesce(r.folder, r.path), r.job_file, o.label ORDER BY r.checked_at DESC, r.id DESC
            ) AS age
            FROM openings o JOIN runs r ON r.id = o.run_id
            WHERE NOT o.other_opening AND EXISTS (
                SELECT 1 FROM readings x WHERE x.opening_id = o.id AND x.difference_mm NOT NULL
            )
        ), once AS (
            SELECT *, row_number() OVER (
                PARTITION BY CASE inputs_sha256 WHEN '' THEN id ELSE inputs_sha256 END ORDER BY id
            ) AS copy FROM measured WHERE age = 1
        )
        SELECT x.name, x.by, coalesce(substr(x.read_on, 1, 10), substr(r.measured_on, 1, 10)) AS day, x.tape, x.tape_mm,
            x.difference_mm, x.U95_mm, o.id AS opening_id, coalesce(r.folder, r.path) || char(10) || r.job_file AS place
        FROM once o JOIN runs r ON r.id = o.run_id JOIN readings x ON x.opening_id = o.id
        {where} AND copy = 1 AND x.difference_mm NOT NULL AND x.U95_mm NOT NULL ORDER BY x.rowid""",  # noqa: S608
        values,
    ).fetchall()
    shown: dict[str | None, str] = {}
    result = []
    for row in rows:
        day = _day(row["day"])
        result.append(
            Compared(
                by=shown.setdefault(folded(row["by"]), (row["by"] or "").strip() or NOT_SAID),
                tape=row["tape"] or NOT_SAID,
                # A later visit is a day of its own.
                job=f"{row['place']}\n{day}",
                opening=str(row["opening_id"]),
                name=row["name"],
                on=day,
                tape_mm=row["tape_mm"],
                difference_mm=row["difference_mm"],
                u_mm=row["U95_mm"] / 2.0,
            )
        )
    return tuple(result)


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None
