"""Words of an order typed elsewhere: what cannot be read, and what differs from the job's."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.exact_length import exact_length
from sizing.messages.one_line import one_line
from sizing.units import Unit


def not_csv(reason: str) -> str:
    """Return that a table is no CSV."""
    return f"is no CSV ({one_line(reason)}): save it as CSV with quotes around cells that hold a comma."


def too_many_rows(most: int) -> str:
    """Return that a table has too many rows."""
    return f"has more than {most} rows: give the order of these jobs only."


def too_large_table(most: int) -> str:
    """Return that a table is too large."""
    return f"is over {most // 1_000_000} MB: give the order of these jobs only."


def no_typed_file() -> str:
    """Return that there is no such table."""
    return "no such file: name the order as a CSV file."


def cannot_open(reason: str) -> str:
    """Return that a table cannot be opened."""
    return f"cannot be read ({one_line(reason)}): make it readable."


def not_utf8() -> str:
    """Return that a table is not UTF-8."""
    return "is not UTF-8 text: save it as CSV UTF-8."


def column_twice(name: str) -> str:
    """Return that a column stands twice."""
    return f"column '{one_line(name)}' stands twice: keep the one that counts."


def columns_missing(missing: Sequence[str], heading: Sequence[str]) -> str:
    """Return that columns are missing, with those that were found."""
    found = ", ".join(one_line(cell)[:30] for cell in heading[:12] if cell.strip()) or "none"
    return f"no column named {', '.join(missing)} (found: {found}): head the columns opening, width, height, quantity."


def cell_unreadable(reason: str) -> str:
    """Return that a cell cannot be read."""
    return one_line(reason)


def cell_empty() -> str:
    """Return that a cell is empty."""
    return "the cell is empty: write the ordered length"


def quantity_unreadable(text: str) -> str:
    """Return that a quantity cannot be read."""
    return f"'{one_line(text)[:30]}' is no whole number of pieces: write 1, 2, 3"


def typed_unknown(where: str, opening: str) -> str:
    """Return that the typed order names an opening that the job has not."""
    return f"{where}: the job has no opening '{one_line(opening)}': put the label right, or take the row out."


def typed_missing() -> str:
    """Return that the typed order has no row for an opening."""
    return "The typed order has no row for it: type it, or take the opening out of the job."


def typed_twice(rows: Sequence[int]) -> str:
    """Return that the typed order has several rows for an opening."""
    return f"The typed order has it in rows {', '.join(map(str, rows))}: keep one, with its quantity."


def typed_without_order(name: str, row: int) -> str:
    """Return that there is no ordered size to compare with."""
    return (
        f"Row {row} has a {name}, but the job has no ordered {name} to compare with: give [opening.ordered] or a rule."
    )


def typed_differs(name: str, row: int, written: str, typed_mm: float, order_mm: float, unit: Unit) -> str:
    """Return that a typed length is not the order's."""
    shown = exact_length(typed_mm, unit)
    said = shown if written == shown.removesuffix(f" {unit}") or written == shown else f"{one_line(written)} ({shown})"
    order = exact_length(order_mm, unit)
    return f"Row {row}: the {name} typed is {said}, the order's is {order}. Put the wrong one right."


def typed_quantity(row: int, typed: int, order: int) -> str:
    """Return that a typed quantity is not the order's."""
    return f"Row {row}: {typed} typed, the job says {order}. Put the wrong one right."


def typed_line(opening: str, says: str) -> str:
    """Return a difference with its opening."""
    return f"{one_line(opening)}: {one_line(says)}"


def typed_same() -> str:
    """Return that the typed order is the job's."""
    return "The typed order is the same as the job's."
