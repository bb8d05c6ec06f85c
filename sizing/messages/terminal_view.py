"""Words of the terminal's view alone: headings, what could not be used, what an estimate is for."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.one_line import file_name, one_line


def output_failed(reason: str) -> str:
    """Return that what was to be printed could not be written, with what to do."""
    return f"The output could not be written ({one_line(reason)}), not all of it: make room, or send it elsewhere."


def folder_gone() -> str:
    """Return that the working folder was deleted, with what to do."""
    return "The folder that this was started in is not there any more; change to another one and start again."


def of_photo(file: str, says: str) -> str:
    """Return what is said of one photo among several, with its name."""
    return f"{file_name(file)}: {says}"


def photos_unusable(files: Sequence[str]) -> str:
    """Return the line of the view on photos that could not be used; what is wrong is said above."""
    return f"Not used: {', '.join(file_name(file) for file in files)} (see above)."


def job_unreadable(count: int) -> str:
    """Return the line of the view on a job that could not be read; what is wrong is said above."""
    return f"could not be read: {count} problem{'' if count == 1 else 's'}, see above"


def not_measured() -> str:
    """Return the line on stdout for an estimate that came to nothing; why is said above."""
    return "Could not be measured: what stood in the way, and what to do, is said above."


def job_heading(job: str, file: str) -> str:
    """Return the heading of a job."""
    return f"{one_line(job)}  ({one_line(file)})"


def estimate_heading(found_by: str) -> str:
    """Return the heading of an estimate with where its edges come from."""
    found = {
        "photo": "opening found by itself: see that it is the right one before you rely on it; --out DIR draws it",
        "corners": "sides traced from the corners given",
        "clicked": "corners as clicked, no side traced",
    }
    return f"Measured from the photo ({found.get(found_by, found_by)}):"


def estimate_note() -> str:
    """Return what an estimate is for."""
    return "For a pre-quote only. These are a photo's figures with their uncertainty, not sizes to order from."
