"""The command `log rebuild`: the log made anew from job folders."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sizing.commands.streams import complain, refuse, say
from sizing.exits import Exit


def rebuild_log(
    folders: Annotated[
        list[Path] | None, typer.Argument(metavar="[FOLDER]...", help="Folders that hold jobs, at any depth to 8.")
    ] = None,
) -> int:
    """Make the log anew from job folders and their results. Example: secondtape log rebuild ~/jobs.

    Job folders that the log knows are read again without being named. Ends with 0, 4 a result could not be read or
    the log not written, 2 bad usage.
    """
    from sizing.log.database import FILE, LogError, data_folder
    from sizing.log.rebuilding import rebuild
    from sizing.messages import log_index as words

    for folder in folders or ():
        if not folder.is_dir():
            return refuse(words.no_folder(folder))
    try:
        done = rebuild(folders or [])
    except LogError as error:
        complain(str(error))
        return Exit.UNREADABLE
    if done.set_aside is not None:
        complain(words.set_aside(done.set_aside))
    for problem in done.problems:
        complain(str(problem))
    if not done.runs and not folders:
        complain(words.nothing_to_rebuild())
    say(words.rebuilt(done.runs, done.decisions, data_folder() / FILE))
    return Exit.UNREADABLE if done.problems else Exit.DONE
