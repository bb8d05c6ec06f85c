"""What the log may be asked for, and its clause of SQL."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

# The day of a check is that of the measuring; where nobody said it, that of the check.
DAY = "coalesce(substr(r.measured_on, 1, 10), substr(r.checked_at, 1, 10))"


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for; None asks for all. Texts are parts of names, days are included, `under` is a folder.

    Of the checks of one job file that differ only in where somebody pointed in the photos the last one stands for all,
    and each that somebody decided on; `each` asks for every one. `released`: only those of which something is.
    """

    job: str | None = None
    by: str | None = None
    tape: str | None = None
    since: date | None = None
    until: date | None = None
    verdict: str | None = None
    under: Path | None = None
    limit: int | None = None
    decided_by: str | None = None
    released: bool = False
    each: bool = False


def where_clause(asked: Asked, *, readings: bool = False) -> tuple[str, Sequence[object]]:
    """Return the clause and its values; with `readings`, names, tapes and days are those of the reading."""
    day = "coalesce(substr(x.read_on, 1, 10), substr(r.measured_on, 1, 10))" if readings else DAY
    parts, values = ["TRUE"], list[object]()
    mine = "EXISTS (SELECT 1 FROM readings x JOIN openings p ON p.id = x.opening_id WHERE p.run_id = r.id AND {})"
    name = "instr(fold({}), fold(?)) > 0"
    if asked.job is not None:
        parts.append(name.format("r.job"))
        values.append(asked.job)
    if asked.by is not None:
        own = name.format("x.by")
        parts.append(own if readings else f"({name.format('r.measured_by')} OR {mine.format(own)})")
        values += [asked.by] * (1 if readings else 2)
    if asked.tape is not None:
        parts.append("x.tape = ?" if readings else mine.format("x.tape = ?"))
        values.append(asked.tape)
    for bound, sign in ((asked.since, ">="), (asked.until, "<=")):
        if bound is not None:
            parts.append(f"{day} {sign} ?")
            values.append(bound.isoformat())
    if asked.decided_by is not None:
        decided = "EXISTS (SELECT 1 FROM decisions d WHERE d.folder = r.folder AND {})"
        parts.append(decided.format(name.format("d.by")))
        values.append(asked.decided_by)
    if asked.released:
        parts.append("EXISTS (SELECT 1 FROM releases x WHERE x.folder = r.folder)")
    if not (asked.each or readings):
        parts.append("(r.age = 1 OR r.id IN (SELECT run_id FROM decided WHERE age = 1))")
    if asked.verdict is not None:
        parts.append("r.verdict = ?")
        values.append(asked.verdict)
    if asked.under is not None:
        top = str(asked.under.resolve()).rstrip("/\\")
        parts.append("(r.folder = ? OR substr(r.folder, 1, ?) IN (?, ?))")
        values += [top, len(top) + 1, top + "/", top + "\\"]
    return "WHERE " + " AND ".join(parts), values
