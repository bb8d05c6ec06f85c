"""The command `dispute`: which step of a job brought a wrong size in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sizing.commands.streams import (
    AllowOutsideOption,
    JsonOption,
    OpeningsOption,
    QuietOption,
    complain,
    progress_shown,
    require_libraries,
    say,
)
from sizing.exits import Exit


def dispute(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="A job file, or a folder holding job.toml.")],
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
    from sizing.commands.streams import refuse_all
    from sizing.dispute.dispute import trace_job
    from sizing.dispute.record import dispute_document, dispute_text
    from sizing.dispute.steps import load_settings
    from sizing.errors import InputError
    from sizing.messages import dispute as messages
    from sizing.result.document import as_text
    from sizing.runs.runfolder import RunFolderError, target_folder, text_writer, write_run
    from sizing.versions import version_lines

    try:
        found = trace_job(job, openings, allow_outside=allow_outside, progress=progress_shown(quiet))
    except InputError as error:
        refuse_all(error)
        return Exit.USAGE if error.code == "bad-option" else Exit.UNREADABLE
    unreadable = False
    for opening in found.openings:
        for entry in opening.opening.photos:
            if entry.error is not None:
                complain(str(entry.error))
                unreadable = True
        for _, photo in opening.photos:
            if photo.error is not None and photo.unreadable:
                complain(f"{photo.file}: {photo.error.message}")
                unreadable = True
        if isinstance(opening.rule, InputError):
            complain(str(opening.rule))
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
