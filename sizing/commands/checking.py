"""One job of the command `check`: checked and saved, all that is to be said of it as a value.

A fault in one job never stops the others. The value is small and can be sent from one process to another.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from sizing.commands.against import compared_with
from sizing.exits import Exit

if TYPE_CHECKING:
    from sizing.outcome import JobResult

Form = Literal["json", "jsonl", "text"]


@dataclass(frozen=True, slots=True)
class CheckOptions:
    """The options of `check` as typed, as far as they bear on one job."""

    out: Path | None
    pictures: bool
    allow_outside: bool
    against: Path | None
    form: Form


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """What is to be said of a job: complaints, and by the form its element of `jobs`, or what stdout gets.

    `run` are the folders of its run, where one was written, and of the job: for the log, which lies on the machine
    of who asked.
    """

    status: Exit
    complaints: tuple[str, ...]
    document: dict[str, Any] | None = None
    said: str = ""
    run: tuple[Path, Path] | None = None


def checked(path: Path, options: CheckOptions, progress: Callable[[str], None] | None = None) -> Checked:
    """Return one job as checked; what the program fails on becomes the job's `error`."""
    try:
        return _checked(path, options, progress)
    except Exception as error:
        return failed(path, options, error)


def failed(path: Path, options: CheckOptions, error: Exception) -> Checked:
    """Return what is to be said of a job that the program failed on."""
    from sizing.check import failed_job

    return _said(failed_job(path, error), replace(options, against=None))


def recorded(job: Checked) -> Checked:
    """Take a job's run into the log; return the job, with a complaint where that failed."""
    from sizing.log.index import index_warning

    missing = index_warning(*job.run) if job.run is not None else None
    return job if missing is None else replace(job, complaints=(*job.complaints, missing))


def _checked(path: Path, options: CheckOptions, progress: Callable[[str], None] | None) -> Checked:
    from sizing.check import check_job

    return _said(check_job(path, allow_outside=options.allow_outside, progress=progress), options)


def _said(result: JobResult, options: CheckOptions) -> Checked:
    """Return a result as what is said of it; it is saved first, as it was found without the typed order."""
    from sizing.check import exit_of
    from sizing.json_values import as_text
    from sizing.result.document import check_document, job_document
    from sizing.terminal import complaints, job_text

    document = job_document(result)
    compared, differences = result, list[str]()
    shown = document
    if options.against is not None:
        compared, shown, differences = compared_with(result, document, options.against)
    line = as_text(check_document([shown], line=True))
    saved, warnings = _saved(result, document, options)
    job = Checked(
        exit_of([compared]),
        (*complaints(result, in_view=options.form == "text"), *warnings),
        run=(saved, result.job.folder) if saved is not None and result.job is not None else None,
    )
    if options.form == "json":
        return replace(job, document=shown)
    if options.form == "jsonl":
        return replace(job, said=line)
    return replace(job, said="\n".join([job_text(compared, saved, pictures=options.pictures), *differences]))


def _saved(result: JobResult, document: dict[str, Any], options: CheckOptions) -> tuple[Path | None, list[str]]:
    """Return where the run was written, None where it was not, and warnings: the verdict stands all the same."""
    from sizing.messages import check_warnings, written_files
    from sizing.saving import save_run

    try:
        return save_run(result, document, out=options.out, pictures=options.pictures, logged=False)
    except Exception as error:
        return None, [written_files.cannot_write(check_warnings.fault(f"{type(error).__name__}: {error}"))]
