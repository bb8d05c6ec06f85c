"""What the desk refuses of spreadsheets, and says of them, over its real application."""

import csv
import json
import re

import pytest

from sizing.desk.intake_import import read_task
from tests.desk_jobs import job, served

SHEET = {"file": ("crew.csv", b"Opening,Width top\nW1,36\n")}


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        job(client, "broken", "[job\n")
        yield client


def jobs(desk):
    return {p.name: (p / "job.toml").read_text() for p in desk.root.iterdir()}


@pytest.mark.parametrize(
    ("data", "files", "says"),
    [
        ({"new": "larch"}, None, "choose a spreadsheet first"),
        ({"new": "larch"}, {"file": ("", b"")}, "choose a spreadsheet first"),
        ({}, SHEET, "choose a job, or name a new one"),
        ({"job": "broken"}, SHEET, "broken: the job file cannot be used; its page says why"),
    ],
)
def test_without_a_spreadsheet_or_a_job_nothing_is_read_and_the_form_says_so(desk, data, files, says):
    before = jobs(desk)
    answer = desk.post("/import", data=data, files=files or {"none": b""})
    assert answer.status_code == 400
    assert "Nothing was read in" in answer.text
    assert says in answer.text
    assert jobs(desk) == before


def test_a_file_that_is_no_spreadsheet_is_named_with_its_fault(desk):
    answer = desk.post("/import", data={"new": "larch"}, files={"file": ("crew.xlsx", b"PK\x03\x04" + b"\0" * 500)})
    assert "crew.xlsx" in answer.text
    assert "/import/confirm" not in answer.text
    assert not (desk.root / "larch").exists()


def test_a_fault_of_the_whole_file_is_a_fault_of_its_readings():
    found = read_task(b"PK\x03\x04" + b"\0" * 500, "crew.xlsx", "in", None, say=print)
    assert found.rows == ()
    assert [p.where for p in found.problems] == ["crew.xlsx"]
    good = read_task(SHEET["file"][1], "crew.csv", "in", None, say=print)
    assert [(row.label, dict(row.lengths)) for row in good.rows] == [("W1", {"width.top": "36"})]
    assert good.problems == ()


def test_where_the_program_that_reads_it_ends_the_form_says_so(tmp_path):
    with served(tmp_path) as desk:
        desk.app.app.state.desk.decoder.close()
        answer = desk.post("/import", data={"new": "larch"}, files=SHEET)
    assert answer.status_code == 400
    assert "crew.csv: the desk was ended" in answer.text
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "rows",
    [
        "",
        "{",
        "3",
        "[3]",
        '[["one","W1",{},{}]]',
        '[[1,"W1",[],{}]]',
        '[[1,"W1",{"width.top":"soon"},{}]]',
        '[[1,"W1",{},{"quantity":"some"}]]',
        '[[1,"W1",{},{"id":"x"}]]',
        "[" * 100_000,
    ],
)
def test_rows_that_came_back_damaged_make_no_job(desk, rows):
    before = jobs(desk)
    answer = desk.post("/import/confirm", data={"new": "larch", "units": "in", "wall": "masonry", "rows": rows})
    assert answer.status_code == 400
    assert "is damaged: read the spreadsheet in again" in answer.text
    assert jobs(desk) == before


def test_the_readings_of_a_broken_job_are_not_exported(desk):
    for kind in ("csv", "xlsx"):
        answer = desk.get(f"/job/broken/readings.{kind}")
        assert answer.status_code == 400
        assert "the job file cannot be used; its page says why" in answer.text


def test_the_template_as_csv_says_its_unit_and_can_be_read_in_as_it_is(desk):
    for unit, text in (("mm", "914"), ("in", "36")):
        answer = desk.get(f"/import/template.csv?units={unit}")
        assert answer.headers["content-disposition"] == 'attachment; filename="readings-template.csv"'
        (heads, *_) = csv.reader(answer.text.lstrip("\ufeff").splitlines())
        assert f"Width top ({unit})" in heads
        cells = {"Opening": "W1", f"Width top ({unit})": text}
        filled = "\n".join([",".join(heads), ",".join(cells.get(head, "") for head in heads)]).encode()
        shown = desk.post("/import", data={"new": "larch", "units": unit}, files={"file": ("t.csv", filled)})
        rows = re.search(r'name="rows" value="([^"]*)"', shown.text)[1].replace("&#34;", '"')
        assert json.loads(rows)[0][1:3] == ["W1", {"width.top": text}]
