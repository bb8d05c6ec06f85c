"""Readings from spreadsheets. Oracle of XLSX: openpyxl, which writes the files; of CSV: the standard library."""

import csv
import io
import zipfile
from datetime import datetime

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from sizing.errors import InputError
from sizing.intake.spreadsheet import HEADINGS, LENGTHS, column_of, put_rows, read_readings
from sizing.intake.spreadsheet_cells import MOST_BYTES, read_cells
from sizing.intake.spreadsheet_export import readings_csv, readings_xlsx, template_csv, template_xlsx


def xlsx(rows):
    book = Workbook()
    for row in rows:
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def as_csv(*lines):
    return "\n".join(lines).encode()


def problems(data, unit="in"):
    return [str(p) for p in read_readings(data, "crew.xlsx", unit).problems]


def test_columns_are_known_by_name_in_any_order_and_the_others_are_named():
    found = read_readings(as_csv("Colour,Bottom width,W. top,Window no.,H left", "red,36,35 7/8,W1,46"), "a.csv", "in")
    (row,) = found.rows
    assert (row.label, row.lengths) == ("W1", {"width.bottom": "36", "width.top": "35 7/8", "height.left": "46"})
    assert found.unused == ("A1 'Colour'",)
    assert found.problems == ()


def test_lines_above_the_heading_are_passed_over():
    found = read_readings(as_csv("Survey of May,", ",", "Opening;x,", "Opening,Width top", "W1,36"), "a.csv", "in")
    assert found.rows[0].lengths == {"width.top": "36"}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_csv_of_any_office_program_is_read(encoding, separator):
    data = f"Opening{separator}Width top\r\nW1{separator}35¾\r\n".encode(encoding)
    assert read_readings(data, "a.csv", "in").rows[0].lengths == {"width.top": "35¾"}


def test_a_fraction_that_became_a_date_is_said_with_its_cell():
    # Typing 3/8 into a cell that is not text gives 3 August or 8 March of this year, in every common spreadsheet.
    data = xlsx([["Opening", "Width top", "Width middle"], ["W1", datetime(2026, 8, 3), "36"]])
    assert problems(data) == [
        "B2 (Width top): the spreadsheet turned a fraction into a date (03 August 2026), as it does with 3/8: set the "
        "cell to text, then type the reading again"
    ]


@pytest.mark.parametrize("text", ["3-Aug", "Aug-03", "03.08.2026", "8/3/2026", "2026-08-03", "2026-08-03 00:00:00"])
def test_dates_in_csv_are_told_from_fractions(text):
    assert "turned a fraction into a date" in problems(as_csv("Opening,Width top", f"W1,{text}"))[0]


def test_every_fault_is_named_by_its_cell_and_all_at_once():
    data = xlsx(
        [
            ["Opening", "Width top", "Height left", "Wall", "Quantity"],
            ["W1", "54 3", "=B2+1", "straw", 0],
            ["W1", True, "#VALUE!", "masonry", 2],
            ["", "36", None, None, None],
        ]
    )
    said = problems(data)
    starts = ["B2 (Width top)", "C2 (Height left)", "D2 (Wall)", "E2 (Quantity)", "B3 (Width top)", "C3 (Height left)"]
    assert [s.partition(": ")[0] for s in said] == [*starts, "row 4", "row 3"]
    assert "formula '=B2+1'" in said[1]
    assert "stands in row 2 too" in said[-1]


def test_a_unit_in_the_heading_goes_with_its_bare_numbers():
    found = read_readings(as_csv("Opening,Width top (mm),Height left", "W1,1381,54 3/8"), "a.csv", "in")
    assert found.rows[0].lengths == {"width.top": "1381 mm", "height.left": "54 3/8"}


def test_numbers_are_taken_as_a_person_would_type_them():
    (row,) = read_readings(xlsx([["Opening", "Width top", "Height left"], [101, 54.0, 54.375]]), "a", "in").rows
    assert (row.label, row.lengths) == ("101", {"width.top": "54", "height.left": "54.375"})


def test_two_columns_of_one_meaning_are_refused():
    assert "a second column for 'Width top'" in problems(as_csv("Opening,Width top,Top width", "W1,36,36"))[0]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"x" * (MOST_BYTES + 1), "more than 5 MB"),
        (b"", "nothing in it"),
        (b"\xd0\xcf\x11\xe0" + b"x" * 100, "an old .xls"),
        (b"PK\x03\x04" + b"x" * 100, "damaged"),
        (b"\x00\x01\x02\x03" * 50, "neither CSV nor XLSX"),
        (b"a,b\nW1,36", "no row has the headings"),
        (b'Opening,Width top\n"W1,36', "near line 2"),
        (b"Opening,Width top\n" + b"W1,36\n" * 1001, "more than 1000 rows"),
        (b"Opening,Width top" + b",x" * 70, "more than 60 columns"),
    ],
)
def test_what_is_no_sheet_of_readings_is_refused_in_one_line(data, says):
    with pytest.raises(InputError, match=says):
        read_readings(data, "a.xlsx", "in")


def test_a_zip_bomb_is_refused_before_it_is_unpacked():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 80_000_000)
    assert len(stream.getvalue()) < 200_000
    with pytest.raises(InputError, match="unpacks to far more"):
        read_cells(stream.getvalue(), "a.xlsx")


def test_entities_in_xml_are_not_expanded():
    good = xlsx([["Opening", "Width top"], ["W1", "36"]])
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(stream, "w") as new:
        for part in old.infolist():
            data = old.read(part)
            if part.filename.endswith("sheet1.xml"):
                data = b'<!DOCTYPE x [<!ENTITY a "36">]>' + data
            new.writestr(part.filename, data)
    with pytest.raises(InputError, match="damaged, or no XLSX"):
        read_cells(stream.getvalue(), "a.xlsx")


def test_length_cells_of_the_template_are_text_and_all_its_columns_are_known():
    sheet = load_workbook(io.BytesIO(template_xlsx("in"))).active
    assert {sheet.cell(2, j).number_format for j in range(1, len(HEADINGS) + 1)} == {"@"}
    for heading in next(csv.reader(io.StringIO(template_csv("mm").decode("utf-8-sig")))):
        key, unit = column_of(heading)
        assert unit == ("mm" if key in LENGTHS else None)


HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("x")', "\t=1", "a;=b", "'=1"]


@pytest.mark.parametrize("note", HOSTILE)
def test_no_cell_of_an_export_is_a_formula(note):
    table = {"label": note.strip("\t"), "note": note, "width": {"top": "36"}}
    for row in csv.reader(io.StringIO(readings_csv([table], "in").decode("utf-8-sig"))):
        assert not any(cell.lstrip().startswith(("=", "+", "-", "@")) for cell in row)
    sheet = load_workbook(io.BytesIO(readings_xlsx([table], "in"))).active
    assert {c.data_type for row in sheet.iter_rows() for c in row} <= {"s", "n"}


LENGTH_TEXTS = st.sampled_from(["54 3/8", "54 3/8 strong", "4' 6 3/8\"", "1381 mm", "54⅜", "54.375 in", ""])


@settings(deadline=None, max_examples=25)
@given(st.lists(st.dictionaries(st.sampled_from(sorted(LENGTHS)), LENGTH_TEXTS), min_size=1, max_size=5))
def test_what_is_exported_comes_back_the_same(rows):
    tables = []
    for i, row in enumerate(rows):
        table = {"label": f"W{i}", "width": {"top": "36"}}
        for key, text in row.items():
            group, box = key.split(".")
            if text:
                table.setdefault(group, {})[box] = text
        tables.append(table)
    for data in (readings_csv(tables, "in"), readings_xlsx(tables, "in")):
        found = read_readings(data, "a", "in")
        assert found.problems == ()
        document = tomlkit.parse('[job]\nid = "x"\nunits = "in"\n')
        put_rows(document, found.rows, "masonry")
        assert document.unwrap()["opening"] == [{"wall": "masonry", **table} for table in tables]


def test_rows_replace_what_they_fill_and_leave_the_rest():
    document = tomlkit.parse(
        '[[opening]]\nlabel = "W1"\nwall = "siding"\n[opening.width]\ntop = "36" # twice\nbottom = "37"\n'
    )
    rows = read_readings(as_csv("Opening,Width top,Width bottom", "W1,36,38", "W2,40,"), "a", "in").rows
    put_rows(document, rows, "render")
    assert 'top = "36" # twice\nbottom = "38"' in tomlkit.dumps(document)
    assert document.unwrap()["opening"][1] == {"label": "W2", "wall": "render", "width": {"top": "40"}}
