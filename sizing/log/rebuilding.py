"""The log's index made anew from what lies in the job folders."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sizing.errors import InputError, Problem
from sizing.log.damage import is_damage, set_aside
from sizing.log.database import FILE, LogError, data_folder, open_log, writing
from sizing.log.entries import add_acts, add_run
from sizing.log.record import RESULT_FILE, RunRecord, read_run
from sizing.runs.runfolder import FOLDER

# Guess: job folders lie less deep than this under the folder that is looked through.
_DEEPEST = 8


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """How many runs and decisions a rebuilt index holds; what could not be read; where a broken index was put."""

    runs: int
    decisions: int
    problems: tuple[Problem, ...]
    set_aside: Path | None


def rebuild(folders: Sequence[Path], *, file: Path | None = None) -> Rebuilt:
    """Make the index anew from the job folders under `folders` and those that it knew.

    An index that cannot be read is set aside, never deleted. Codes of names stay.

    Raises
    ------
    LogError
        The index cannot be written.
    """
    path = file or data_folder() / FILE
    aside = _set_aside_if_broken(path)
    with open_log(path) as log:
        known = [Path(row[0]) for row in log.execute("SELECT folder FROM folders")]
        # What was written with --out lies outside of its job; only the index knew the two to belong together.
        jobs = {Path(p): Path(f) for p, f in log.execute("SELECT path, folder FROM runs WHERE folder NOT NULL")}
        found = {p: jobs.get(p) for root in (*folders, *known) for p in find_runs(root)}
        found |= {p: f for p, f in jobs.items() if (p / RESULT_FILE).is_file()}
        # Read before the index is held: others must not wait for a thousand files.
        records, problems, unreadable = _read_all(found)
        with writing(log):
            _replace_all(log, records, unreadable)
        counts = [int(log.execute(f"SELECT count(*) FROM {t}").fetchone()[0]) for t in ("runs", "decisions")]  # noqa: S608
    return Rebuilt(counts[0], counts[1], problems, aside)


def _read_all(found: Mapping[Path, Path | None]) -> tuple[list[RunRecord], tuple[Problem, ...], set[Path]]:
    """Return the records of runs, given with their jobs' folders, and what could not be read."""
    records, problems, unreadable = list[RunRecord](), list[Problem](), set[Path]()
    for run, folder in found.items():
        try:
            records.append(read_run(run, folder))
        except InputError as error:
            unreadable.add(run)
            problems += error.problems if run.parent.name == FOLDER else ()
    return records, tuple(problems), unreadable


def _replace_all(log: sqlite3.Connection, records: Iterable[RunRecord], unreadable: set[Path]) -> None:
    """Put records in place of what the index holds; what others have added meanwhile stays."""
    for number, name in log.execute("SELECT id, path FROM runs").fetchall():
        if Path(name) in unreadable or not (Path(name) / RESULT_FILE).is_file():
            log.execute("DELETE FROM runs WHERE id = ?", (number,))
    for record in records:
        add_run(log, record)
    log.execute("DELETE FROM folders WHERE folder NOT IN (SELECT folder FROM runs WHERE folder NOT NULL)")
    for row in log.execute("SELECT DISTINCT folder FROM runs WHERE folder NOT NULL").fetchall():
        add_acts(log, Path(row[0]))


def find_runs(root: Path) -> Iterator[Path]:
    """Yield every folder with a `result.json` at or under `root`, sorted; links and hidden folders are passed over."""
    top = root.resolve()
    for here, below, names in os.walk(top):
        deep = len(Path(here).relative_to(top).parts)
        below[:] = sorted(b for b in below if not b.startswith(".")) if deep < _DEEPEST else []
        if RESULT_FILE in names:
            yield Path(here)


def _set_aside_if_broken(path: Path) -> Path | None:
    try:
        with open_log(path, whole=True):
            return None
    except LogError as error:
        if not is_damage(error.__cause__):
            raise
    return set_aside(path)
