"""The log: an SQLite index over what job folders hold (results of runs, `decisions.jsonl`, releases).

The job folders stay the truth; the index may be thrown away and made again at any time. It lies in the user's
data folder, or where `SECONDTAPE_DATA` says. Whatever befalls it is a warning to who checks, never a stop.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sizing.errors import InputError
from sizing.log.database import LogError, open_log, writing
from sizing.log.entries import add_acts, add_run, stamp
from sizing.log.record import read_run
from sizing.messages import log_index as messages


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
        add_run(log, record)
        if record.folder is not None:
            add_acts(log, record.folder)


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
    changed = [Path(f) for f, *seen in known if stamp(Path(f)) not in (tuple(seen), None)]
    if changed:
        with writing(log):
            for folder in changed:
                add_acts(log, folder)
