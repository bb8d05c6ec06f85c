"""Questions to the log: which checks, what they said, and the readings that statistics may count."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from pathlib import Path
from typing import Any

from sizing.log.compared import Compared
from sizing.log.index import folded

NOT_SAID = "not said"
# The day of a check is that of the measuring; where nobody said it, that of the check.
_DAY = "coalesce(substr(r.measured_on, 1, 10), substr(r.checked_at, 1, 10))"


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for; None asks for all. Texts are parts of names, days are included, `under` is a folder.

    Of the checks of one job file that differ only in where somebody pointed in the photos the last one stands for all,
    and each that somebody decided on; `each` asks for every one. `released`: only those of which something is.
    """

    job: str | None = None
    by: str | None = None
    tape: str | None = None
    since: date | None = None
    until: date | None = None
    verdict: str | None = None
    under: Path | None = None
    limit: int | None = None
    decided_by: str | None = None
    released: bool = False
    each: bool = False


@dataclass(frozen=True, slots=True)
class Logged:
    """One check in the log: `day` of measuring, else of checking; numbers of openings by verdict.

    `decisions` on the job and `releases` of it in all; `checks` are those that differ only in where somebody pointed.
    """

    id: int
    run: str
    path: str
    folder: str | None
    job_file: str
    job: str
    verdict: str
    units: str
    program: str
    measured_by: str | None
    day: str
    checked_at: str
    send: int
    hold: int
    unproven: int
    decisions: int
    releases: int = 0
    checks: int = 1


@dataclass(frozen=True, slots=True)
class LoggedReading:
    """One reading of a check; lengths in mm."""

    opening: str
    name: str
    in_force: bool
    by: str | None
    on: str | None
    tape: str | None
    tape_mm: float
    photo_mm: float | None
    difference_mm: float | None
    U95_mm: float | None
    verdict: str | None
    slip: str | None


@dataclass(frozen=True, slots=True)
class LoggedDecision:
    """One decision on an opening of the job; `stale` where this check's inputs are others than the decision's."""

    opening: str
    time: str
    by: str
    decision: str
    reason: str
    risk_accepted: str
    verdict: str
    stale: bool


@dataclass(frozen=True, slots=True)
class LoggedRelease:
    """One opening in a release of the job, lengths in mm; `stale` where this check's inputs are others."""

    release: str
    released_at: str
    opening: str
    quantity: int
    width_mm: float
    height_mm: float
    released_by: str
    decided_by: str
    stale: bool


@dataclass(frozen=True, slots=True)
class Details:
    """A check with its openings (label, verdict, why), readings, the decisions on them and releases.

    `others` are the checks that differ only in where somebody pointed: time, verdict and run, in order of time.
    """

    logged: Logged
    openings: tuple[tuple[str, str, str], ...]
    readings: tuple[LoggedReading, ...]
    decisions: tuple[LoggedDecision, ...]
    releases: tuple[LoggedRelease, ...] = ()
    others: tuple[tuple[str, str, str], ...] = ()


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
        {_DAY} AS day, r.checked_at, count(*) FILTER (WHERE o.verdict = 'send') AS send,
        count(*) FILTER (WHERE o.verdict = 'hold') AS hold, count(*) FILTER (WHERE o.verdict = 'unproven') AS unproven,
        (SELECT count(*) FROM decisions d WHERE d.folder = r.folder) AS decisions,
        (SELECT count(DISTINCT release) FROM releases x WHERE x.folder = r.folder) AS releases, r.checks
    FROM seen r LEFT JOIN openings o ON o.run_id = r.id
"""  # noqa: S608 -- parts of this file


def find(log: sqlite3.Connection, asked: Asked) -> tuple[Logged, ...]:
    """Return the checks that are asked for, the latest day first."""
    where, values = _where(asked)
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


def compared(log: sqlite3.Connection, asked: Asked) -> tuple[Compared, ...]:
    """Return each reading once, held to the photo of the last check that measured its opening.

    Notes
    -----
    A reading stays the same through many checks; a copy of a job, with the same inputs, counts once. Readings that a
    visit replaced count too: a slip that was found is still a slip. Openings whose photo may show another one do not.
    """
    where, values = _where(asked, readings=True)
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


def _where(asked: Asked, *, readings: bool = False) -> tuple[str, Sequence[object]]:
    """Return the clause and its values; with `readings`, names, tapes and days are those of the reading."""
    day = "coalesce(substr(x.read_on, 1, 10), substr(r.measured_on, 1, 10))" if readings else _DAY
    parts, values = ["TRUE"], list[object]()
    mine = "EXISTS (SELECT 1 FROM readings x JOIN openings p ON p.id = x.opening_id WHERE p.run_id = r.id AND {})"
    name = "instr(fold({}), fold(?)) > 0"
    if asked.job is not None:
        parts.append(name.format("r.job"))
        values.append(asked.job)
    if asked.by is not None:
        own = name.format("x.by")
        parts.append(own if readings else f"({name.format('r.measured_by')} OR {mine.format(own)})")
        values += [asked.by] * (1 if readings else 2)
    if asked.tape is not None:
        parts.append("x.tape = ?" if readings else mine.format("x.tape = ?"))
        values.append(asked.tape)
    for bound, sign in ((asked.since, ">="), (asked.until, "<=")):
        if bound is not None:
            parts.append(f"{day} {sign} ?")
            values.append(bound.isoformat())
    if asked.decided_by is not None:
        decided = "EXISTS (SELECT 1 FROM decisions d WHERE d.folder = r.folder AND {})"
        parts.append(decided.format(name.format("d.by")))
        values.append(asked.decided_by)
    if asked.released:
        parts.append("EXISTS (SELECT 1 FROM releases x WHERE x.folder = r.folder)")
    if not (asked.each or readings):
        parts.append("(r.age = 1 OR r.id IN (SELECT run_id FROM decided WHERE age = 1))")
    if asked.verdict is not None:
        parts.append("r.verdict = ?")
        values.append(asked.verdict)
    if asked.under is not None:
        top = str(asked.under.resolve()).rstrip("/\\")
        parts.append("(r.folder = ? OR substr(r.folder, 1, ?) IN (?, ?))")
        values += [top, len(top) + 1, top + "/", top + "\\"]
    return "WHERE " + " AND ".join(parts), values


def _named(kind: type[Any], row: Mapping[str, Any]) -> dict[str, Any]:
    return {f.name: row[f.name] for f in fields(kind)}


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None
