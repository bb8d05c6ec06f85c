"""Cells of a CSV or XLSX file as they stand, within limits; nothing is understood here.

Spreadsheets come from anywhere: an XLSX is a ZIP of XML, so its unpacked size is bounded before anything is unpacked,
XML without entities is read by defusedxml, and no formula is worked out.
"""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from sizing.errors import InputError, Problem

MOST_BYTES = 5_000_000
# A job has at most 200 openings (contract, *Limits*); a heading, and some lines that people write above it.
MOST_ROWS, MOST_COLUMNS = 1000, 60
# Guess: 1000 rows of text unpack to less than 2 MB; styles and themes to a few more.
_MOST_UNPACKED, _MOST_PARTS = 60_000_000, 500
_SEPARATORS = ",;\t|"
_XLSX, _OLD_XLS = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"

Value = str | int | float | bool | datetime | date | time | timedelta | None


@dataclass(frozen=True, slots=True)
class Formula:
    """A cell that holds a formula, as written."""

    text: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its place as spreadsheets name it (`B3`), and what stands in it."""

    place: str
    value: Value | Formula


def read_cells(data: bytes, name: str) -> tuple[tuple[Cell, ...], ...]:
    """Return the cells of a CSV or of the first sheet of an XLSX, row by row, without rows that are empty.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        Its name, for messages; what it is, is told from its first bytes.

    Raises
    ------
    InputError
        Too large, no CSV or XLSX, damaged, or unpacking to more than a spreadsheet of readings does.
    """
    shown = name[:80] or "the file"
    if len(data) > MOST_BYTES:
        raise _refused(shown, f"more than {MOST_BYTES // 1_000_000} MB: keep only the sheet with the readings")
    if data.startswith(_OLD_XLS):
        raise _refused(shown, "an old .xls, or locked with a password: save it as .xlsx or .csv without one")
    rows = _xlsx(data, shown) if data.startswith(_XLSX) else _csv(data, shown)
    kept = tuple(row for row in rows if any(cell.value not in (None, "") for cell in row))
    if not kept:
        raise _refused(shown, "there is nothing in it")
    return kept


def column_letters(index: int) -> str:
    """Return the letters of a column counted from 0.

    Examples
    --------
    >>> column_letters(0), column_letters(25), column_letters(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def _refused(name: str, says: str) -> InputError:
    return InputError("spreadsheet", [Problem(name, says)])


def _row(number: int, values: list[Value | Formula]) -> tuple[Cell, ...]:
    return tuple(Cell(f"{column_letters(i)}{number}", value) for i, value in enumerate(values))


def _csv(data: bytes, name: str) -> list[tuple[Cell, ...]]:
    text = _text(data, name)
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(_SEPARATORS, key=first.count)
    rows: list[tuple[Cell, ...]] = []
    try:
        for number, fields in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True), 1):
            _check_size(number, len(fields), name)
            rows.append(_row(number, [field.strip() for field in fields]))
    except csv.Error as error:
        raise _refused(name, f"cannot be read as CSV near line {len(rows) + 1}: {error}") from None
    return rows


def _text(data: bytes, name: str) -> str:
    """Return the text of a CSV: UTF-8, UTF-16 with its mark, else as Windows programs of the West write it."""
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("cp1252", "replace")
    if "\0" in text or text.count("�") > 3:
        raise _refused(name, "neither CSV nor XLSX: save the sheet as one of them")
    return text


def _xlsx(data: bytes, name: str) -> list[tuple[Cell, ...]]:
    import warnings

    _check_unpacked(data, name)
    from openpyxl import load_workbook
    from openpyxl.cell import ReadOnlyCell

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        try:
            rows: list[tuple[Cell, ...]] = []
            sheet = book.worksheets[0]
            for number, cells in enumerate(sheet.iter_rows(max_row=MOST_ROWS + 1, max_col=MOST_COLUMNS + 1), 1):
                values: list[Value | Formula] = []
                for cell in cells:
                    formula = isinstance(cell, ReadOnlyCell) and cell.data_type == "f"
                    values.append(Formula(str(cell.value)) if formula else _plain(cell.value))
                while values and values[-1] in (None, ""):
                    values.pop()
                _check_size(number if values else 1, len(values), name)
                rows.append(_row(number, values))
            return rows
        finally:
            book.close()
    except InputError:
        raise
    except Exception as error:  # whatever a parser makes of a damaged file
        raise _refused(name, f"damaged, or no XLSX ({type(error).__name__}): save it anew, or as CSV") from None


def _plain(value: object) -> Value:
    known = value is None or isinstance(value, str | int | float | bool | datetime | date | time | timedelta)
    return value if known else str(value)  # type: ignore[return-value]  # as just checked


def _check_unpacked(data: bytes, name: str) -> None:
    """Refuse an archive that would unpack to more than any sheet of readings; sizes as declared bound what is read."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        raise _refused(name, "damaged: save it anew, or as CSV") from None
    if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts) > _MOST_UNPACKED:
        raise _refused(name, "unpacks to far more than readings take: copy the cells into a new sheet")


def _check_size(number: int, columns: int, name: str) -> None:
    if number > MOST_ROWS:
        raise _refused(name, f"more than {MOST_ROWS} rows: one row an opening, at most 200 of them in a job")
    if columns > MOST_COLUMNS:
        raise _refused(name, f"more than {MOST_COLUMNS} columns: keep those with readings")
