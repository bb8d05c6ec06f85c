"""Questions to the log: which checks there are, and all that it holds of one."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from sizing.log.asked import DAY, Asked, where_clause
from sizing.log.database import folded
from sizing.logged import Details, Logged, LoggedDecision, LoggedReading, LoggedRelease

# Checks of one job file that say the same but for where somebody pointed; older results do not tell, each for itself.
_SESSION = "coalesce(s.folder, s.path), s.job_file, CASE s.unpointed WHEN '' THEN s.id ELSE s.unpointed END"
_CHECKS = f"""
    WITH seen AS (
        SELECT s.*, row_number() OVER (PARTITION BY {_SESSION} ORDER BY s.checked_at DESC, s.id DESC) AS age,
            count(*) OVER (PARTITION BY {_SESSION}) AS checks FROM runs s
    ), decided AS (
        SELECT p.run_id, row_number() OVER (PARTITION BY d.folder, d.line ORDER BY s.checked_at DESC, s.id DESC) AS age
        FROM decisions d JOIN runs s ON s.folder = d.folder
        JOIN openings p ON p.run_id = s.id AND p.label = d.opening AND p.inputs_sha256 = d.inputs_sha256
    )
    SELECT r.id, r.run, r.path, r.folder, r.job_file, r.job, r.verdict, r.units, r.program, r.measured_by,
        {DAY} AS day, r.checked_at, count(*) FILTER (WHERE o.verdict = 'send') AS send,
        count(*) FILTER (WHERE o.verdict = 'hold') AS hold, count(*) FILTER (WHERE o.verdict = 'unproven') AS unproven,
        (SELECT count(*) FROM decisions d WHERE d.folder = r.folder) AS decisions,
        (SELECT count(DISTINCT release) FROM releases x WHERE x.folder = r.folder) AS releases, r.checks
    FROM seen r LEFT JOIN openings o ON o.run_id = r.id
"""  # noqa: S608 -- parts of this file


def find(log: sqlite3.Connection, asked: Asked) -> tuple[Logged, ...]:
    """Return the checks that are asked for, the latest day first."""
    where, values = where_clause(asked)
    order = "ORDER BY day DESC, r.checked_at DESC, r.id DESC LIMIT ?"
    rows = log.execute(f"{_CHECKS} {where} GROUP BY r.id {order}", (*values, asked.limit or -1))
    return tuple(Logged(**dict(row)) for row in rows)


def find_run(log: sqlite3.Connection, name: str, under: Path | None = None) -> tuple[Logged, ...]:
    """Return the checks that `name` may mean: by the beginning of a run, else the latest of each job of that id.

    Parameters
    ----------
    name : str
        Four or more digits of a run, the folder of one, or the whole id of a job.
    """
    everything = find(log, Asked(under=under, each=True))
    here = [x for x in everything if "\0" not in name and x.path == str(Path(name).resolve())]
    runs = here or [x for x in everything if len(name) >= 4 and x.run.startswith(name.lower())]
    if runs:
        return tuple(runs)
    latest: dict[str | None, Logged] = {}
    for x in sorted((x for x in everything if folded(x.job) == folded(name)), key=lambda x: x.checked_at):
        latest[x.folder or x.path] = x
    return tuple(latest.values())


def details(log: sqlite3.Connection, logged: Logged) -> Details:
    """Return all that the log holds of a check."""
    openings = log.execute("SELECT * FROM openings WHERE run_id = ? ORDER BY id", (logged.id,)).fetchall()
    rows = log.execute(
        """SELECT o.label AS opening, x.* FROM readings x JOIN openings o ON o.id = x.opening_id
        WHERE o.run_id = ? ORDER BY o.id, x.rowid""",
        (logged.id,),
    )
    inputs = {row["label"]: row["inputs_sha256"] for row in openings}
    readings = [
        LoggedReading(**_named(LoggedReading, dict(row) | {"on": row["read_on"], "in_force": bool(row["in_force"])}))
        for row in rows
    ]
    decisions = [
        LoggedDecision(**_named(LoggedDecision, dict(row) | {"stale": row["inputs_sha256"] != inputs[row["opening"]]}))
        for row in log.execute("SELECT * FROM decisions WHERE folder = ? ORDER BY line", (logged.folder,))
        if row["opening"] in inputs
    ]
    releases = [
        LoggedRelease(**_named(LoggedRelease, dict(row) | {"stale": row["inputs_sha256"] != inputs[row["opening"]]}))
        for row in log.execute("SELECT * FROM releases WHERE folder = ? ORDER BY released_at, rowid", (logged.folder,))
        if row["opening"] in inputs
    ]
    others = log.execute(
        """SELECT s.checked_at, s.verdict, s.run FROM runs r JOIN runs s ON coalesce(s.folder, s.path)
        = coalesce(r.folder, r.path) AND s.job_file = r.job_file AND s.unpointed = r.unpointed AND s.id <> r.id
        WHERE r.id = ? AND r.unpointed <> '' ORDER BY s.checked_at, s.id""",
        (logged.id,),
    )
    said = tuple((row["label"], row["verdict"], row["why"]) for row in openings)
    pointed = tuple((row["checked_at"], row["verdict"], row["run"]) for row in others)
    return Details(logged, said, tuple(readings), tuple(decisions), tuple(releases), pointed)


def _named(kind: type[Any], row: Mapping[str, Any]) -> dict[str, Any]:
    return {f.name: row[f.name] for f in fields(kind)}
