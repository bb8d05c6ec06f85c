"""The command line: options in, results out, complaints as one clear line; no arithmetic here.

What is heavy is imported inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import os
import sys
import threading
import traceback
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.exceptions import TyperException

from sizing.commands.check import check
from sizing.commands.desk import desk
from sizing.commands.dispute import dispute
from sizing.commands.estimate import estimate
from sizing.commands.footprint import footprint
from sizing.commands.lens import lens
from sizing.commands.log import log
from sizing.commands.release import decide, release
from sizing.commands.report import report, request
from sizing.commands.rules import rules
from sizing.commands.streams import (
    complain,
    explain,
    is_full,
    refuse,
    refuse_all,
    say,
)
from sizing.errors import InputError, OutputError
from sizing.exits import Exit
from sizing.interrupts import end_as_interrupted
from sizing.machine import one_blas_thread
from sizing.messages.terminal_view import folder_gone, output_failed

app = typer.Typer(
    name="secondtape",
    help="A second, independent tape from a photo: cross-checks the field measurements of an opening.",
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    add_completion=False,
    no_args_is_help=True,
)


def _show_version(asked: bool) -> None:
    if asked:
        from sizing.versions import version_lines

        say("\n".join(version_lines()))
        raise typer.Exit(Exit.DONE)


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=_show_version,
            is_eager=True,
            help="Print the version, and those of the libraries that measure.",
        ),
    ] = False,
) -> None:
    pass


app.command()(check)
app.command()(estimate)
app.add_typer(rules)
app.add_typer(log)
app.command()(release)
app.command()(decide)
app.command()(footprint)
app.command()(report)
app.command()(request)
app.command()(dispute)
app.command()(desk)
app.command()(lens)


@app.command()
def sheet(
    out: Annotated[
        Path,
        typer.Option("--out", metavar="DIR", help="Folder that the PDF files go into; this one when not given."),
    ] = Path(),
    page: Annotated[str, typer.Option("--page", metavar="PAPER", help="letter or a4.")] = "letter",
    letters: Annotated[
        str, typer.Option("--letters", metavar="LETTERS", help="Which sheets, for example AB.")
    ] = "ABCD",
    job: Annotated[str, typer.Option("--job", metavar="NAME", help="Printed into the panel's job field.")] = "",
    guide: Annotated[bool, typer.Option("--guide/--no-guide", help="Also write the one-page photo guide.")] = True,
) -> int:
    """Write the printable reference sheets and the one-page photo guide as PDF.

    Ends with 0 written, 2 bad usage.

    Example: secondtape sheet --page a4 --out sheets
    """
    from sizing.messages.written_files import sheets_written
    from sizing.printed.sheets import write_sheets

    typed: Any = page.lower()  # checked there
    files = write_sheets(out, page=typed, letters=letters, job=job, guide=guide)
    say(sheets_written(files))
    return Exit.DONE


def run(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit status.

    Parameters
    ----------
    arguments : list of str, optional
        Words after the program's name; those of the process when absent.

    Returns
    -------
    int
        A value of `sizing.exits.Exit`.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a label that the terminal cannot show must not end the run
            stream.reconfigure(errors="backslashreplace")
    if _here_is_gone():
        return refuse(folder_gone())
    try:
        status = int(app(arguments, prog_name="secondtape", standalone_mode=False) or Exit.DONE)
    except TyperException as error:
        return _usage(error)
    except (KeyboardInterrupt, typer.Abort):
        status = Exit.INTERRUPTED
    except Exception as error:
        return _explain(error)
    if status == Exit.INTERRUPTED:
        complain("Interrupted.")
    return status


def _here_is_gone() -> bool:
    """Return whether the folder that this was started in was deleted: no relative name means anything then."""
    try:
        Path.cwd()
    except FileNotFoundError:
        return True
    return False


def _usage(error: TyperException) -> int:
    text = error.format_message()
    if type(error).__name__ == "NoArgsIsHelpError":
        explain(text)
    else:
        context = getattr(error, "ctx", None)
        complain(f"{text} See `{context.command_path if context else 'secondtape'} --help`.")
    return Exit.USAGE


def _explain(error: Exception) -> int:
    """Turn what the commands raise into a line and an exit status; only our own mistakes show a trace."""
    if isinstance(error, OutputError) or (isinstance(error, OSError) and is_full(error)):
        complain(output_failed(getattr(error, "strerror", None) or str(error)))
        return Exit.NOT_WRITTEN
    if isinstance(error, InputError):
        return refuse_all(error)
    from vision.errors import PhotoError, RequestError

    if isinstance(error, RequestError):
        return refuse(str(error))
    if isinstance(error, PhotoError):
        complain(str(error))
        return Exit.UNREADABLE
    if isinstance(error, OSError) and error.strerror and error.filename is not None:
        name = str(error.filename)
        complain(f"{name if len(name) <= 200 else name[:197] + '...'}: {error.strerror}; name another file or folder.")
        return Exit.USAGE
    explain("".join(traceback.format_exception(error)).rstrip())
    complain("This is a mistake of secondtape, not yours; please report it with the lines above.")
    return Exit.FAULT


def main() -> None:
    """Enter from the command line."""
    end_as_interrupted()
    one_blas_thread()
    status = run()
    if status == Exit.INTERRUPTED and any(not t.daemon for t in threading.enumerate()[1:]):
        os._exit(status)  # all that was to be written is; Python would wait for the photos in work
    sys.exit(status)


if __name__ == "__main__":
    main()
