"""An order typed elsewhere, as CSV, compared with the order of the checked job: every difference is a problem.

Columns are recognised by their names; lengths are read in the grammar of the job file. What cannot be read is
named by row and column, and holds the opening that it stands for.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from sizing.decision import OpeningVerdict, job_verdict
from sizing.errors import InputError, Problem
from sizing.messages import against as messages
from sizing.outcome import JobResult, OpeningResult
from sizing.release.release import order_size_mm
from sizing.units import Length, LengthError, Unit, parse_length

Column = Literal["job", "opening", "width", "height", "width_mm", "height_mm", "quantity"]

# Names of columns, in lower case with spaces for everything but letters and digits (the trade's words).
_NAMES: dict[str, Column] = {
    **dict.fromkeys(("opening", "label", "opening label", "window", "mark", "position", "item"), "opening"),
    **dict.fromkeys(("width", "w", "ordered width", "order width"), "width"),
    **dict.fromkeys(("height", "h", "ordered height", "order height"), "height"),
    **dict.fromkeys(("width mm", "w mm", "ordered width mm", "order width mm"), "width_mm"),
    **dict.fromkeys(("height mm", "h mm", "ordered height mm", "order height mm"), "height_mm"),
    **dict.fromkeys(("quantity", "qty", "pieces", "count"), "quantity"),
    **dict.fromkeys(("job", "job id"), "job"),
}  # fmt: skip
_MOST_BYTES, _MOST_ROWS = 5_000_000, 20_000
# Whole mm of an order in inches: rounding is no difference. Nothing coarser is taken for rounding.
_ROUNDED_MM = 0.5
_SAME_MM = 0.05


@dataclass(frozen=True, slots=True)
class TypedRow:
    """One row: its number in the file, and what it says of one opening; `faults` where a cell cannot be read."""

    row: int
    opening: str
    job: str | None
    sizes: Mapping[Column, Length]
    quantity: int | None
    faults: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class TypedOrder:
    """A typed order: its file and rows."""

    file: Path
    rows: tuple[TypedRow, ...]

    def of(self, job: str, opening: str) -> tuple[TypedRow, ...]:
        """Return the rows of one opening."""
        return tuple(r for r in self.rows if r.opening == opening and r.job in (None, "", job))


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference between what was typed and the order: code, row (None where there is none), and words."""

    code: str
    row: int | None
    says: str


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """A job held where the typed order differs, the differences by opening, and rows that belong to none."""

    result: JobResult
    found: Mapping[str, tuple[Difference, ...]]
    strays: tuple[Difference, ...]


def read_typed(file: Path, units: Unit) -> TypedOrder:
    """Return an order typed elsewhere.

    Parameters
    ----------
    file : Path
        CSV in UTF-8 (a byte order mark may lead) with a heading; separated by comma, semicolon or tab.
    units : "in" or "mm"
        What a bare number under `width` and `height` means; under `width_mm` and `height_mm` it is mm.

    Raises
    ------
    InputError
        The file cannot be read, or columns are missing or stand twice; each named with the remedy.
    """
    text = _text(file)
    heading = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=heading.count)
    try:
        table = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise _refused(file, messages.not_csv(str(error))) from None
    if len(table) > _MOST_ROWS:
        raise _refused(file, messages.too_many_rows(_MOST_ROWS))
    places, problems = _columns(file, table[0] if table else [])
    if problems:
        raise InputError("typed-order", problems)
    rows = tuple(
        _row(file, number, cells, places, units)
        for number, cells in enumerate(table[1:], start=2)
        if any(cell.strip() for cell in cells)
    )
    return TypedOrder(file, rows)


def compared(result: JobResult, typed: TypedOrder) -> Comparison:
    """Return the job with every opening held whose typed order differs, and the differences.

    Parameters
    ----------
    result : JobResult
        As checked; one that could not be read comes back as it is.
    typed : TypedOrder
    """
    if result.job is None:
        return Comparison(result, {}, ())
    job = result.job
    found = {
        o.opening.label: differences(order_size_mm(o), o.opening.quantity, typed.of(job.id, o.opening.label), job.units)
        for o in result.openings
    }
    openings = tuple(_held(o, found[o.opening.label]) for o in result.openings)
    strays = tuple(
        Difference("typed-unknown-opening", r.row, messages.typed_unknown(f"{typed.file}: row {r.row}", r.opening))
        for r in typed.rows
        if r.opening not in found and r.job in (None, "", job.id)
    )
    verdict = "hold" if strays else job_verdict(o.verdict.verdict for o in openings)
    return Comparison(replace(result, openings=openings, verdict=verdict), found, strays)


def with_differences(document: dict[str, Any], comparison: Comparison) -> dict[str, Any]:
    """Return an element of `jobs` (read) with `against` in each opening and, for rows of no opening, in the job."""

    def shown(found: Sequence[Difference]) -> list[dict[str, Any]]:
        return [{"code": d.code, "row": d.row, "says": d.says} for d in found]

    openings = [o | {"against": shown(comparison.found.get(o["label"], ()))} for o in document["openings"]]
    return document | {"openings": openings, "against": shown(comparison.strays)}


def comparison_lines(comparison: Comparison) -> list[str]:
    """Return the differences for people, a line each; one line when there is none."""
    lines = [messages.typed_line(label, d.says) for label, found in comparison.found.items() for d in found]
    lines += [d.says for d in comparison.strays]
    return lines or [messages.typed_same()]


def differences(
    order_mm: tuple[float | None, float | None], quantity: int, rows: Sequence[TypedRow], units: Unit
) -> tuple[Difference, ...]:
    """Return the differences between the order of one opening and the rows typed for it.

    Parameters
    ----------
    order_mm : (width, height) in mm, None where the order has none.
    quantity : int
    rows : the rows of this opening.
    units : for the words.
    """
    if not rows:
        return (Difference("typed-missing", None, messages.typed_missing()),)
    found = []
    if len(rows) > 1:
        found.append(Difference("typed-twice", rows[1].row, messages.typed_twice([r.row for r in rows])))
    for row in rows:
        found += [Difference("typed-unreadable", row.row, str(fault)) for fault in row.faults]
        for column, length in row.sizes.items():
            name = column.removesuffix("_mm")
            wanted_mm = order_mm[0 if name == "width" else 1]
            if wanted_mm is None:
                says = messages.typed_without_order(name, row.row)
                found.append(Difference("typed-without-order", row.row, says))
            elif not _same(length, wanted_mm):
                says = messages.typed_differs(name, row.row, length.as_written, length.mm, wanted_mm, units)
                found.append(Difference(f"typed-{name}", row.row, says))
        if row.quantity is not None and row.quantity != quantity:
            says = messages.typed_quantity(row.row, row.quantity, quantity)
            found.append(Difference("typed-quantity", row.row, says))
    return tuple(found)


def _same(length: Length, wanted_mm: float) -> bool:
    """Return whether a typed length is the wanted one, written down to its last digit of at most 1 mm."""
    allowed = max(_SAME_MM, length.step_mm / 2 + 1e-6) if length.step_mm <= 2 * _ROUNDED_MM + 1e-9 else _SAME_MM
    return abs(length.mm - wanted_mm) <= allowed


def _held(result: OpeningResult, found: Sequence[Difference]) -> OpeningResult:
    if not found:
        return result
    old = result.verdict
    codes = tuple(dict.fromkeys(d.code for d in found))
    facts = {**old.facts, "order_problems": (*old.facts.get("order_problems", ()), *codes)}
    if old.verdict == "hold":
        return replace(result, verdict=replace(old, facts=facts))
    return replace(result, verdict=OpeningVerdict("hold", "order-problem", codes, facts))


def _text(file: Path) -> str:
    try:
        if not file.is_file():
            raise _refused(file, messages.no_typed_file())
        with file.open("rb") as stream:
            data = stream.read(_MOST_BYTES + 1)
    except OSError as error:
        raise _refused(file, messages.cannot_open(error.strerror or str(error))) from None
    if len(data) > _MOST_BYTES:
        raise _refused(file, messages.too_large_table(_MOST_BYTES))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise _refused(f"{file}: line {line}", messages.not_utf8()) from None


def _refused(where: Path | str, says: str) -> InputError:
    return InputError("typed-order", [Problem(str(where), says)])


def _columns(file: Path, heading: Sequence[str]) -> tuple[dict[Column, int], list[Problem]]:
    places: dict[Column, int] = {}
    problems = []
    for i, cell in enumerate(heading):
        plain = " ".join("".join(c if c.isalnum() else " " for c in cell.lower()).split())
        name = _NAMES.get(plain)
        if name is None:
            continue
        if name in places:
            problems.append(Problem(f"{file}: row 1", messages.column_twice(cell)))
        places[name] = i
    missing = [] if "opening" in places else ["opening"]
    missing += [n for n, mm in (("width", "width_mm"), ("height", "height_mm")) if not {n, mm} & set(places)]
    if missing:
        problems.append(Problem(f"{file}: row 1", messages.columns_missing(missing, heading)))
    return places, problems


def _row(file: Path, number: int, cells: Sequence[str], places: Mapping[Column, int], units: Unit) -> TypedRow:
    faults: list[Problem] = []
    sizes: dict[Column, Length] = {}
    # A release of our own protects cells from spreadsheets by an apostrophe.
    said = {n: cells[i].strip().removeprefix("'") if i < len(cells) else "" for n, i in places.items()}
    for column in ("width", "height", "width_mm", "height_mm"):
        if column not in places:
            continue
        where = f"{file}: row {number}, column {column} ({_letters(places[column])}{number})"
        try:
            sizes[column] = _length(said[column], column, units)
        except LengthError as error:
            faults.append(Problem(where, messages.cell_unreadable(str(error))))
    quantity = None
    if "quantity" in places:
        where = f"{file}: row {number}, column quantity ({_letters(places['quantity'])}{number})"
        if said["quantity"].isascii() and said["quantity"].isdigit() and len(said["quantity"]) < 6:
            quantity = int(said["quantity"])
        else:
            faults.append(Problem(where, messages.quantity_unreadable(said["quantity"])))
    return TypedRow(number, said["opening"], said.get("job"), sizes, quantity, tuple(faults))


def _length(text: str, column: Column, units: Unit) -> Length:
    if not text:
        raise LengthError(messages.cell_empty())
    if not column.endswith("_mm"):
        return parse_length(text, units)
    return parse_length(text if text[-1:].isalpha() else f"{text} mm", "mm")


def _letters(index: int) -> str:
    """Return the letters of a column as spreadsheets count: A, B, ... Z, AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
