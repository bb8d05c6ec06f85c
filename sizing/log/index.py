"""The log: an SQLite index over what job folders hold (results of runs, `decisions.jsonl`, releases).

The job folders stay the truth; the index may be thrown away and made again at any time. It lies in the user's
data folder, or where `SECONDTAPE_DATA` says. Whatever befalls it is a warning to who checks, never a stop.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path

import platformdirs

from sizing.errors import InputError, Problem, SizingError
from sizing.log.damage import is_damage, require_begun, require_own_tables, require_whole, set_aside
from sizing.log.record import RESULT_FILE, RunRecord, read_run
from sizing.log.releases import release_rows, releases_stamp
from sizing.log.schema import MIGRATIONS
from sizing.messages import log_index as messages
from sizing.release.decisions import FILE as DECISIONS_FILE
from sizing.release.decisions import Decision, read_decisions
from sizing.runs.runfolder import FOLDER

FILE = "log.sqlite"
# Guess: longer than any other process holds the index; a check waits no longer than this for it.
_WAIT_S = 5.0
# Guess: job folders lie less deep than this under the folder that is looked through.
_DEEPEST = 8


class LogError(SizingError):
    """The index cannot be used; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """How many runs and decisions a rebuilt index holds; what could not be read; where a broken index was put."""

    runs: int
    decisions: int
    problems: tuple[Problem, ...]
    set_aside: Path | None


def data_folder() -> Path:
    """Return the folder of the index: `SECONDTAPE_DATA`, else the user's data folder of this system."""
    given = os.environ.get("SECONDTAPE_DATA", "")
    return Path(given) if given else platformdirs.user_data_path("secondtape", appauthor=False)


@contextmanager
def open_log(file: Path | None = None, *, whole: bool = False) -> Iterator[sqlite3.Connection]:
    """Give a connection to the index, made or brought to this version where needed.

    Parameters
    ----------
    file : Path, optional
        The database; that of the data folder when absent.
    whole : bool
        Whether all of it is to be looked through for damage first: who shows it relies on each row being as written.

    Raises
    ------
    LogError
        It cannot be read or written, is damaged, or was written by a newer version.
    """
    path = file or data_folder() / FILE
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)  # it names people
        require_begun(path)
        with closing(sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None)) as log:
            log.row_factory = sqlite3.Row
            log.text_factory = _text  # a damaged file may hold what is no text
            log.create_function("fold", 1, folded, deterministic=True)
            log.execute("PRAGMA foreign_keys = ON")
            _migrate(log, path)
            require_own_tables(log)
            if whole:
                require_whole(log)
            yield log
    except UnicodeDecodeError as error:  # of an error in words of a damaged file
        raise LogError(messages.index_unusable(path, messages.OTHER_TABLES, locked=False)) from error
    except sqlite3.DatabaseError as error:
        raise LogError(messages.index_unusable(path, str(error), locked="locked" in str(error))) from error
    except OSError as error:
        raise LogError(messages.index_unusable(path, error.strerror or str(error), locked=False)) from error


def _text(data: bytes) -> str:
    return data.decode("utf-8", "replace").replace("\0", "\ufffd")  # no name of a file holds one


def folded(text: object) -> str | None:
    """Return a name as it is compared: however typed in capitals, and without spaces around it."""
    return None if text is None else " ".join(str(text).casefold().split())


@contextmanager
def writing(log: sqlite3.Connection) -> Iterator[None]:
    """Hold the index for writing: all of the block is kept, or nothing of it."""
    log.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        log.execute("ROLLBACK")
        raise
    log.execute("COMMIT")


def _migrate(log: sqlite3.Connection, path: Path) -> None:
    newest = len(MIGRATIONS)
    if _version(log, path) == newest:
        return
    log.execute("PRAGMA journal_mode = WAL")
    with writing(log):  # another process may have been quicker: look again under the lock
        for number in range(_version(log, path), newest):
            for statement in MIGRATIONS[number]:
                log.execute(statement)
            log.execute(f"PRAGMA user_version = {number + 1}")


def _version(log: sqlite3.Connection, path: Path) -> int:
    found = int(log.execute("PRAGMA user_version").fetchone()[0])
    if found > len(MIGRATIONS):
        raise LogError(messages.index_newer(path, found, len(MIGRATIONS)))
    return found


def index_run(path: Path, folder: Path | None = None, *, file: Path | None = None) -> None:
    """Take the run in the folder `path` into the index, in place of what it held of it.

    Parameters
    ----------
    path : Path
        The run's folder, which holds `result.json`.
    folder : Path, optional
        The job's folder; see `sizing.log.record.read_run`.
    file : Path, optional
        The database.

    Raises
    ------
    InputError
        The result cannot be read.
    LogError
        The index cannot be used.
    """
    record = read_run(path, folder)
    with open_log(file) as log, writing(log):
        _add_run(log, record)
        if record.folder is not None:
            _add_acts(log, record.folder)


def index_warning(path: Path, folder: Path | None) -> str | None:
    """Take a run into the index; return None, or one line why it is not there. Never raises, whatever is wrong."""
    try:
        index_run(path, folder)
    except (LogError, InputError) as error:
        return messages.not_indexed(str(error))
    except Exception as error:  # the check has its verdict; no mistake of the log may take it away
        return messages.not_indexed(f"{type(error).__name__}: {error}")
    return None


def refresh(log: sqlite3.Connection) -> None:
    """Read again decisions and releases of every known job where they have changed since."""
    columns = "folder, decisions_mtime_ns, decisions_size, releases_mtime_ns"
    known = log.execute(f"SELECT {columns} FROM folders").fetchall()  # noqa: S608 -- of this file
    changed = [Path(f) for f, *stamp in known if _stamp(Path(f)) not in (tuple(stamp), None)]
    if changed:
        with writing(log):
            for folder in changed:
                _add_acts(log, folder)


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
        _add_run(log, record)
    log.execute("DELETE FROM folders WHERE folder NOT IN (SELECT folder FROM runs WHERE folder NOT NULL)")
    for row in log.execute("SELECT DISTINCT folder FROM runs WHERE folder NOT NULL").fetchall():
        _add_acts(log, Path(row[0]))


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


def _add_run(log: sqlite3.Connection, run: RunRecord) -> None:
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
            "INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (
                    opened, r.name, r.visit, int(r.in_force), r.by, r.on, r.tape, r.tape_mm, r.photo_mm,
                    r.difference_mm, r.U95_mm, r.verdict, r.slip,
                )
                for r in opening.readings
            ],
        )  # fmt: skip


def _add_acts(log: sqlite3.Connection, folder: Path) -> None:
    """Take in what people did with a job's checks: decisions and releases."""
    stamp = _stamp(folder) or (0, 0, 0)
    try:
        decisions = read_decisions(folder).decisions
    except InputError:  # the check of that job has said so; what the index held stays
        return
    log.execute("DELETE FROM folders WHERE folder = ?", (str(folder),))
    log.execute("INSERT INTO folders VALUES (?, ?, ?, ?)", (str(folder), *stamp))
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


def _stamp(folder: Path) -> tuple[int, int, int] | None:
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
