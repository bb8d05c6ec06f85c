"""One job of the command `check`: checked, saved, complained of; a fault in one never stops the others."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sizing.commands.against import compared_with
from sizing.commands.streams import complain, progress_shown

if TYPE_CHECKING:
    from sizing.outcome import JobResult


@dataclass(frozen=True, slots=True)
class CheckOptions:
    """The options of `check` as typed."""

    out: Path | None
    pictures: bool
    allow_outside: bool
    against: Path | None
    quiet: bool
    for_people: bool


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A job's result, its element of `jobs`, that as one line of JSON, and the view for people."""

    result: JobResult
    document: dict[str, Any]
    line: str
    text: str


def checked(path: Path, options: CheckOptions) -> Checked:
    """Return one job as checked; what the program fails on becomes the job's `error`, and is complained of."""
    from sizing.check import failed_job

    try:
        return _checked(path, options)
    except Exception as error:
        return _said(failed_job(path, error), replace(options, against=None))


def _checked(path: Path, options: CheckOptions) -> Checked:
    from sizing.check import check_job

    result = check_job(path, allow_outside=options.allow_outside, progress=progress_shown(options.quiet))
    return _said(result, options)


def _said(result: JobResult, options: CheckOptions) -> Checked:
    """Return a result with its documents; it is saved first, as it was found without the typed order."""
    from sizing.json_values import as_text
    from sizing.result.document import check_document, job_document
    from sizing.terminal import complaints, job_text

    document = job_document(result)
    compared, differences = result, list[str]()
    shown = document
    if options.against is not None:
        compared, shown, differences = compared_with(result, document, options.against)
    line = as_text(check_document([shown], line=True))
    for complaint in complaints(result, in_view=options.for_people):
        complain(complaint)
    saved = _saved(result, document, options)
    return Checked(
        compared, shown, line, "\n".join([job_text(compared, saved, pictures=options.pictures), *differences])
    )


def _saved(result: JobResult, document: dict[str, Any], options: CheckOptions) -> Path | None:
    """Return where the run was written; None where it was not, with a complaint: the verdict stands all the same."""
    from sizing.messages import check_warnings, written_files
    from sizing.saving import save_run

    try:
        saved, warnings = save_run(result, document, out=options.out, pictures=options.pictures)
    except Exception as error:
        saved, warnings = None, [written_files.cannot_write(check_warnings.fault(f"{type(error).__name__}: {error}"))]
    for line in warnings:
        complain(line)
    return saved
