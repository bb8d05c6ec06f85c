"""The log's database: opened, brought to this version, written whole; damage told from trouble of the moment."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import platformdirs

from sizing.errors import SizingError
from sizing.log.damage import require_begun, require_own_tables, require_whole
from sizing.log.schema import MIGRATIONS
from sizing.messages import log_index as messages

FILE = "log.sqlite"
# Guess: longer than any other process holds the index; a check waits no longer than this for it.
_WAIT_S = 5.0
_LOOK_S = 0.02


class LogError(SizingError):
    """The index cannot be used; the text says why and what to do."""


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
    _keep_log_ahead(log)
    with writing(log):  # another process may have been quicker: look again under the lock
        for number in range(_version(log, path), newest):
            for statement in MIGRATIONS[number]:
                log.execute(statement)
            log.execute(f"PRAGMA user_version = {number + 1}")


def _keep_log_ahead(log: sqlite3.Connection) -> None:
    """Have readers and a writer not wait for each other; where another process does the same, it is waited for.

    SQLite does not wait by itself here: it would answer at once that the file is locked.
    """
    deadline = time.monotonic() + _WAIT_S
    while True:
        try:
            log.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(_LOOK_S)
        else:
            return


def _version(log: sqlite3.Connection, path: Path) -> int:
    found = int(log.execute("PRAGMA user_version").fetchone()[0])
    if found > len(MIGRATIONS):
        raise LogError(messages.index_newer(path, found, len(MIGRATIONS)))
    return found
