"""How the log puts readings together: by person, by tape, by both, or by each person's days."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.statistics.compared import Compared
from sizing.statistics.findings import Together
from sizing.statistics.measurers import together


def grouped(rows: Sequence[Compared], per: str) -> tuple[Together, ...]:
    """Return what readings say together, by name.

    Parameters
    ----------
    rows : sequence of Compared
    per : str
        `measurer`, `tape`, `both`, or `day`: each day of each person, by scatter and slips only, since what one job's
        sheets add to all its readings cannot be told from a shift of that day.
    """
    match per:
        case "measurer":
            return together(rows, lambda r: r.by)
        case "tape":
            return together(rows, lambda r: r.tape)
        case "both":
            return together(rows, lambda r: f"{r.by}, {r.tape}")
        case "day":
            return together(
                rows,
                lambda r: f"{r.by}, {r.on or 'no day given'}",
                unit=lambda r: r.opening,
                kinds=("scatter", "slips"),
            )
    raise ValueError(f"{per!r} is no way to put readings together")
