"""What the commands of the log share: options that narrow what is asked, and the log opened for it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from sizing.commands.streams import complain, refuse
from sizing.exits import Exit

if TYPE_CHECKING:
    import sqlite3

_MOST = (1 << 63) - 1  # the largest number of SQLite
JobOption = Annotated[str | None, typer.Option("--job", metavar="TEXT", help="Only jobs whose id holds this.")]
ByOption = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Only what somebody of this name measured.")]
TapeOption = Annotated[str | None, typer.Option("--tape", metavar="CLASS", help="Only readings by this class of tape.")]
SinceOption = Annotated[str | None, typer.Option("--since", metavar="DAY", help="Measured on this day or later.")]
UntilOption = Annotated[str | None, typer.Option("--until", metavar="DAY", help="Measured on this day or earlier.")]
VerdictOption = Annotated[str | None, typer.Option("--verdict", metavar="VERDICT", help="send, hold or unproven.")]
DecidedOption = Annotated[
    str | None, typer.Option("--decided-by", metavar="NAME", help="Only jobs on which somebody of this name decided.")
]
ReleasedOption = Annotated[bool, typer.Option("--released", help="Only jobs of which something was released.")]
EachOption = Annotated[
    bool, typer.Option("--each", help="Every check, also those that differ only in where corners were placed.")
]
CodesOption = Annotated[
    bool, typer.Option("--codes", help="Codes in place of people's names; paths and free texts are left out.")
]


class More(NamedTuple):
    """What else lists and exports may be narrowed or widened by."""

    decided_by: str | None = None
    released: bool = False
    each: bool = False


@contextmanager
def opened_log() -> Iterator[sqlite3.Connection]:
    """Give the log, brought up to date; end with one line where it cannot be used."""
    from sizing.log.database import LogError, open_log
    from sizing.log.index import refresh

    try:
        with open_log(whole=True) as connection:
            refresh(connection)
            yield connection
    except LogError as error:
        complain(str(error))
        raise typer.Exit(Exit.UNREADABLE) from error


@contextmanager
def asked_log(
    job: str | None,
    by: str | None,
    tape: str | None,
    since: str | None,
    until: str | None,
    verdict: str | None,
    limit: int | None,
    more: More | None = None,
) -> Iterator[tuple[Any, sqlite3.Connection]]:
    """Give what is asked for and the log; end with one line where an option is no day or verdict."""
    from sizing.log.asked import Asked
    from sizing.messages import log_asked as words
    from sizing.messages.verdicts import VERDICTS

    if verdict is not None and verdict not in VERDICTS:
        raise typer.Exit(refuse(words.bad_choice("--verdict", verdict, tuple(VERDICTS))))
    for option, text in (("--job", job), ("--by", by), ("--tape", tape), ("--decided-by", (more or More()).decided_by)):
        if text is not None and any("\ud800" <= c <= "\udfff" for c in text):
            raise typer.Exit(refuse(words.no_text(option, text)))
    days = _day("--since", since), _day("--until", until)
    more = more or More()
    latest = None if limit is None else min(limit, _MOST)
    asked = Asked(job, by, tape, *days, verdict, None, latest, more.decided_by, more.released, more.each)
    with opened_log() as connection:
        yield asked, connection


def _day(option: str, text: str | None) -> date | None:
    from sizing.messages import log_asked as words

    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise typer.Exit(refuse(words.bad_day(option, text or ""))) from None


def one_check(connection: sqlite3.Connection, name: str) -> Any:  # noqa: ANN401 -- Logged
    """Return the one check that a name means; end with one line where it means none or several."""
    from sizing.log.queries import find_run
    from sizing.messages import log_asked as words

    found = find_run(connection, name)
    if len(found) != 1:
        raise typer.Exit(refuse(words.several_runs(name, found) if found else words.unknown_run(name)))
    return found[0]
