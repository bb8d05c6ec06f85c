"""What the commands on several jobs share: a fault in one job is said, and stops no other."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sizing.commands.streams import complain, progress_shown

if TYPE_CHECKING:
    from sizing.outcome import JobResult


def job_checked(path: Path, *, allow_outside: bool, quiet: bool) -> JobResult:
    """Return a job as checked, its complaints said; what the program fails on becomes the job's `error`."""
    from sizing.check import check_job, failed_job
    from sizing.terminal import complaints

    try:
        result = check_job(path, allow_outside=allow_outside, progress=progress_shown(quiet))
        lines = complaints(result)
    except Exception as error:
        result = failed_job(path, error)
        lines = complaints(result)
    for line in lines:
        complain(line)
    return result


def fault_said(result: JobResult, error: Exception) -> str:
    """Complain of what the program failed on after a job was checked; return the line."""
    from sizing.messages import check_warnings

    if isinstance(error, OSError) and error.strerror:
        says = check_warnings.not_finished(error.strerror)
    else:
        says = check_warnings.fault(f"{type(error).__name__}: {str(error)[:200]}")
    line = f"{result.file}: {says}"
    complain(line)
    return line
