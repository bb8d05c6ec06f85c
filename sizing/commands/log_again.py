"""The command `log again`: an old check made again and held to its record."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sizing.commands.guarded import job_checked
from sizing.commands.log_asked import one_check, opened_log
from sizing.commands.streams import JsonOption, QuietOption, complain, require_libraries, say
from sizing.exits import Exit


def again(
    name: Annotated[str, typer.Argument(metavar="RUN", help="The beginning of a run, its folder, or a job's id.")],
    allow_outside: Annotated[
        bool, typer.Option("--allow-outside", help="Let paths in the job file leave the job's folder.")
    ] = False,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> int:
    """Check a job again and say what differs from its record. Example: secondtape log again harbor-114.

    Compared are inputs, version and results; nothing is written. Ends with 0 nothing differs, 1 something does,
    4 record or job cannot be read, 2 no such check.
    """
    from sizing.messages import log_again as words

    require_libraries()
    with opened_log() as connection:
        one = one_check(connection, name)
    from sizing.errors import InputError
    from sizing.json_values import as_text
    from sizing.log.again import held_to
    from sizing.log.record import read_document, read_run
    from sizing.result.document import job_document
    from sizing.versions import program_version

    try:
        read_run(Path(one.path))  # all of it that is compared is what it should be
        record = read_document(Path(one.path))
    except InputError as error:
        for problem in error.problems:
            complain(str(problem))
        return Exit.UNREADABLE
    if one.folder is None or not (Path(one.folder) / one.job_file).is_file():
        complain(words.job_gone(one.folder, one.job_file))
        return Exit.UNREADABLE
    result = job_checked(Path(one.folder) / one.job_file, allow_outside=allow_outside, quiet=quiet)
    if result.job is None:
        return Exit.UNREADABLE
    found = held_to(record, one.run, job_document(result), program_version())
    if as_json:
        from dataclasses import asdict

        from sizing.log.export import SCHEMA

        document = asdict(found) | {"same": found.same, "unexplained": found.unexplained}
        say(as_text({"schema": SCHEMA, "job": one.job, "run": one.run, "again": document}))
    else:
        say(words.again(one.job, found))
    return Exit.DONE if found.same else Exit.HOLD
