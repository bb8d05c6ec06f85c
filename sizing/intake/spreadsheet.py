"""Readings from spreadsheets: columns known by their names, every fault named by its cell, nothing guessed.

One row is one opening. Import is all or nothing: with any fault no row may be used.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import get_args

import tomlkit

from sizing.errors import InputError, Problem
from sizing.intake.spreadsheet_cells import Cell, Formula, read_cells
from sizing.jobs import edits as jobedits
from sizing.jobs.staying import Place
from sizing.units import LengthError, Unit, parse_length
from vision.request import Wall

MOST_OPENINGS = 200
LENGTHS = {
    "width.top": "Width top", "width.middle": "Width middle", "width.bottom": "Width bottom",
    "height.left": "Height left", "height.middle": "Height middle", "height.right": "Height right",
    "diagonal.down": "Diagonal down", "diagonal.up": "Diagonal up",
    "ordered.width": "Ordered width", "ordered.height": "Ordered height",
}  # fmt: skip
TEXTS = {"label": "Opening", "wall": "Wall", "rule": "Rule", "quantity": "Quantity", "note": "Note"}
HEADINGS = {"label": "Opening", **LENGTHS, **{k: v for k, v in TEXTS.items() if k != "label"}}

# Words of a heading that mean the same; what is left must be the words of one heading, in any order.
_SAME = {
    "w": "width", "h": "height", "diag": "diagonal", "mid": "middle", "center": "middle", "centre": "middle",
    "bot": "bottom", "l": "left", "r": "right", "label": "opening", "window": "opening", "qty": "quantity",
    "pieces": "quantity", "notes": "note", "remark": "note", "remarks": "note", "order": "ordered",
    "widths": "width", "heights": "height", "diagonals": "diagonal",
}  # fmt: skip
_UNITS: dict[str, Unit] = {"in": "in", "inch": "in", "inches": "in", '"': "in", "mm": "mm"}
_KNOWN = {frozenset(words.lower().split()): key for key, words in HEADINGS.items()}
_MONTH = "(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
# What spreadsheets make of 3/8 in a CSV: 3-Aug, Aug-03, 03.08.2026, 8/3/2026, 2026-03-08.
_DATE = re.compile(
    rf"\d{{1,2}}[-. ]{_MONTH}(?:[-. ]\d{{2,4}})?|{_MONTH}[-. ]\d{{1,4}}"
    r"|\d{1,2}[./-]\d{1,2}[./-](?:19|20)\d\d|(?:19|20)\d\d[./-]\d{1,2}[./-]\d{1,2}(?: .*)?",
    re.IGNORECASE,
)
_ERROR = re.compile(r"#(?:REF|VALUE|DIV/0|NAME\?|N/A|NUM|NULL|SPILL|CALC)!?|#+")


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One opening of a spreadsheet: its row, its label, lengths as text by `width.top`, other facts as text."""

    number: int
    label: str
    lengths: Mapping[str, str]
    facts: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Readings:
    """What a spreadsheet holds: rows, faults by cell, and headings of columns that are not used."""

    rows: tuple[SheetRow, ...]
    problems: tuple[Problem, ...]
    unused: tuple[str, ...]


def read_readings(data: bytes, name: str, unit: Unit, graduation_mm: float | None = None) -> Readings:
    """Return the openings of a CSV or XLSX.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        For messages.
    unit : "in" or "mm"
        What a bare number means, unless its column's heading names a unit.
    graduation_mm : float, optional
        Of `strong` and `scant`.

    Raises
    ------
    InputError
        The file cannot be read at all, or no row of it is a heading with `Opening` and a length.
    """
    rows = read_cells(data, name)
    at, columns, unused, problems = _heading(rows, name)
    found: list[SheetRow] = []
    for cells in rows[at + 1 :]:
        row = _row(cells, columns, unit, graduation_mm, problems)
        if row is not None:
            found.append(row)
    places: dict[str, int] = {}
    for row in found:
        if row.label in places:
            says = f"{row.label!r} stands in row {places[row.label]} too: one row an opening"
            problems.append(Problem(f"row {row.number}", says))
        places.setdefault(row.label, row.number)
    if not found and not problems:
        problems.append(Problem(name[:80], "no opening stands below the heading"))
    if len(found) > MOST_OPENINGS:
        problems.append(Problem(name[:80], f"{len(found)} openings: a job has at most {MOST_OPENINGS}"))
    return Readings(tuple(found), tuple(problems), tuple(unused))


def put_rows(document: tomlkit.TOMLDocument, rows: Sequence[SheetRow], wall: str) -> None:
    """Put the rows into a job: what is filled replaces what was there, an empty cell leaves it; new labels are added.

    Parameters
    ----------
    wall : str
        Of new openings whose row names none.
    """
    known = {table.get("label") for table in document.get("opening", [])}
    for row in rows:
        if row.label not in known:
            jobedits.add_opening(document, row.label, row.facts.get("wall") or wall)
        table = jobedits.opening_table(document, row.label)
        facts: dict[str, object] = {k: v for k, v in row.facts.items() if v}
        if "quantity" in facts:
            facts["quantity"] = int(str(facts["quantity"]))
        jobedits.set_facts(table, facts)
        boxes: dict[str, dict[str, str]] = {}
        for key, text in row.lengths.items():
            group, _, box = key.partition(".")
            boxes.setdefault(group, {})[box] = text
        jobedits.set_ordered(table, boxes.pop("ordered", {}))
        jobedits.set_readings(table, boxes)


def places_of(rows: Sequence[SheetRow]) -> list[Place]:
    """Return the places of a job file that the rows may change."""
    return [("opening", row.label, *key.split(".")) for row in rows for key in (*row.facts, *row.lengths)]


Columns = dict[int, tuple[str, Unit | None]]


def _heading(rows: Sequence[Sequence[Cell]], name: str) -> tuple[int, Columns, list[str], list[Problem]]:
    """Return which row is the heading, its columns, the headings not used, and columns that mean the same."""
    for at, cells in enumerate(rows[:20]):
        columns: Columns = {}
        unused: list[str] = []
        problems: list[Problem] = []
        for i, cell in enumerate(cells):
            known = column_of(str(cell.value)) if isinstance(cell.value, str) else None
            if known is None:
                if cell.value not in (None, ""):
                    unused.append(f"{cell.place} {str(cell.value)[:40]!r}")
            elif known[0] in {key for key, _ in columns.values()}:
                says = f"a second column for {HEADINGS[known[0]]!r}: keep one"
                problems.append(Problem(f"{cell.place} {str(cell.value)[:40]!r}", says))
            else:
                columns[i] = known
        keys = {key for key, _ in columns.values()}
        if "label" in keys and keys & set(LENGTHS):
            return at, columns, unused, problems
    says = f"no row has the headings Opening and one of {', '.join(list(LENGTHS.values())[:6])}: use the template"
    raise InputError("spreadsheet", [Problem(name[:80], says)])


def column_of(heading: str) -> tuple[str, Unit | None] | None:
    """Return what a column holds by its heading, and the unit that the heading names; None where it is not known.

    Examples
    --------
    >>> column_of("Top width (mm)"), column_of("H. left"), column_of("Opening no."), column_of("Colour")
    (('width.top', 'mm'), ('height.left', None), ('label', None), None)
    """
    words = re.findall(r'[a-z]+|"', heading.casefold())
    unit = next((_UNITS[w] for w in words if w in _UNITS), None)
    left = frozenset(_SAME.get(w, w) for w in words if w not in _UNITS and w not in ("no", "nr", "number", "reading"))
    key = _KNOWN.get(left)
    return None if key is None else (key, unit)


def _row(
    cells: Sequence[Cell], columns: Columns, unit: Unit, graduation_mm: float | None, problems: list[Problem]
) -> SheetRow | None:
    lengths: dict[str, str] = {}
    facts: dict[str, str] = {}
    before = len(problems)
    for i, (key, named) in columns.items():
        cell = cells[i] if i < len(cells) else None
        if cell is None or cell.value in (None, ""):
            continue
        where = f"{cell.place} ({HEADINGS[key]})"
        try:
            if key in LENGTHS:
                lengths[key] = _length(cell.value, named or unit, unit, graduation_mm)
            else:
                facts[key] = _text(cell.value, key)
        except LengthError as error:
            problems.append(Problem(where, str(error)))
    label = facts.pop("label", "")
    number = int(re.sub(r"\D", "", cells[0].place)) if cells else 0
    if not label and len(problems) == before:
        if not lengths and not facts:
            return None
        problems.append(Problem(f"row {number}", "has no opening's label: fill the column Opening"))
    return SheetRow(number, label, lengths, facts) if label else None


def _length(value: object, unit: Unit, job_unit: Unit, graduation_mm: float | None) -> str:
    """Return a length's text for the job file; LengthError where it is none, with what happened to it."""
    if fault := _not_typed(value):
        raise LengthError(fault)
    text = str(value).strip().removeprefix("'") if isinstance(value, str) else _number_text(value)
    if _ERROR.fullmatch(text):
        raise LengthError(f"holds the spreadsheet's error {text}: type the reading")
    if _DATE.fullmatch(text):
        raise LengthError(_became_date(text))
    length = parse_length(text, unit, graduation_mm=graduation_mm)
    if unit == job_unit:
        return text
    try:  # a bare number of a column in another unit takes its unit along
        same = parse_length(text, job_unit, graduation_mm=graduation_mm).exact == length.exact
    except LengthError:
        same = False
    return text if same else f"{text} {unit}"


def _not_typed(value: object) -> str:
    """Return what a spreadsheet made of a reading that was typed, empty where it is a text or a number."""
    if isinstance(value, Formula):
        return f"holds the formula {value.text[:40]!r}: paste what was read as text, a reading is never worked out"
    if isinstance(value, datetime | date):
        return _became_date(f"{value:%d %B %Y}")
    if isinstance(value, time | timedelta):
        return f"the spreadsheet made a time of day of it ({value}): set the cell to text and type it again"
    return "holds true or false: type the reading" if isinstance(value, bool) else ""


def _became_date(shown: str) -> str:
    return (
        f"the spreadsheet turned a fraction into a date ({shown}), as it does with 3/8: set the cell to text, "
        "then type the reading again"
    )


def _text(value: object, key: str) -> str:
    """Return a fact's text; LengthError where it cannot be used, as with lengths."""
    if isinstance(value, Formula):
        raise LengthError(f"holds the formula {value.text[:40]!r}: paste it as text")
    if isinstance(value, datetime | date | time | timedelta):
        raise LengthError(
            f"the spreadsheet made a date or time of it ({value}): set the cell to text and type it again"
        )
    text = " ".join((value.removeprefix("'") if isinstance(value, str) else _number_text(value)).split())
    if not text.isprintable() or len(text) > (100 if key == "label" else 1000):
        raise LengthError("is too long, or holds characters that cannot be printed")
    if key == "wall" and text.lower() not in get_args(Wall):
        raise LengthError(f"{text[:40]!r} is no kind of wall: {', '.join(get_args(Wall))}")
    if key == "quantity" and not (text.isascii() and text.isdigit() and len(text) < 6 and 1 <= int(text) <= 10_000):
        raise LengthError(f"{text[:40]!r} is no number of pieces: 1 to 10000")
    return text.lower() if key == "wall" else text


def _number_text(value: object) -> str:
    """Return a number as a person would type it: 54.0 as 54."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)
