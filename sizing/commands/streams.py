"""What the command line says: results on stdout, progress and complaints on stderr, one line each."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from sizing.errors import OutputError
from sizing.exits import Exit
from sizing.interrupts import interrupts_put_off

if TYPE_CHECKING:
    from sizing.errors import InputError

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout and nothing else there.")]
QuietOption = Annotated[bool, typer.Option("--quiet", help="Show no progress.")]
OpeningsOption = Annotated[
    list[str] | None,
    typer.Option("--opening", metavar="LABEL", help="Only this opening; may be given more than once."),
]
AllowOutsideOption = Annotated[
    bool, typer.Option("--allow-outside", help="Let paths in a job file leave the job's folder.")
]

_FULL = {getattr(errno, name) for name in ("ENOSPC", "EDQUOT", "EFBIG", "EIO") if hasattr(errno, name)}


def progress_shown(quiet: bool) -> Callable[[str], None] | None:
    """Return what shows progress: only where somebody is looking, and only on stderr."""
    return to_stderr if looked_at(quiet) else None


def looked_at(quiet: bool) -> bool:
    """Return whether progress is to be shown."""
    return not quiet and sys.stderr is not None and sys.stderr.isatty()


def one_screen() -> bool:
    """Return whether stdout and stderr are both looked at: what both say would be read twice."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdout, sys.stderr))


def say(text: str) -> None:
    """Print to stdout; a reader that has gone away does not change the exit status.

    Raises
    ------
    OutputError : stdout cannot be written to for another reason.
    """
    with interrupts_put_off():
        try:
            print(text, flush=True)
        except OSError as error:
            _to_nowhere(sys.stdout)
            if not isinstance(error, BrokenPipeError):
                raise OutputError(error.strerror or str(error)) from None


def is_full(error: OSError) -> bool:
    """Return whether an error without a file's name, as `--help` meets it on stdout, says that a disk takes no more."""
    full = error.filename is None and error.errno in _FULL
    if full:
        _to_nowhere(sys.stdout)
    return full


def to_stderr(text: str, *, end: str = "\n") -> None:
    """Print text to stderr where there is one that takes it: what is said there never changes what is done."""
    if sys.stderr is None:  # closed by who started the program; `print` would then choose stdout
        return
    try:
        print(text, end=end, file=sys.stderr, flush=True)
    except OSError:
        _to_nowhere(sys.stderr)


def _to_nowhere(stream: TextIO) -> None:
    """Let what a stream still holds, and all that follows, go nowhere: Python writes it again at its end."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def complain(text: str) -> None:
    """Print one line to stderr; what a name of a file holds cannot steer the terminal."""
    shown = "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text)
    to_stderr(shown)


def explain(text: str) -> None:
    """Print lines to stderr as they are: help, progress, or the trace of a mistake of ours."""
    to_stderr(text)


def refuse(text: str) -> int:
    """Complain of bad usage and return its exit status."""
    complain(text)
    return Exit.USAGE


def refuse_all(error: InputError) -> int:
    """Complain of every problem of what was typed and return the exit status of bad usage."""
    for problem in error.problems:
        complain(str(problem))
    return Exit.USAGE


def require_libraries() -> None:
    """End with one line and status 2 unless the libraries that measure will do."""
    from sizing.versions import library_problem

    problem = library_problem()
    if problem:
        complain(problem)
        raise typer.Exit(Exit.USAGE)
