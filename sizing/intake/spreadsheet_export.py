"""Spreadsheets that the tool writes: the template to fill in, and a job's readings; no cell of them is a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sizing.intake.spreadsheet import HEADINGS, LENGTHS
from sizing.jobs.edits import BOXES
from sizing.safe_cell import safe_cell
from sizing.units import Unit

_TEXT = "@"  # number format of a text cell, ISO/IEC 29500-1, 18.8.30 (id 49): 3/8 stays 3/8
_EMPTY_ROWS = 200
_WIDE = 14


def template_csv(unit: Unit) -> bytes:
    """Return the template as CSV: the headings alone, lengths in the job's unit."""
    return _csv([_headings(unit)])


def template_xlsx(unit: Unit) -> bytes:
    """Return the template as XLSX: headings, and rows whose cells are preset as text."""
    return _xlsx([_headings(unit)], _EMPTY_ROWS)


def readings_csv(openings: Iterable[Mapping[str, Any]], unit: Unit) -> bytes:
    """Return the readings of a job's openings (tables of its file) as CSV that can be read in again."""
    return _csv([_headings(unit), *(_row(table) for table in openings)])


def readings_xlsx(openings: Iterable[Mapping[str, Any]], unit: Unit) -> bytes:
    """Return the readings of a job's openings (tables of its file) as XLSX that can be read in again."""
    return _xlsx([_headings(unit), *(_row(table) for table in openings)], 0)


def _headings(unit: Unit) -> list[str]:
    return [f"{words} ({unit})" if key in LENGTHS else words for key, words in HEADINGS.items()]


def _row(table: Mapping[str, Any]) -> list[str]:
    values = {key: str(table.get(key, "")) for key in HEADINGS if "." not in key}
    for group, boxes in (*BOXES.items(), ("ordered", ("width", "height"))):
        for box in boxes:
            values[f"{group}.{box}"] = str(table.get(group, {}).get(box, ""))
    return [values[key] for key in HEADINGS]


def _csv(rows: Sequence[Sequence[str]]) -> bytes:
    stream = io.StringIO()
    writer = csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    for row in rows:
        writer.writerow([safe_cell(text) for text in row])
    return stream.getvalue().encode("utf-8-sig")


def _xlsx(rows: Sequence[Sequence[str]], empty: int) -> bytes:
    from openpyxl import Workbook
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Readings"
    for i, row in enumerate([*rows, *([[""] * len(HEADINGS)] * empty)], 1):
        for j, text in enumerate(row, 1):
            cell = sheet.cell(i, j)
            if text:
                cell.value = "".join(c for c in text if c.isprintable())
                cell.data_type = "s"  # also what looks like a formula
            cell.number_format = _TEXT
            if i == 1:
                cell.font = Font(bold=True)
    sheet.freeze_panes = "B2"
    for j in range(1, len(HEADINGS) + 1):
        sheet.column_dimensions[get_column_letter(j)].width = _WIDE
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()
