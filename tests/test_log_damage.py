"""Facts about damaged files of the log. Oracle: contract.md, *Commands*: one clear line with the remedy, no trace.

The files are real ones of SQLite, damaged in the bytes; its documentation says what the bytes are (*Database File
Format*: definitions of tables stand in it as text).
"""

import os
import sqlite3
import time

import pytest

from sizing.cli import run
from sizing.exits import Exit

JOB = """[job]
id = "harbor-114"
units = "in"
measured_by = "crew 2"
[[opening]]
label = "W1"
wall = "masonry"
width = { top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }
"""
SHOWN = (["list"], ["show", "harbor-114"], ["people"], ["export", "x.csv"])


@pytest.fixture
def log(tmp_path, monkeypatch, capsys):
    """Return the log's file after one check; all of it is in the file itself."""
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "jobs" / "harbor").mkdir(parents=True)
    (tmp_path / "jobs" / "harbor" / "job.toml").write_text(JOB)
    run(["check", "--no-pictures", "jobs/harbor"])
    file = tmp_path / "data" / "log.sqlite"
    with sqlite3.connect(file) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    capsys.readouterr()
    return file


def refused(capsys, file, fact):
    """Every command of the log says one line with the remedy; a check warns and stands; a rebuild brings all back."""
    for words in SHOWN:
        assert run(["log", *words]) == Exit.UNREADABLE, words
        (line,) = capsys.readouterr().err.splitlines()
        assert fact in line
        assert line.startswith(f"{file}: ")
        assert "`secondtape log rebuild FOLDER`" in line
    assert run(["check", "--no-pictures", "--quiet", "jobs/harbor"]) == Exit.UNPROVEN
    (line,) = capsys.readouterr().err.splitlines()
    assert "Not in the log: " in line
    assert "`secondtape log rebuild FOLDER`" in line
    assert run(["log", "rebuild", "jobs"]) == Exit.DONE
    assert "set aside" in capsys.readouterr().err
    for words in SHOWN:
        assert run(["log", *words]) == Exit.DONE, words
    assert "harbor-114" in capsys.readouterr().out


DEFINITIONS = {
    "a column less": (b"photo_mm REAL,\n        difference_mm", b"              \n        difference_mm"),
    "a column of another name": (b"label TEXT NOT NULL,", b"lobel TEXT NOT NULL,"),
    "a column of another type": (b"tape_mm REAL NOT NULL", b"tape_mm TEXT NOT NULL"),
    "a table less": (b"CREATE TABLE codes", b"CREATE TABLE c\xf6des"),
    "no definition": (b"CREATE TABLE readings", b"CREATF TABLE readings"),
}


@pytest.mark.parametrize(("was", "now"), DEFINITIONS.values(), ids=DEFINITIONS)
def test_a_damaged_definition_of_a_table_is_one_line_and_a_rebuild_mends_it(log, capsys, was, now):
    """Found: a column less ended `log show` with a trace, one of another name survived every rebuild."""
    data = log.read_bytes()
    assert data.count(was) >= 1
    log.write_bytes(data.replace(was, now))
    refused(capsys, log, "the log cannot be used (")


def test_a_row_of_other_types_is_one_line_and_a_rebuild_mends_it(log, capsys):
    """A row whose header says NULL (*Record Format*: serial type 0) where the column may hold none."""
    data = log.read_bytes()
    at = data.index(b"harbor-114")
    # the job's id is a text of 10 characters: serial type 13 + 2 * 10
    header = data.rindex(bytes([13 + 2 * 10]), at - 400, at)
    log.write_bytes(data[:header] + b"\0" + data[header + 1 :])
    refused(capsys, log, "the file is damaged")


def test_a_version_set_back_is_one_line_and_a_rebuild_mends_it(log, capsys):
    with sqlite3.connect(log) as connection:
        connection.execute("PRAGMA user_version = 1")
    connection.close()
    refused(capsys, log, "already exists")


def test_a_file_cut_to_nothing_is_no_new_log(log, capsys):
    """Found: what it had held was lost without a word."""
    log.write_bytes(b"")
    os.utime(log, (time.time() - 60,) * 2)
    refused(capsys, log, "the file is empty: it was cut off")


def test_a_file_that_another_process_is_just_making_is_a_new_log(log, capsys):
    log.write_bytes(b"")
    assert run(["check", "--no-pictures", "--quiet", "jobs/harbor"]) == Exit.UNPROVEN
    assert capsys.readouterr().err == ""
    assert run(["log", "show", "harbor-114"]) == Exit.DONE


def test_a_name_with_a_hole_in_a_damaged_file_ends_nothing(log, capsys):
    """Found: a NUL in the path of a job ended every command of the log, `rebuild` too, with a trace."""
    log.write_bytes(log.read_bytes().replace(b"jobs/harbor", b"jobs/h\0rbor"))
    for words in SHOWN:
        assert run(["log", *words]) == Exit.DONE, words
    assert run(["log", "rebuild", "jobs"]) == Exit.DONE
    capsys.readouterr()
    run(["log", "list", "--json"])
    assert capsys.readouterr().out.count('"harbor-114"') == 1
