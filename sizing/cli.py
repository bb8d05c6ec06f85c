"""The command line: options in, results out, complaints as one clear line; no arithmetic here.

What is heavy is imported inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sizing.exits import Exit

if TYPE_CHECKING:
    from sizing.errors import InputError

app = typer.Typer(
    name="secondtape",
    help="A second, independent tape from a photo: cross-checks the field measurements of an opening.",
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    add_completion=False,
    no_args_is_help=True,
)

_Json = Annotated[
    bool, typer.Option("--json", help="Print one JSON document on stdout and nothing else there.")
]
_Quiet = Annotated[bool, typer.Option("--quiet", help="Show no progress.")]


def _show_version(asked: bool) -> None:
    if asked:
        from sizing.versions import version_lines

        _print("\n".join(version_lines()))
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


@app.command()
def check(
    jobs: Annotated[
        list[Path], typer.Argument(metavar="JOB...", help="Job files, or folders holding job.toml.")
    ],
    as_json: _Json = False,
    as_jsonl: Annotated[
        bool, typer.Option("--jsonl", help="Print one JSON line a job on stdout as each is done.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Write pictures and result.json here, not into the job's folder."
        ),
    ] = None,
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Write no pictures.")] = False,
    allow_outside: Annotated[
        bool, typer.Option("--allow-outside", help="Let paths in a job file leave the job's folder.")
    ] = False,
    quiet: _Quiet = False,
) -> int:
    """Cross-check job files: the tape's readings against the photos.

    Ends with 0 all may be sent, 1 at least one opening is on hold, 3 at least one is unproven, 4 something
    could not be read, 2 bad usage.
    """
    if as_json and as_jsonl:
        return _refuse("--json and --jsonl: choose one of them.")
    _require_libraries()
    from sizing.check import check_job, exit_of
    from sizing.result import as_text, check_document, job_document
    from sizing.runfolder import save_run
    from sizing.terminal import complaints, job_text

    done = []
    documents = []
    for path in jobs:
        result = check_job(path, allow_outside=allow_outside, progress=_progress(quiet))
        document = job_document(result)
        for line in complaints(result):
            _complain(line)
        saved, warnings = save_run(result, document, out=out, pictures=not no_pictures)
        for line in warnings:
            _complain(line)
        if as_jsonl:
            _print(as_text(check_document([document], line=True)))
        elif not as_json:
            _print(job_text(result, saved))
        done.append(result)
        documents.append(document)
    if as_json:
        _print(as_text(check_document(documents)))
    return exit_of(done)


@app.command()
def estimate(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos of one opening.")],
    as_json: _Json = False,
    reference: Annotated[
        str,
        typer.Option(
            "--reference",
            metavar="KIND",
            help="sheet, letter, a4, id1, or a rectangle of given size as 120x80mm.",
        ),
    ] = "sheet",
    corners: Annotated[
        str | None,
        typer.Option(
            "--corners",
            metavar='"x,y x,y x,y x,y"',
            help="Rough corners of the opening in the first photo, in pixels of the upright photo, top left "
            "first, clockwise.",
        ),
    ] = None,
    as_clicked: Annotated[
        bool, typer.Option("--as-clicked", help="The corners stand as given, nothing is traced.")
    ] = False,
    click: Annotated[
        float,
        typer.Option("--click", metavar="PX", help="Standard deviation of a click per axis, in pixels."),
    ] = 3.0,
    reference_corners: Annotated[
        list[str] | None,
        typer.Option(
            "--reference-corners",
            metavar='"x,y x,y x,y x,y"',
            help="Corners of a page, card or rectangle in the first photo; once for each in view.",
        ),
    ] = None,
    wall: Annotated[
        str, typer.Option("--wall", metavar="KIND", help="masonry, render, siding or panel.")
    ] = "masonry",
    edge_offset: Annotated[
        str | None,
        typer.Option(
            "--edge-offset",
            metavar="LENGTH",
            help="How far the edges stand in front of the surface that the reference lies on, as 3/4in, or "
            "by side as head=0,sill=40mm,left=0,right=0.",
        ),
    ] = None,
    check_bar: Annotated[
        str | None,
        typer.Option(
            "--check-bar",
            metavar="LENGTH",
            help="The printed 150 mm bar as measured, or across=149.5mm,along=199.4mm.",
        ),
    ] = None,
    lens: Annotated[
        str | None, typer.Option("--lens", metavar="FILE", help="Camera profile (not yet).")
    ] = None,
    focal35: Annotated[
        float | None,
        typer.Option(
            "--focal35", metavar="MM", help="Focal length in 35 mm terms, where the photo does not say it."
        ),
    ] = None,
    rule: Annotated[str | None, typer.Option("--rule", metavar="RULE", help="Sizing rule (not yet).")] = None,
    sill_at: Annotated[
        str,
        typer.Option(
            "--sill-at", metavar="LINE", help="The sill's line that heights end on: front, wall or frame."
        ),
    ] = "front",
    units: Annotated[
        str, typer.Option("--units", metavar="UNIT", help="in or mm: the lengths shown to you.")
    ] = "in",
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Write pictures and result.json into this folder."),
    ] = None,
    quiet: _Quiet = False,
) -> int:
    """Measure from photos of one opening alone, for a pre-quote; there is no price in it.

    Ends with 0 measured, 3 could not be measured (says why and what photo to take), 4 a photo could not be
    read, 2 bad usage.
    """
    from sizing.arguments import EstimateOptions, opening_request
    from sizing.errors import InputError

    options = EstimateOptions(
        photos=tuple(photos),
        reference=reference,
        corners=corners,
        as_clicked=as_clicked,
        click=click,
        reference_corners=tuple(reference_corners or ()),
        wall=wall,
        edge_offset=edge_offset,
        check_bar=check_bar,
        lens=lens,
        focal35=focal35,
        rule=rule,
        sill_at=sill_at,
        units=units,
    )
    try:
        request = opening_request(options)
    except InputError as error:
        return _refuse_all(error)
    _require_libraries()
    from sizing.check import estimate_exit, estimate_photos
    from sizing.result import as_text, estimate_document
    from sizing.runfolder import save_estimate
    from sizing.terminal import estimate_complaints, estimate_text

    shown: Any = units  # checked with the other options
    result = estimate_photos(request, progress=_progress(quiet))
    document = estimate_document(result)
    saved, warnings = save_estimate(result, document, out=out, units=shown)
    for line in warnings:
        _complain(line)
    for line in estimate_complaints(result):
        _complain(line)
    _print(as_text(document) if as_json else estimate_text(result, shown, saved))
    return estimate_exit(result)


@app.command()
def sheet(
    out: Annotated[
        Path,
        typer.Option(
            "--out", metavar="DIR", help="Folder that the PDF files go into; this one when not given."
        ),
    ] = Path(),
    page: Annotated[str, typer.Option("--page", metavar="PAPER", help="letter or a4.")] = "letter",
    letters: Annotated[
        str, typer.Option("--letters", metavar="LETTERS", help="Which sheets, for example AB.")
    ] = "ABCD",
    job: Annotated[
        str, typer.Option("--job", metavar="NAME", help="Printed into the panel's job field.")
    ] = "",
    guide: Annotated[
        bool, typer.Option("--guide/--no-guide", help="Also write the one-page photo guide.")
    ] = True,
) -> int:
    """Write the printable reference sheets and the one-page photo guide as PDF."""
    from sizing.messages import sheets_written
    from sizing.sheets import write_sheets

    typed: Any = page.lower()  # checked there
    files = write_sheets(out, page=typed, letters=letters, job=job, guide=guide)
    _print(sheets_written(files))
    return Exit.DONE


def _progress(quiet: bool) -> Callable[[str], None] | None:
    """Return what shows progress: only where somebody is looking, and only on stderr."""
    if quiet or not sys.stderr.isatty():
        return None
    return lambda text: print(text, file=sys.stderr, flush=True)


def _print(text: str) -> None:
    """Print to stdout; a reader that has gone away does not change the exit status."""
    with _line_finished():
        try:
            print(text, flush=True)
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@contextmanager
def _line_finished() -> Iterator[None]:
    """Put off an interrupt until the line in hand is out."""
    interrupts: list[int] = []
    before = signal.getsignal(signal.SIGINT)
    if before is not signal.default_int_handler or threading.current_thread() is not threading.main_thread():
        yield
        return
    signal.signal(signal.SIGINT, lambda number, _frame: interrupts.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if interrupts:
        raise KeyboardInterrupt


def _complain(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _refuse(text: str) -> int:
    _complain(text)
    return Exit.USAGE


def _refuse_all(error: InputError) -> int:
    for problem in error.problems:
        _complain(str(problem))
    return Exit.USAGE


def _require_libraries() -> None:
    from sizing.versions import library_problem

    problem = library_problem()
    if problem:
        _complain(problem)
        raise typer.Exit(Exit.USAGE)


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
    from typer.exceptions import TyperException

    try:
        status = int(app(arguments, prog_name="secondtape", standalone_mode=False) or Exit.DONE)
    except TyperException as error:
        return _usage(error)
    except (KeyboardInterrupt, typer.Abort):
        status = Exit.INTERRUPTED
    except Exception as error:
        return _explain(error)
    if status == Exit.INTERRUPTED:
        _complain("Interrupted.")
    return status


def _usage(error: Exception) -> int:
    text = error.format_message() if hasattr(error, "format_message") else str(error)
    if text:
        _complain(f"{text} See `secondtape --help`.")
    return Exit.USAGE


def _explain(error: Exception) -> int:
    """Turn what the commands raise into a line and an exit status; only our own mistakes show a trace."""
    from sizing.errors import InputError

    if isinstance(error, InputError):
        return _refuse_all(error)
    from vision.errors import PhotoError, RequestError

    if isinstance(error, RequestError):
        return _refuse(str(error))
    if isinstance(error, PhotoError):
        _complain(str(error))
        return Exit.UNREADABLE
    traceback.print_exception(error)
    _complain("This is a mistake of secondtape, not yours; please report it with the lines above.")
    return Exit.FAULT


def main() -> None:
    """Enter from the command line."""
    sys.exit(run())


if __name__ == "__main__":
    main()
