"""Facts about an order typed elsewhere. Oracle: the order of the job, by hand; real files."""

import errno
import json
import os
from pathlib import Path

import pytest

from sizing.cli import run
from sizing.errors import InputError
from sizing.exits import Exit
from sizing.release.against import read_typed

JOB = """[job]
id = "harbor-114"
units = "in"
[[opening]]
label = "W1"
wall = "masonry"
ordered = { width = "55 3/8", height = "62 1/8" }
width = { top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }
height = { left = "60 1/8", middle = "60 1/8", right = "60 1/8" }
"""


@pytest.fixture
def against(tmp_path, capsys):
    (tmp_path / "job.toml").write_text(JOB)

    def check(table, encoding="utf-8"):
        (tmp_path / "order.csv").write_bytes(table.encode(encoding))
        words = ["check", str(tmp_path), "--against", str(tmp_path / "order.csv"), "--json", "--no-pictures"]
        status = run(words)
        said = capsys.readouterr()
        if not said.out:
            return status, said.err, []
        document = json.loads(said.out)["jobs"][0]
        found = [d["code"] for d in document["openings"][0]["against"] + document["against"]]
        return status, document, found

    return check


@pytest.mark.parametrize(
    "table",
    [
        "opening,width,height\nW1,55 3/8,62 1/8\n",
        "Opening;Width (mm);Height [mm];Qty\r\nW1;1406,525;1577,975;1\r\n",
        "W\tHeight\tLabel\tnote\n4' 7 3/8\"\t62.125 in\tW1\tx\n",
        "opening,width_mm,height_mm\nW1,1407,1578\n",  # rounded to whole mm
    ],
)
def test_the_same_order_in_any_table_leaves_the_verdict(against, table):
    status, document, found = against(table)
    assert found == []
    assert status == Exit.UNPROVEN  # no photo: as without the table
    assert document["openings"][0]["verdict"] == "unproven"


@pytest.mark.parametrize(
    ("table", "codes"),
    [
        ("opening,width,height\nW1,56 3/8,62 1/8\n", ["typed-width"]),
        ("opening,width,height\nW1,55 3/8,62\n", ["typed-height"]),
        ("opening,width,height\nW1,55,62 1/8\n", ["typed-width"]),  # whole inches are no rounding
        ("opening,width_mm,height_mm\nW1,1408,1578\n", ["typed-width"]),
        ("opening,width,height,quantity\nW1,55 3/8,62 1/8,2\n", ["typed-quantity"]),
        ("opening,width,height\nW1,62 1/8,55 3/8\n", ["typed-width", "typed-height"]),
        ("opening,width,height\nW1,55 3/8,62 1/8\nW1,55 3/8,62 1/8\n", ["typed-twice"]),
        ("opening,width,height\n", ["typed-missing"]),
        ("opening,width,height\nW1,55 3/8,62 1/8\nW7,1,1\n", ["typed-unknown-opening"]),
        ("opening,width,height\nW1,55 3,62 1/8\n", ["typed-unreadable"]),
        ("opening,width,height\nW1,,62 1/8\n", ["typed-unreadable"]),
        ("opening,width,height\nW1\n", ["typed-unreadable"] * 2),
        ("opening,width,height,qty\nW1,55 3/8,62 1/8,two\n", ["typed-unreadable"]),
    ],
)
def test_every_difference_is_named_and_holds(against, table, codes):
    status, document, found = against(table)
    assert found == codes
    assert status == Exit.HOLD
    assert document["verdict"] == "hold"


def test_a_cell_that_cannot_be_read_is_named_as_spreadsheets_name_it(against):
    _, document, _ = against("note,opening,width,height\n,W1,55 3/8,62 x\n")
    assert "row 2, column height (D2)" in document["openings"][0]["against"][0]["says"]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("", "no column named opening, width, height"),
        ("opening,width\nW1,1\n", "no column named height"),
        ("opening,width,w,height\n", "stands twice"),
        ('opening,width,height\n"W1,1,1\n', "no CSV"),
    ],
)
def test_a_table_that_is_no_order_is_refused_in_one_line(against, table, said):
    status, err, _ = against(table)
    assert status == Exit.UNREADABLE
    assert said in err
    assert len(err.strip().splitlines()) == 1


def test_a_table_that_is_not_utf8_or_not_there_is_refused(against, tmp_path):
    status, err, _ = against("opening,width,height\nW\xe91,1,1\n", encoding="latin-1")
    assert status == Exit.UNREADABLE
    assert "line 2: is not UTF-8" in err
    with pytest.raises(InputError, match="no such file"):
        read_typed(tmp_path / "none.csv", "in")


def test_a_release_of_our_own_is_the_same_order(against, tmp_path, capsys):
    (tmp_path / "job.toml").write_text(JOB)
    words = ["--opening", "W1", "--by", "desk", "--reason", "r", "--override", "--accept-risk", "none"]
    assert run(["decide", str(tmp_path), *words]) == Exit.DONE
    assert run(["release", str(tmp_path)]) == Exit.DONE
    (table,) = tmp_path.rglob("release.csv")
    capsys.readouterr()
    _, _, found = against(table.read_text(encoding="utf-8-sig"))
    assert found == []


def test_an_opening_held_by_the_typed_order_alone_says_where_its_reason_stands(tmp_path, capsys):
    (tmp_path / "job.toml").write_text(JOB)
    (tmp_path / "order.csv").write_text("opening,width,height\nW1,56 3/8,62 1/8\n")
    run(["check", str(tmp_path), "--against", str(tmp_path / "order.csv"), "--no-pictures"])
    said = capsys.readouterr().out
    assert "The typed order is not the job's: see the end of this job." in said
    assert "W1: Row 2: the width typed is 56 3/8 in" in said


@pytest.mark.parametrize(
    ("drop", "codes"),
    [
        ('ordered = { width = "55 3/8", height = "62 1/8" }\n', ["typed-without-order", "typed-without-order"]),
        ('height = "62 1/8" }', ["typed-without-order"]),
    ],
)
def test_a_typed_size_without_an_ordered_one_is_said_with_the_remedy(against, tmp_path, drop, codes):
    (tmp_path / "job.toml").write_text(JOB.replace(drop, "}" if drop.endswith("}") else "").replace(", }", " }"))
    status, document, found = against("opening,width,height\nW1,55 3/8,62 1/8\n")
    assert (status, found) == (Exit.HOLD, codes)
    assert "give [opening.ordered] or a rule" in document["openings"][0]["against"][0]["says"]


def test_a_typed_order_adds_to_the_reasons_of_an_opening_that_is_held_already(against, tmp_path):
    (tmp_path / "job.toml").write_text(JOB.replace('wall = "masonry"\n', 'wall = "masonry"\nrule = "none-such"\n'))
    same, differs = (against(f"opening,width,height\nW1,{width},62 1/8\n") for width in ("55 3/8", "56 3/8"))
    assert (same[0], same[2]) == (Exit.HOLD, [])
    assert (differs[0], differs[2]) == (Exit.HOLD, ["typed-width"])


def test_a_table_beyond_what_an_order_holds_is_refused_with_its_limit(tmp_path):
    table = tmp_path / "order.csv"
    table.write_text("opening,width,height\n" + "W1,1,1\n" * 20_000)
    with pytest.raises(InputError, match="more than 20000 rows: give the order of these jobs only"):
        read_typed(table, "in")
    table.write_bytes(b"opening,width,height\n" + b" " * 5_000_000)
    with pytest.raises(InputError, match="over 5 MB"):
        read_typed(table, "in")
    table.write_text('opening,width,height\n"W1"x,1,1\n')
    with pytest.raises(InputError, match="is no CSV"):
        read_typed(table, "in")
    with pytest.raises(InputError, match="no such file"):
        read_typed(tmp_path, "in")


def test_a_table_that_may_not_be_read_is_refused_with_the_reason(tmp_path, monkeypatch):
    def denied(*_, **__):  # the superuser may read anything
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    (tmp_path / "order.csv").write_text("opening,width,height\n")
    monkeypatch.setattr(Path, "open", denied)
    with pytest.raises(InputError, match="Permission denied"):
        read_typed(tmp_path / "order.csv", "in")


def test_differences_of_a_job_that_could_not_be_read_are_none(tmp_path, capsys):
    (tmp_path / "order.csv").write_text("opening,width,height\nW1,1,1\n")
    (tmp_path / "job.toml").write_text("[job]\n")
    words = ["check", str(tmp_path), "--against", str(tmp_path / "order.csv"), "--no-pictures"]
    assert run([*words, "--json"]) == Exit.UNREADABLE
    (job,) = json.loads(capsys.readouterr().out)["jobs"]
    assert "against" not in job
    assert run(words) == Exit.UNREADABLE
    assert "is the same" not in capsys.readouterr().out
