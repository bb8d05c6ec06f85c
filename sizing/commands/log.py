"""The command `log`: past checks, decisions and releases, by job, measurer and date."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from sizing.commands.log_again import again
from sizing.commands.log_asked import (
    ByOption,
    CodesOption,
    DecidedOption,
    EachOption,
    JobOption,
    More,
    ReleasedOption,
    SinceOption,
    TapeOption,
    UntilOption,
    VerdictOption,
    asked_log,
    one_check,
    opened_log,
)
from sizing.commands.log_people import people
from sizing.commands.log_rebuild import rebuild_log
from sizing.commands.streams import JsonOption, refuse, say
from sizing.exits import Exit

log = typer.Typer(
    name="log",
    help="Past checks, decisions and releases, by job, measurer and date; alone it lists the latest 30.\n\n"
    "Example: secondtape log list --verdict hold",
    rich_markup_mode=None,
    add_completion=False,
)
_LATEST = 30


@log.callback(invoke_without_command=True)
def _alone(context: typer.Context) -> int:
    return list_checks(limit=_LATEST) if context.invoked_subcommand is None else Exit.DONE


@log.command("list")
def list_checks(
    job: JobOption = None,
    by: ByOption = None,
    tape: TapeOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    verdict: VerdictOption = None,
    decided: DecidedOption = None,
    released: ReleasedOption = False,
    each: EachOption = False,
    limit: Annotated[int | None, typer.Option("--limit", metavar="N", min=1, help="The latest so many.")] = None,
    codes: CodesOption = False,
    as_json: JsonOption = False,
) -> int:
    """List checks, the latest first. Example: secondtape log list --by "crew 2" --since 2026-05-01 --verdict hold.

    Ends with 0, 2 bad usage, 4 the log cannot be read.
    """
    from sizing.messages import log as words
    from sizing.messages import log_asked

    more = More(decided, released, each)
    with asked_log(job, by, tape, since, until, verdict, limit, more) as (asked, connection):
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.queries import find

        found = find(connection, asked)
        if codes:
            names = codes_of(connection)
            found = tuple(coded(x, names) for x in found)
    if as_json:
        from dataclasses import asdict

        from sizing.json_values import as_text
        from sizing.log.export import SCHEMA

        say(as_text({"schema": SCHEMA, "checks": [asdict(x) for x in found]}))
    else:
        say(words.listed(found) if found else log_asked.nothing_found())
    return Exit.DONE


@log.command("show")
def show(
    name: Annotated[str, typer.Argument(metavar="RUN", help="The beginning of a run, its folder, or a job's id.")],
    codes: CodesOption = False,
    as_json: JsonOption = False,
) -> int:
    """Show one check with its readings and decisions. Example: secondtape log show harbor-114.

    Ends with 0, 2 no or several such checks, 4 the log cannot be read.
    """
    from sizing.messages import log as words

    with opened_log() as connection:
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.queries import details

        one = one_check(connection, name)
        found = details(connection, one)
        if codes:
            found = coded(found, codes_of(connection))
    if as_json:
        from sizing.json_values import as_text
        from sizing.log.export import export_document

        say(as_text(export_document([found])))
    else:
        unit: Any = found.logged.units
        say(words.shown(found, unit))
    return Exit.DONE


@log.command("export")
def export(
    out: Annotated[Path, typer.Argument(metavar="FILE", help="A file that ends with .csv or .json.")],
    job: JobOption = None,
    by: ByOption = None,
    tape: TapeOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    verdict: VerdictOption = None,
    decided: DecidedOption = None,
    released: ReleasedOption = False,
    each: EachOption = False,
    codes: CodesOption = False,
) -> int:
    """Write checks, one row a reading, for a spreadsheet or a program. Example: secondtape log export may.csv --codes.

    Nothing in it is taken for a formula. Ends with 0, 2 bad usage or not written, 4 the log cannot be read.
    """
    from sizing.messages import log as words

    kind = out.suffix.lower()
    if kind not in (".csv", ".json"):
        return refuse(words.export_kind(out))
    more = More(decided, released, each)
    with asked_log(job, by, tape, since, until, verdict, None, more) as (asked, connection):
        from sizing.json_values import as_text
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.export import export_csv, export_document
        from sizing.log.queries import details, find

        found = [details(connection, x) for x in find(connection, asked)]
        if codes:
            names = codes_of(connection)
            found = [coded(x, names) for x in found]
    text = export_csv(found) if kind == ".csv" else as_text(export_document(found), indent=1) + "\n"
    beside = out.with_name(f".{out.name}.part")
    try:
        beside.write_text(text, encoding="utf-8-sig" if kind == ".csv" else "utf-8", newline="")
        beside.replace(out)
    except OSError as error:
        return refuse(words.cannot_export(out, error.strerror or str(error)))
    say(words.exported(len(found), out))
    return Exit.DONE


log.command("people")(people)
log.command("rebuild")(rebuild_log)
log.command("again")(again)
