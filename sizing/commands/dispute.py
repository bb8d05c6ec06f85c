"""The command `dispute`: which step of a job brought a wrong size in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sizing.commands.guarded import fault_said
from sizing.commands.streams import (
    AllowOutsideOption,
    JsonOption,
    OpeningsOption,
    QuietOption,
    complain,
    progress_shown,
    refuse_all,
    require_libraries,
    say,
)
from sizing.errors import OutputError
from sizing.exits import Exit

if TYPE_CHECKING:
    from sizing.dispute.dispute import Dispute


def dispute(
    job: Annotated[
        Path, typer.Argument(metavar="JOB", readable=False, help="A job file, or a folder holding job.toml.")
    ],
    openings: OpeningsOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Write the record here, not into the job's folder.")
    ] = None,
    as_json: JsonOption = False,
    allow_outside: AllowOutsideOption = False,
    quiet: QuietOption = False,
) -> int:
    """Trace where a wrong size came in: each step with its probability and evidence.

    Ends with 0 traced, 3 there is no evidence on any step, 4 the job or a photo could not be read, 2 bad usage.

    Example: secondtape dispute harbor-114 --opening W2
    """
    require_libraries()
    from sizing.check import failed_job
    from sizing.dispute.dispute import trace_job
    from sizing.errors import InputError

    try:
        found = trace_job(job, openings, allow_outside=allow_outside, progress=progress_shown(quiet))
        return _said(found, out, as_json)
    except InputError as error:
        refuse_all(error)
        return Exit.USAGE if error.code == "bad-option" else Exit.UNREADABLE
    except OutputError:
        raise
    except Exception as error:
        fault_said(failed_job(job, error), error)
        return Exit.UNREADABLE


def _said(found: Dispute, out: Path | None, as_json: bool) -> int:
    """Complain of what is wrong with a traced job, write its record and say it; return the exit status."""
    from sizing.dispute.record import dispute_document, dispute_text
    from sizing.dispute.steps import load_settings
    from sizing.json_values import as_text
    from sizing.messages import dispute as messages
    from sizing.runs.runfolder import RunFolderError, target_folder, text_writer, write_run
    from sizing.versions import version_lines

    unreadable = _complain_of(found)
    document = dispute_document(found, load_settings(), version_lines())
    text = dispute_text(document)
    target = target_folder(found.job.folder, out, f"dispute-{document['record']}")
    lines = [text]
    try:
        write_run(
            target,
            [
                ("dispute.json", text_writer(as_text(document, indent=1) + "\n")),
                ("dispute.txt", text_writer(text + "\n")),
            ],
        )
        lines.append(f"  {messages.written(target)}")
    except RunFolderError as error:
        complain(messages.not_written(str(error)))
    say(as_text(document) if as_json else "\n".join([*lines, ""]))
    if unreadable:
        return Exit.UNREADABLE
    traced = any(part.findings for opening in found.openings for part in opening.traced)
    return Exit.DONE if traced else Exit.UNPROVEN


def _complain_of(found: Dispute) -> bool:
    """Complain of what of a traced job could not be used; return whether a file could not be read."""
    from sizing.dispute.record import named_in_job
    from sizing.errors import InputError
    from sizing.messages import check_warnings
    from sizing.messages.one_line import about_file, file_name, one_line

    unreadable = False
    for opening in found.openings:
        where = f"{found.job.file}: {one_line(opening.opening.label)}"
        if opening.fault is not None:
            complain(f"{where}: {check_warnings.fault(repr(opening.fault)[:200])}")
            unreadable = True
        for entry in opening.opening.photos:
            if entry.error is not None:
                complain(str(entry.error))
                unreadable = True
        for _, photo in opening.photos:
            if photo.error is not None and photo.unreadable:
                file, says = file_name(photo.file), named_in_job(photo.error.message, opening)
                says = about_file(says, photo.file)
                complain(f"{where}: {says if file in says else f'{file}: {says}'}")
                unreadable = True
        if isinstance(opening.rule, InputError):
            for problem in opening.rule.problems:
                complain(f"{where}: {one_line(str(problem))}")
    return unreadable
