"""The command `check`: cross-checks job files, many of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sizing.commands.against import typed_order_readable
from sizing.commands.checking import CheckOptions, Form
from sizing.commands.progress_bar import progress_of
from sizing.commands.streams import (
    AllowOutsideOption,
    JsonOption,
    QuietOption,
    complain,
    refuse,
    require_libraries,
    say,
)
from sizing.exits import Exit, overall
from sizing.interrupts import interrupts_put_off
from sizing.messages.at_once import interrupted

if TYPE_CHECKING:
    from sizing.commands.at_once import Place


def check(
    jobs: Annotated[
        list[Path], typer.Argument(metavar="JOB...", readable=False, help="Job files, or folders holding job.toml.")
    ],
    as_json: JsonOption = False,
    as_jsonl: Annotated[
        bool, typer.Option("--jsonl", help="Print one JSON line a job on stdout as each is done.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Write pictures and result.json here, not into the job's folder."),
    ] = None,
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Write no pictures.")] = False,
    allow_outside: AllowOutsideOption = False,
    against: Annotated[
        Path | None,
        typer.Option("--against", metavar="ORDER.csv", help="An order typed elsewhere: hold what differs from it."),
    ] = None,
    at_once: Annotated[
        int | None,
        typer.Option(
            "--at-once",
            metavar="N",
            min=1,
            show_default=False,
            help="Check so many jobs at a time, each in a process of its own; 1 checks them one after another in this "
            "one. When not given, as many as cores and memory allow and as pay.",
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            show_default=False,
            help="Have the workers of the dask scheduler there check the jobs. Each must reach jobs, rules, --out and "
            "--against under the same paths, and have the same version of secondtape, with its extra 'cluster'.",
        ),
    ] = None,
    quiet: QuietOption = False,
) -> int:
    """Cross-check job files: the tape's readings against the photos.

    Ends with 0 all may be sent, 1 at least one opening is on hold, 3 at least one is unproven, 4 something
    could not be read, 2 bad usage.

    Example: secondtape check harbor-114
    """
    if as_json and as_jsonl:
        return refuse("--json and --jsonl: choose one of them.")
    require_libraries()
    if against is not None and not typed_order_readable(against):
        return Exit.UNREADABLE
    form: Form = "json" if as_json else "jsonl" if as_jsonl else "text"
    options = CheckOptions(out, not no_pictures, allow_outside, against, form)
    return _all_said(jobs, options, _place(len(jobs), at_once, cluster), quiet)


def _place(jobs: int, at_once: int | None, cluster: str | None) -> Place | None:
    if cluster is None:
        from sizing.commands.at_once import here

        return here(jobs, at_once)
    from sizing.commands.cluster import there

    return there(cluster, jobs, at_once)


def _all_said(jobs: Sequence[Path], options: CheckOptions, place: Place | None, quiet: bool) -> Exit:
    """Say of each job what was found, in the order typed, and return the exit status of all."""
    from sizing.commands.at_once import all_checked

    statuses: list[Exit] = []
    documents: list[dict[str, Any]] = []
    try:
        with progress_of(len(jobs), quiet) as bar, closing(all_checked(jobs, options, place, bar)) as found:
            for job in found:
                with interrupts_put_off(), bar.aside():
                    for line in job.complaints:
                        complain(line)
                    if job.document is not None:
                        documents.append(job.document)
                    else:
                        say(job.said)
                    statuses.append(job.status)
    except KeyboardInterrupt:
        if len(statuses) < len(jobs) > 1:
            complain(interrupted(len(statuses), len(jobs), str(jobs[len(statuses)])))
        raise
    if options.form == "json":
        from sizing.json_values import as_text
        from sizing.result.document import check_document

        say(as_text(check_document(documents)))
    return overall(statuses)
