"""What of the log's index shows that its file was damaged, told from what is wrong with disk, rights or company."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing, suppress
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from sizing.log.schema import MIGRATIONS
from sizing.messages import log_index as messages

# Guess: no process that makes the file anew takes so long for its first write.
_BEGUN_S = 10.0
_COLUMNS = """SELECT m.name, c.name, c.type, c."notnull", c.pk
    FROM sqlite_master m, pragma_table_info(m.name) c WHERE m.type = 'table'"""


def require_begun(path: Path) -> None:
    """Raise `sqlite3.DatabaseError` where the file is there and has been empty for a while.

    SQLite makes it empty and this program at once writes into it: one that stays so was cut off, and what it held
    would be lost without a word if it counted as new.
    """
    with suppress(FileNotFoundError):
        found = path.stat()
        if found.st_size == 0 and time.time() - found.st_mtime > _BEGUN_S:
            raise sqlite3.DatabaseError(messages.EMPTIED)


def require_own_tables(log: sqlite3.Connection) -> None:
    """Raise `sqlite3.DatabaseError` unless an index of the present version has the tables of `schema`, by column.

    A damaged definition may still be read as one: rows then lack a column, or what is written lands in another.
    """
    tables = {row[0] for row in _made()}
    if {row for row in map(tuple, log.execute(_COLUMNS)) if row[0] in tables} != _made():
        raise sqlite3.DatabaseError(messages.OTHER_TABLES)


def require_whole(log: sqlite3.Connection) -> None:
    """Raise `sqlite3.DatabaseError` unless pages are linked as they should be and rows are of their columns' types.

    About 5 ms a MB; SQLite does this for tables that are STRICT (its manual, *PRAGMA integrity_check*).
    """
    if log.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
        raise sqlite3.DatabaseError(messages.DAMAGED)


def is_damage(cause: BaseException | None) -> bool:
    """Return whether an error is of what the file holds, not of the disk, the rights to it, or another program."""
    if isinstance(cause, sqlite3.OperationalError):  # SQLite, *Result codes*: 1 says that tables are not as expected
        return getattr(cause, "sqlite_errorcode", 0) == sqlite3.SQLITE_ERROR
    return isinstance(cause, sqlite3.DatabaseError | UnicodeDecodeError)


def set_aside(path: Path) -> Path:
    """Rename a damaged index with what belongs to it; return its new name."""
    aside = path.with_name(f"{path.stem}-broken-{datetime.now(UTC):%Y%m%dT%H%M%S}{path.suffix}")
    for end in ("", "-wal", "-shm"):
        part = path.with_name(path.name + end)
        if part.exists():
            part.replace(aside.with_name(aside.name + end))
    return aside


@cache
def _made() -> frozenset[tuple[object, ...]]:
    with closing(sqlite3.connect(":memory:")) as fresh:
        for statement in (s for step in MIGRATIONS for s in step):
            fresh.execute(statement)
        return frozenset(fresh.execute(_COLUMNS).fetchall())
