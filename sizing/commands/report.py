"""The commands `report` and `request`: the report of a job as PDF and HTML, and the page that asks for a photo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sizing.commands.guarded import fault_said, job_checked
from sizing.commands.streams import (
    AllowOutsideOption,
    QuietOption,
    complain,
    refuse,
    require_libraries,
    say,
)
from sizing.exits import Exit

if TYPE_CHECKING:
    from sizing.outcome import JobResult

_PageOption = Annotated[str, typer.Option("--page", metavar="PAPER", help="letter or a4.")]


def report(
    jobs: Annotated[
        list[Path], typer.Argument(metavar="JOB...", readable=False, help="Job files, or folders holding job.toml.")
    ],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Write the report here, not into the job's folder.")
    ] = None,
    page: _PageOption = "letter",
    blank: Annotated[
        list[str] | None,
        typer.Option(
            "--blank",
            metavar="PHOTO:x0,y0,x1,y1",
            help="Blank out this box (px of the upright photo), in copies; more than once. Also by blank.toml.",
        ),
    ] = None,
    allow_outside: AllowOutsideOption = False,
    quiet: QuietOption = False,
) -> int:
    """Check jobs and write one report a job, PDF and HTML: verdict first, a page an opening.

    Ends like `check`: 0 all may be sent, 1 at least one opening is on hold, 3 at least one is unproven, 4 something
    could not be read or the report not be written, 2 bad usage.

    Example: secondtape report harbor-114 --page a4 --blank "w1-a.jpg:120,80,400,300"
    """
    from sizing.messages.options import bad_page

    paper: Any = page.lower()
    if paper not in ("letter", "a4"):
        return refuse(bad_page(page))
    require_libraries()
    from sizing.check import exit_of
    from sizing.pictures.blanking import parse_blank

    blanks = tuple(parse_blank(text) for text in blank or ())
    done, failed = [], False
    for path in jobs:
        result = job_checked(path, allow_outside=allow_outside, quiet=quiet)
        done.append(result)
        if result.job is not None:
            text, whole = _written(result, blanks, out, paper)
            failed |= not whole
            if text:
                say(text)
    status = exit_of(done)
    return Exit.UNREADABLE if failed and status != Exit.HOLD else status


def _written(result: JobResult, blanks: Any, out: Path | None, paper: Any) -> tuple[str, bool]:  # noqa: ANN401
    """Write PDF and HTML of one job; return what to say of them, and whether all went well, else complained of."""
    from datetime import UTC, datetime

    from sizing.errors import InputError
    from sizing.messages import report as words
    from sizing.report.files import report_job
    from sizing.runs.runfolder import RunFolderError
    from sizing.saving import keep_check

    assert result.job is not None
    try:
        if out is None:
            for line in keep_check(result):
                complain(line)
        built, files = report_job(result, datetime.now(UTC).date().isoformat(), blanks, paper, out, complain)
    except InputError as error:  # what must not be seen is not known
        for problem in error.problems:
            complain(str(problem))
        return "", False
    except RunFolderError as error:
        complain(words.not_written(str(error)))
        return "", False
    except Exception as error:  # the other jobs go on
        fault_said(result, error)
        return "", False
    text = "\n".join([words.spoken(built.job, built.headline), words.written(files)])
    return text, built.whole


def request(
    job: Annotated[
        Path | None,
        typer.Argument(metavar="[JOB]", readable=False, help="A job file or its folder: openings are taken from it."),
    ] = None,
    openings: Annotated[
        list[str] | None,
        typer.Option("--opening", metavar="LABEL", help="Which opening to photograph; may be given more than once."),
    ] = None,
    contact: Annotated[
        str, typer.Option("--contact", metavar="TEXT", help="Where the photos go and whom to ask, printed on the page.")
    ] = "",
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder that the PDF goes into.")] = Path(),
    page: _PageOption = "letter",
    sheets: Annotated[
        bool, typer.Option("--sheets/--no-sheets", help="Add two printable sheets, A and B, after the page.")
    ] = True,
    allow_outside: AllowOutsideOption = False,
) -> int:
    """Write the page that asks the people at the house for a photo, in plain words, with the guide's drawings.

    Ends with 0 written, 4 the job could not be read, 2 bad usage.

    Example: secondtape request harbor-114 --opening W2 --contact "photos@example.com"
    """
    from sizing.messages.options import bad_page, unknown_opening

    paper: Any = page.lower()
    if paper not in ("letter", "a4"):
        return refuse(bad_page(page))
    from sizing.messages import report as words
    from sizing.report.request_page import write_request

    name, labels = "", list(openings or ())
    if job is not None:
        from sizing.errors import InputError
        from sizing.jobs.file import load_job

        try:
            loaded = load_job(job / "job.toml" if job.is_dir() else job, allow_outside=allow_outside)
        except InputError as error:
            for problem in error.problems:
                complain(str(problem))
            return Exit.UNREADABLE
        known = [opening.label for opening in loaded.openings]
        for label in labels:
            if label not in known:
                return refuse(unknown_opening(label, known))
        name, labels = loaded.id, labels or known
    file = write_request(out, page=paper, job=name, openings=labels, contact=contact, sheets=sheets)
    say(words.written([file]))
    return Exit.DONE
