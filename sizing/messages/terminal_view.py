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


def photo_unusable(says: str) -> str:
    """Return the line of the view on a photo that could not be used; `says` names it and what is wrong."""
    return f"Not used: {says}"


def job_unreadable(problems: Sequence[str]) -> str:
    """Return the line of the view on a job that could not be read: the first problem, and where the others stand.

    Examples
    --------
    >>> job_unreadable(["a.toml: job.units: is missing"])
    'could not be read: a.toml: job.units: is missing'
    >>> job_unreadable(["a.toml: job.units: is missing", "b", "c"])
    'could not be read: a.toml: job.units: is missing (and 2 more, listed with the error messages on stderr)'
    """
    more = f" (and {len(problems) - 1} more, listed with the error messages on stderr)" if len(problems) > 1 else ""
    return f"could not be read: {one_line(problems[0])}{more}"


def not_measured(why: str) -> str:
    """Return the line on stdout for an estimate that came to nothing, with why."""
    return f"Could not be measured: {why}"


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
