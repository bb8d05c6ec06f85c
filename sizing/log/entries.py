"""Rows of the log: a run with its openings and readings, and what people did with a job's checks."""

from __future__ import annotations

import sqlite3
from datetime import UTC
from pathlib import Path

from sizing.decided import Decision
from sizing.errors import InputError
from sizing.log.record import RunRecord
from sizing.log.releases import release_rows, releases_stamp
from sizing.release.decisions import FILE as DECISIONS_FILE
from sizing.release.decisions import read_decisions


def add_run(log: sqlite3.Connection, run: RunRecord) -> None:
    """Take in a run with its openings and readings, in place of what was held of it."""
    log.execute("DELETE FROM runs WHERE path = ?", (str(run.path),))
    row = (
        str(run.path), None if run.folder is None else str(run.folder), run.job_file, run.path.name, run.job,
        run.verdict, run.units, run.sha256, run.program, run.measured_by, run.measured_on,
        run.checked_at.strftime("%Y-%m-%dT%H:%M:%SZ"), run.unpointed,
    )  # fmt: skip
    number = log.execute(f"INSERT INTO runs VALUES (NULL{', ?' * len(row)})", row).lastrowid  # noqa: S608
    for opening in run.openings:
        opened = log.execute(
            "INSERT INTO openings VALUES (NULL, ?, ?, ?, ?, ?, ?)",
            (number, opening.label, opening.verdict, opening.why, opening.inputs_sha256, int(opening.other_opening)),
        ).lastrowid
        log.executemany(
            "INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (
                    opened, r.name, r.visit, int(r.in_force), r.by, r.on, r.tape, r.tape_mm, r.photo_mm,
                    r.difference_mm, r.U95_mm, r.verdict, r.slip, r.as_written,
                )
                for r in opening.readings
            ],
        )  # fmt: skip


def add_acts(log: sqlite3.Connection, folder: Path) -> None:
    """Take in what people did with a job's checks: decisions and releases."""
    seen = stamp(folder) or (0, 0, 0)
    try:
        decisions = read_decisions(folder).decisions
    except InputError:  # the check of that job has said so; what the index held stays
        return
    log.execute("DELETE FROM folders WHERE folder = ?", (str(folder),))
    log.execute("INSERT INTO folders VALUES (?, ?, ?, ?)", (str(folder), *seen))
    log.executemany(
        "INSERT INTO decisions VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", [_row(folder, d) for d in decisions]
    )
    log.executemany("INSERT INTO releases VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", release_rows(folder))


def _row(folder: Path, d: Decision) -> tuple[object, ...]:
    time = d.time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    size = (d.width_mm, d.height_mm)
    return (
        str(folder), d.line, time, d.by, d.opening, d.decision, d.reason, d.risk_accepted, d.inputs_sha256, d.verdict,
        *size,
    )  # fmt: skip


def stamp(folder: Path) -> tuple[int, int, int] | None:
    """Return time and size of a job's decisions and the time of its releases, zeros without any.

    None where the folder cannot be looked into.
    """
    try:
        found = (folder / DECISIONS_FILE).stat()
    except FileNotFoundError:
        return (0, 0, releases_stamp(folder)) if folder.is_dir() else None
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, releases_stamp(folder)
