"""The command `log people`: what many readings of a person, tape or day show together."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from sizing.commands.log_asked import ByOption, CodesOption, JobOption, SinceOption, TapeOption, UntilOption, asked_log
from sizing.commands.streams import JsonOption, refuse, say
from sizing.exits import Exit

_BY = ("measurer", "tape", "both", "day")
_UNITS = ("in", "mm")
_Units = Annotated[str, typer.Option("--units", metavar="UNIT", help="in or mm.")]


def people(
    per: Annotated[
        str, typer.Option("--per", metavar="WHAT", help="measurer, tape, both, or day (of each person).")
    ] = "measurer",
    job: JobOption = None,
    by: ByOption = None,
    tape: TapeOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    units: _Units = "in",
    codes: CodesOption = False,
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
    with asked_log(job, by, tape, since, until, None, None) as (asked, connection):
        from sizing.log.codes import coded
        from sizing.log.codes import codes as codes_of
        from sizing.log.compared_readings import compared
        from sizing.statistics.groups import grouped

        rows = compared(connection, asked)
        if codes:
            names = codes_of(connection)
            rows = tuple(coded(r, names) for r in rows)
    groups = grouped(rows, per)
    if as_json:
        from sizing.json_values import as_text
        from sizing.log.export import statistics_document

        say(as_text(statistics_document(groups, per)))
    else:
        unit: Any = units
        say(log_people.people(groups, per, unit))
    return Exit.DONE
