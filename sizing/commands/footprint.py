"""The command `footprint`: draw the ordered size on the wall, true to scale."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sizing.commands.guarded import job_checked
from sizing.commands.streams import (
    AllowOutsideOption,
    JsonOption,
    OpeningsOption,
    QuietOption,
    complain,
    refuse,
    require_libraries,
    say,
)
from sizing.exits import Exit

if TYPE_CHECKING:
    from sizing.footprint.result import OpeningFootprint


def footprint(
    job: Annotated[
        Path, typer.Argument(metavar="JOB", readable=False, help="A job file, or a folder holding job.toml.")
    ],
    openings: OpeningsOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Write the pictures here, not into the job's folder.")
    ] = None,
    as_json: JsonOption = False,
    allow_outside: AllowOutsideOption = False,
    quiet: QuietOption = False,
) -> int:
    """Draw the ordered size on the wall, true to scale, with obstacles and clearances.

    Ends with 0 nothing known is in the way, 1 something is, 3 not drawn or it cannot be told, 4 job or photo could
    not be read, 2 bad usage.

    Example: secondtape footprint harbor-114 --opening W2
    """
    require_libraries()
    from sizing.errors import InputError
    from sizing.footprint.files import write_footprints
    from sizing.footprint.result import SCHEMA, footprint_document, footprint_exit, footprint_lines, job_footprints
    from sizing.json_values import as_text
    from sizing.messages import footprint as words
    from sizing.messages import written_files
    from sizing.messages.options import unknown_opening
    from sizing.runs.runfolder import RunFolderError
    from sizing.saving import keep_check

    result = job_checked(job, allow_outside=allow_outside, quiet=quiet)
    if result.job is None:
        if as_json:
            error = [{"where": p.where, "says": p.says} for p in result.error.problems] if result.error else []
            say(as_text({"schema": SCHEMA, "job": result.name, "error": error}))
        return Exit.UNREADABLE
    known = [o.opening.label for o in result.openings]
    for label in openings or ():
        if label not in known:
            return refuse(unknown_opening(label, known))
    if out is None:
        for line in keep_check(result):
            complain(line)
    found = job_footprints(result, openings)
    try:
        folder, pictures = write_footprints(result, found, out, complain)
    except InputError as error:  # what must not be seen is not known
        complain(str(error))
        folder, pictures = None, {}
    except RunFolderError as error:
        complain(written_files.cannot_write(str(error)))
        folder, pictures = None, {}
    unit = result.job.units
    if as_json:
        documents: list[dict[str, Any]] = [
            footprint_document(one, unit) | {"pictures": pictures.get(one.result.opening.label, [])} for one in found
        ]
        say(as_text({"schema": SCHEMA, "job": result.name, "openings": documents, "note": words.CAUTION}))
    else:
        lines = [line for one in found for line in footprint_lines(one, unit)]
        if folder is not None:
            lines.append(words.written(folder))
        say("\n".join([*lines, words.PLACED, *([words.OBSTACLES] if _outlined(found) else []), words.CAUTION]))
    return footprint_exit(result, found)


def _outlined(found: tuple[OpeningFootprint, ...]) -> bool:
    return any(one.result.opening.obstacles for one in found)
