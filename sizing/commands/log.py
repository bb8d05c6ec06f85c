"""The command `log`: past checks, decisions and releases, by job, measurer and date."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from sizing.commands.streams import JsonOption, QuietOption, complain, progress_shown, refuse, require_libraries, say
from sizing.exits import Exit

if TYPE_CHECKING:
    import sqlite3

log = typer.Typer(
    name="log",
    help="Past checks, decisions and releases, by job, measurer and date; alone it lists the latest 30.\n\n"
    "Example: secondtape log list --verdict hold",
    rich_markup_mode=None,
    add_completion=False,
)

_VERDICTS = ("send", "hold", "unproven")
_BY = ("measurer", "tape", "both", "day")
_UNITS = ("in", "mm")
_LATEST = 30

_Job = Annotated[str | None, typer.Option("--job", metavar="TEXT", help="Only jobs whose id holds this.")]
_By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Only what somebody of this name measured.")]
_Tape = Annotated[str | None, typer.Option("--tape", metavar="CLASS", help="Only readings by this class of tape.")]
_Since = Annotated[str | None, typer.Option("--since", metavar="DAY", help="Measured on this day or later.")]
_Until = Annotated[str | None, typer.Option("--until", metavar="DAY", help="Measured on this day or earlier.")]
_Verdict = Annotated[str | None, typer.Option("--verdict", metavar="VERDICT", help="send, hold or unproven.")]
_Decided = Annotated[
    str | None, typer.Option("--decided-by", metavar="NAME", help="Only jobs on which somebody of this name decided.")
]
_Released = Annotated[bool, typer.Option("--released", help="Only jobs of which something was released.")]
_Each = Annotated[
    bool, typer.Option("--each", help="Every check, also those that differ only in where corners were placed.")
]
_Codes = Annotated[
    bool, typer.Option("--codes", help="Codes in place of people's names; paths and free texts are left out.")
]
_Units = Annotated[str, typer.Option("--units", metavar="UNIT", help="in or mm.")]


class _More(NamedTuple):
    """What else lists and exports may be narrowed or widened by."""

    decided_by: str | None = None
    released: bool = False
    each: bool = False


@log.callback(invoke_without_command=True)
def _alone(context: typer.Context) -> int:
    return list_checks(limit=_LATEST) if context.invoked_subcommand is None else Exit.DONE


@log.command("list")
def list_checks(
    job: _Job = None,
    by: _By = None,
    tape: _Tape = None,
    since: _Since = None,
    until: _Until = None,
    verdict: _Verdict = None,
    decided: _Decided = None,
    released: _Released = False,
    each: _Each = False,
    limit: Annotated[int | None, typer.Option("--limit", metavar="N", min=1, help="The latest so many.")] = None,
    codes: _Codes = False,
    as_json: JsonOption = False,
) -> int:
    """List checks, the latest first. Example: secondtape log list --by "crew 2" --since 2026-05-01 --verdict hold.

    Ends with 0, 2 bad usage, 4 the log cannot be read.
    """
    from sizing.messages import log as words
    from sizing.messages import log_asked

    more = _More(decided, released, each)
    with _asked(job, by, tape, since, until, verdict, limit, more) as (asked, connection):
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.queries import find

        found = find(connection, asked)
        if codes:
            names = codes_of(connection)
            found = tuple(coded(x, names) for x in found)
    if as_json:
        from dataclasses import asdict

        from sizing.log.export import SCHEMA
        from sizing.result import as_text

        say(as_text({"schema": SCHEMA, "checks": [asdict(x) for x in found]}))
    else:
        say(words.listed(found) if found else log_asked.nothing_found())
    return Exit.DONE


@log.command("show")
def show(
    name: Annotated[str, typer.Argument(metavar="RUN", help="The beginning of a run, its folder, or a job's id.")],
    codes: _Codes = False,
    as_json: JsonOption = False,
) -> int:
    """Show one check with its readings and decisions. Example: secondtape log show harbor-114.

    Ends with 0, 2 no or several such checks, 4 the log cannot be read.
    """
    from sizing.messages import log as words

    with _opened() as connection:
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.queries import details

        one = _one(connection, name)
        found = details(connection, one)
        if codes:
            found = coded(found, codes_of(connection))
    if as_json:
        from sizing.log.export import export_document
        from sizing.result import as_text

        say(as_text(export_document([found])))
    else:
        unit: Any = found.logged.units
        say(words.shown(found, unit))
    return Exit.DONE


@log.command("export")
def export(
    out: Annotated[Path, typer.Argument(metavar="FILE", help="A file that ends with .csv or .json.")],
    job: _Job = None,
    by: _By = None,
    tape: _Tape = None,
    since: _Since = None,
    until: _Until = None,
    verdict: _Verdict = None,
    decided: _Decided = None,
    released: _Released = False,
    each: _Each = False,
    codes: _Codes = False,
) -> int:
    """Write checks, one row a reading, for a spreadsheet or a program. Example: secondtape log export may.csv --codes.

    Nothing in it is taken for a formula. Ends with 0, 2 bad usage or not written, 4 the log cannot be read.
    """
    from sizing.messages import log as words

    kind = out.suffix.lower()
    if kind not in (".csv", ".json"):
        return refuse(words.export_kind(out))
    more = _More(decided, released, each)
    with _asked(job, by, tape, since, until, verdict, None, more) as (asked, connection):
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.export import export_csv, export_document
        from sizing.log.queries import details, find
        from sizing.result import as_text

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


@log.command("people")
def people(
    per: Annotated[
        str, typer.Option("--per", metavar="WHAT", help="measurer, tape, both, or day (of each person).")
    ] = "measurer",
    job: _Job = None,
    by: _By = None,
    tape: _Tape = None,
    since: _Since = None,
    until: _Until = None,
    units: _Units = "in",
    codes: _Codes = False,
    as_json: JsonOption = False,
) -> int:
    """Say what many readings of a person, tape or day show together. Example: secondtape log people --per tape.

    Listed by name, never by rank; under 20 readings nothing is concluded. Ends with 0, 2 bad usage, 4 the log cannot
    be read.
    """
    from sizing.messages import log_asked, log_people

    if per not in _BY:
        return refuse(log_asked.bad_choice("--per", per, _BY))
    if units not in _UNITS:
        return refuse(log_asked.bad_choice("--units", units, _UNITS))
    with _asked(job, by, tape, since, until, None, None) as (asked, connection):
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.groups import grouped
        from sizing.log.queries import compared

        rows = compared(connection, asked)
        if codes:
            names = codes_of(connection)
            rows = tuple(coded(r, names) for r in rows)
    groups = grouped(rows, per)
    if as_json:
        from sizing.log.export import statistics_document
        from sizing.result import as_text

        say(as_text(statistics_document(groups, per)))
    else:
        unit: Any = units
        say(log_people.people(groups, per, unit))
    return Exit.DONE


@log.command("rebuild")
def rebuild_log(
    folders: Annotated[
        list[Path] | None, typer.Argument(metavar="[FOLDER]...", help="Folders that hold jobs, at any depth to 8.")
    ] = None,
) -> int:
    """Make the log anew from job folders and their results. Example: secondtape log rebuild ~/jobs.

    Job folders that the log knows are read again without being named. Ends with 0, 4 a result could not be read or
    the log not written, 2 bad usage.
    """
    from sizing.log.index import FILE, LogError, data_folder, rebuild
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


@log.command("again")
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
    with _opened() as connection:
        one = _one(connection, name)
    from sizing.check import check_job
    from sizing.errors import InputError
    from sizing.log.again import held_to
    from sizing.log.record import read_document
    from sizing.result import as_text, job_document
    from sizing.terminal import complaints
    from sizing.versions import program_version

    try:
        record = read_document(Path(one.path))
    except InputError as error:
        for problem in error.problems:
            complain(str(problem))
        return Exit.UNREADABLE
    if one.folder is None or not (Path(one.folder) / one.job_file).is_file():
        complain(words.job_gone(one.folder, one.job_file))
        return Exit.UNREADABLE
    result = check_job(Path(one.folder) / one.job_file, allow_outside=allow_outside, progress=progress_shown(quiet))
    for line in complaints(result):
        complain(line)
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


@contextmanager
def _opened() -> Iterator[sqlite3.Connection]:
    """Give the log, brought up to date; end with one line where it cannot be used."""
    from sizing.log.index import LogError, open_log, refresh

    try:
        with open_log() as connection:
            refresh(connection)
            yield connection
    except LogError as error:
        complain(str(error))
        raise typer.Exit(Exit.UNREADABLE) from error


@contextmanager
def _asked(
    job: str | None,
    by: str | None,
    tape: str | None,
    since: str | None,
    until: str | None,
    verdict: str | None,
    limit: int | None,
    more: _More | None = None,
) -> Iterator[tuple[Any, sqlite3.Connection]]:
    """Give what is asked for and the log; end with one line where an option is no day or verdict."""
    from sizing.log.queries import Asked
    from sizing.messages import log_asked as words

    if verdict is not None and verdict not in _VERDICTS:
        raise typer.Exit(refuse(words.bad_choice("--verdict", verdict, _VERDICTS)))
    days = _day("--since", since), _day("--until", until)
    more = more or _More()
    asked = Asked(job, by, tape, *days, verdict, None, limit, more.decided_by, more.released, more.each)
    with _opened() as connection:
        yield asked, connection


def _day(option: str, text: str | None) -> date | None:
    from sizing.messages import log_asked as words

    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise typer.Exit(refuse(words.bad_day(option, text or ""))) from None


def _one(connection: sqlite3.Connection, name: str) -> Any:  # noqa: ANN401 -- Logged
    from sizing.log.queries import find_run
    from sizing.messages import log_asked as words

    found = find_run(connection, name)
    if len(found) != 1:
        raise typer.Exit(refuse(words.several_runs(name, found) if found else words.unknown_run(name)))
    return found[0]
