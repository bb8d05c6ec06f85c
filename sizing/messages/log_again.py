"""Words of an old check made again: what differs from its record."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.logged import Again, Changed
from sizing.messages.one_line import one_line


def again(job: str, found: Again) -> str:
    """Return what a repeated check has shown."""
    versions = {
        True: f"Version: the same ({found.program_now}).",
        False: f"Version: {one_line(found.program_was)} then, {found.program_now} now.",
        None: f"Version: not on record then, {found.program_now} now.",
    }
    lines = [f"Job {one_line(job)}, checked again", versions[found.same_version]]
    lines += _changes("Inputs", found.inputs)
    lines += _changes("Results", found.results)
    if found.unexplained:
        lines.append(
            "Same inputs and version must give the same results. Compare the libraries (`secondtape --version`) of "
            "both machines; where they are the same too, please report this with both result files."
        )
    return "\n".join(lines)


def _changes(what: str, changed: Sequence[Changed]) -> list[str]:
    if not changed:
        return [f"{what}: the same."]
    return [f"{what} that differ:"] + [
        f"  {one_line(c.what)}: {_short(c.was) or 'absent'} then, {_short(c.now) or 'absent'} now" for c in changed
    ]


def _short(text: str) -> str:
    """Return a hash by its beginning, other text as it is."""
    return one_line(text if len(text) != 64 else text[:12])


def job_gone(folder: str | None, job_file: str) -> str:
    """Say that the job of a record is not where it was."""
    where = f"{folder}/{job_file}" if folder else job_file
    return f"{one_line(where)}: the job file is not there any more; put it back, or `secondtape log rebuild FOLDER`."
