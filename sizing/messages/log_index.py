"""Words of the log's own files: results that cannot be read, an index that cannot be used or was made anew."""

from __future__ import annotations

from pathlib import Path

from sizing.messages.log_figures import counted
from sizing.messages.one_line import one_line, place

DAMAGED = "the file is damaged"
EMPTIED = "the file is empty: it was cut off"
OTHER_TABLES = "its tables are not as this program makes them: the file is damaged"


def record_too_large(most: int) -> str:
    """Say that a result is larger than any check writes."""
    return f"over {most // 1_000_000} MB, which no check writes; check the job again"


def cannot_read(why: str) -> str:
    """Say that a result cannot be read."""
    return f"cannot be read ({why or 'no reason given'}); check the job again to have it written anew"


def no_record() -> str:
    """Say that a file is no result of the check of one job."""
    return "is not the result of a check; check the job again to have it written anew"


def no_name() -> str:
    """Say that a result lies in a folder whose name the log cannot hold."""
    return "lies in a folder whose name is no text (UTF-8), which the log cannot hold; give that folder another name"


def index_unusable(path: Path, why: str, *, locked: bool) -> str:
    """Say that the index cannot be used, and what to do."""
    if locked:
        return f"{path}: another program holds the log ({why}); try again when it is done"
    return (
        f"{path}: the log cannot be used ({why}); name another folder by SECONDTAPE_DATA, or make it anew with "
        "`secondtape log rebuild FOLDER`"
    )


def index_newer(path: Path, found: int, known: int) -> str:
    """Say that the index was written by a newer version."""
    return (
        f"{path}: the log was written by a newer version (tables {found}, this one knows {known}); update secondtape, "
        "or name another folder by SECONDTAPE_DATA"
    )


def not_indexed(why: str) -> str:
    """Warn that a check is not in the log; its result stands."""
    return one_line(f"Not in the log: {why}. The check and its files stand.")


def rebuilt(runs: int, decisions: int, file: Path) -> str:
    """Say what a rebuilt index holds."""
    return f"The log holds {counted(runs, 'check')} and {counted(decisions, 'decision')}: {place(file)}"


def set_aside(file: Path) -> str:
    """Say where a broken index was put."""
    return f"The old log could not be read and was set aside as {file}; delete it when nobody needs it."


def nothing_to_rebuild() -> str:
    """Say that no folder is known to be looked through."""
    return "No job folder is known to the log: name the folder that holds the jobs, `secondtape log rebuild FOLDER`."


def no_folder(folder: Path) -> str:
    """Say that a folder is not there."""
    return f"{folder}: there is no such folder; name one that holds jobs."
