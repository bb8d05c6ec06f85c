"""Facts about the command `log`, run as people run it. Oracle: contract.md, *Commands*."""

import csv
import json
import re
import shutil

import pytest

from sizing.cli import run
from sizing.exits import Exit
from sizing.log.again import held_to
from sizing.runs.runfolder import run_id

JOB = """
[job]
id = "harbor-114"
units = "in"
measured_by = "crew 2"
measured_on = 2026-05-04
tape = "class-2"
[[opening]]
label = "W1"
wall = "masonry"
width = { top = "54 3/8", middle = "54 1/4", bottom = "54 3/8" }
height = { left = "60", middle = "60 1/8", right = "60 1/8" }
"""


@pytest.fixture
def job(tmp_path, monkeypatch):
    """A job without photos, checked once; the log in a folder of its own."""
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    folder = tmp_path / "jobs" / "harbor-114"
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text(JOB)
    run(["check", str(folder), "--no-pictures"])
    return folder


def answer(capsys, *words):
    capsys.readouterr()
    status = run(["log", *words])
    said = capsys.readouterr()
    return status, said.out, said.err


def test_a_check_is_listed_by_day_job_verdict_and_who_measured(job, capsys):
    for words in ((), ("list",), ("list", "--by", "CREW", "--since", "2026-05-04", "--verdict", "unproven")):
        status, out, err = answer(capsys, *words)
        assert (status, err) == (Exit.DONE, "")
        assert all(text in out for text in ("harbor-114", "2026-05-04", "cannot be told", "crew 2"))
        assert not any(code in out for code in ("unproven", "hold", "send"))  # words, as `check` has them
    assert "No check" in answer(capsys, "list", "--verdict", "hold")[1]


def test_json_is_one_document(job, capsys):
    for words in (("list",), ("show", "harbor-114"), ("people",), ("again", "harbor-114")):
        status, out, _ = answer(capsys, *words, "--json")
        assert status == Exit.DONE
        assert json.loads(out)["schema"] == "secondtape/log/1"


def test_a_decision_shows_in_the_log_at_once(job, capsys):
    run(["decide", str(job), "--opening", "W1", "--hold", "--by", "office", "--reason", "ask the crew", "--quiet"])
    _, out, _ = answer(capsys, "show", "harbor-114")
    assert re.search(r"office decided on .* UTC: stopped \(ask the crew\)", out)  # as `check` says it
    assert "hold" not in out
    _, out, _ = answer(capsys, "show", "harbor-114", "--codes")
    assert re.search(r"P-\S+ decided on .*: stopped", out)
    assert not any(secret in out for secret in ("crew 2", "office", "ask the crew"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("list", "--since", "yesterday"), "2026-05-04"),
        (("list", "--verdict", "good"), "send, hold, unproven"),
        (("people", "--per", "shoe"), "measurer, tape, both, day"),
        (("people", "--units", "ft"), "in, mm"),
        (("show", "nothing"), "secondtape log list"),
        (("again", "nothing"), "secondtape log list"),
        (("export", "log.txt"), ".csv or .json"),
        (("export", "no/such/folder/log.csv"), "cannot be written"),
        (("export", "no/such/folder/log.csv"), "name another file, like log export may.csv"),
        (("rebuild", "no/such/folder"), "no such folder"),
    ],
)
def test_bad_usage_is_one_line_with_the_remedy(job, capsys, monkeypatch, tmp_path, words, says):
    monkeypatch.chdir(tmp_path)
    status, out, err = answer(capsys, *words)
    assert (status, out) == (Exit.USAGE, "")
    assert says in err
    assert len(err.splitlines()) == 1


def test_a_damaged_log_is_one_line_and_a_rebuild_brings_it_back(job, capsys, tmp_path):
    (tmp_path / "data" / "log.sqlite").write_bytes(b"x" * 9000)
    status, _, err = answer(capsys, "list")
    assert status == Exit.UNREADABLE
    assert "secondtape log rebuild" in err
    assert len(err.splitlines()) == 1
    status, out, _ = answer(capsys, "rebuild", str(tmp_path / "jobs"))
    assert status == Exit.DONE
    assert "1 check" in out
    assert "harbor-114" in answer(capsys, "list")[1]


def test_a_damaged_log_leaves_verdict_and_exit_status_of_a_check_as_they_are(job, capsys, tmp_path):
    (tmp_path / "data" / "log.sqlite").write_bytes(b"x" * 9000)
    capsys.readouterr()
    assert run(["check", str(job), "--no-pictures"]) == Exit.UNPROVEN
    err = capsys.readouterr().err
    assert sum("Not in the log" in line for line in err.splitlines()) == 1


def test_an_unreadable_job_is_no_check_and_comes_not_into_the_log(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    (tmp_path / "job.toml").write_text("[job")
    assert run(["check", str(tmp_path)]) == Exit.UNREADABLE
    assert not (tmp_path / "data").exists()


def test_an_export_is_read_back_and_nothing_is_left_beside_it(job, capsys, tmp_path):
    for name in ("log.csv", "log.json"):
        assert answer(capsys, "export", str(tmp_path / name), "--codes")[0] == Exit.DONE
    with (tmp_path / "log.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [r["reading"] for r in rows][:2] == ["width_top", "width_middle"]
    assert all(r["by"].startswith("P-") for r in rows)
    assert json.loads((tmp_path / "log.json").read_text())["checks"][0]["job"] == "harbor-114"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["data", "jobs", "log.csv", "log.json"]


def test_an_export_names_the_last_decision_on_each_opening(job, capsys, tmp_path):
    words = ("--opening", "W1", "--hold", "--by", "A. Desk", "--reason", "to be measured again")
    assert run(["decide", str(job), *words]) == Exit.DONE
    assert answer(capsys, "export", str(tmp_path / "log.csv"))[0] == Exit.DONE
    with (tmp_path / "log.csv").open(encoding="utf-8-sig", newline="") as stream:
        row = next(csv.DictReader(stream))
    assert (row["decision"], row["decided_by"], row["decision_stale"]) == ("hold", "A. Desk", "no")


@pytest.mark.parametrize("per", ["measurer", "tape", "both", "day"])
def test_readings_without_photos_say_nothing_of_anybody_however_put_together(job, capsys, per):
    status, out, err = answer(capsys, "people", "--per", per)
    assert (status, err) == (Exit.DONE, "")
    assert "crew 2:" not in out


def test_an_old_check_made_again_says_that_nothing_differs(job, capsys):
    status, out, _ = answer(capsys, "again", "harbor-114")
    assert status == Exit.DONE
    assert "Inputs: the same." in out
    assert "Results: the same." in out


def test_an_old_check_made_again_names_the_input_that_differs(job, capsys):
    before = sorted(job.rglob("*"))
    (job / "job.toml").write_text(JOB.replace('middle = "54 1/4"', 'middle = "55 1/4"'))
    status, out, _ = answer(capsys, "again", "harbor-114")
    assert status == Exit.HOLD
    assert "job.toml:" in out
    assert sorted(job.rglob("*")) == before


def test_a_job_that_is_gone_is_said_so(job, capsys):
    shutil.move(job / "job.toml", job / "kept.toml")
    status, _, err = answer(capsys, "again", "harbor-114")
    assert status == Exit.UNREADABLE
    assert "not there any more" in err


def test_the_version_is_told_from_the_runs_name_where_the_record_does_not_name_it():
    photo, rule = "b" * 64, "c" * 64
    result = {"file": "job.toml", "sha256": "a" * 64, "openings": [
        {"label": "W1", "photos": [{"file": "w.jpg", "sha256": photo}], "order": {"rule": "r", "rule_sha256": rule}}
    ]}  # fmt: skip
    name = run_id("a" * 64, [photo, rule], "0.1.0")
    assert held_to({"jobs": [result]}, name, result, "0.1.0").same_version is True
    assert held_to({"jobs": [result]}, name, result, "0.2.0").same_version is None
    named = held_to({"program": "secondtape 0.1.0", "jobs": [result]}, name, result, "0.2.0")
    assert (named.same_version, named.same) == (False, False)


def test_values_that_differ_by_less_than_a_hundredth_of_a_mm_are_the_same():
    """Contract: the same values to 0.01 mm on any machine."""

    def result(value_mm):
        return {"openings": [{"label": "W1", "verdict": "send", "measures": {"width_top": {"value_mm": value_mm}}}]}

    record = {"program": "secondtape 1", "jobs": [result(1000.0)]}
    assert held_to(record, "", result(1000.01), "1").same
    assert held_to(record, "", result(1000.02), "1").unexplained


def test_a_limit_beyond_any_number_of_checks_lists_them_all(job, capsys):
    status, out, err = answer(capsys, "list", "--limit", "99999999999999999999")
    assert (status, err) == (Exit.DONE, "")
    assert "harbor-114" in out


@pytest.mark.parametrize(
    "words", [("list", "--job"), ("list", "--by"), ("people", "--tape"), ("list", "--decided-by"), ("show",)]
)
def test_bytes_that_are_no_text_are_one_line(job, capsys, words):
    status, out, err = answer(capsys, *words, "\udcff")  # PEP 383: how Python hands over the byte 0xff
    assert (status, out) == (Exit.USAGE, "")
    assert len(err.splitlines()) == 1


def test_a_result_that_somebody_changed_cannot_steer_the_terminal(job, capsys):
    (file,) = job.glob("secondtape/*/result.json")
    escape = "\x1b[2J\x1b]0;x\x07"
    document = json.loads(file.read_text())
    checked = document["jobs"][0]
    checked["measured_on"] = checked["verdict"] = escape
    (opening,) = checked["openings"]
    opening["verdict"] = opening["why"] = opening["readings"][0]["verdict"] = escape
    opening["readings"][0]["name"] = escape
    file.write_text(json.dumps(document))
    answer(capsys, "rebuild", str(job.parent))
    for words in (("list",), ("show", "harbor-114"), ("people",)):
        _, out, err = answer(capsys, *words)
        assert "\x1b" not in out + err


def test_an_old_check_whose_job_or_record_cannot_be_read_is_told_so_in_one_line(job, capsys):
    # contract.md, *Commands*: one clear line naming file and remedy; the exit status of what cannot be read is 4.
    (job / "job.toml").write_text("[job")
    status, out, err = answer(capsys, "again", "harbor-114")
    assert (status, out) == (Exit.UNREADABLE, "")
    assert "job.toml" in err
    assert "not TOML" in err
    (record,) = job.glob("secondtape/*/result.json")
    record.write_text("{")
    status, out, err = answer(capsys, "again", "harbor-114")
    assert (status, out) == (Exit.UNREADABLE, "")
    assert "result.json" in err
    assert len(err.splitlines()) == 1


def test_a_rebuild_names_what_it_could_not_read_and_takes_the_rest(job, capsys):
    shutil.copytree(job, job.parent / "oak-2")
    (record,) = (job.parent / "oak-2").glob("secondtape/*/result.json")
    record.write_text("{")
    status, _, err = answer(capsys, "rebuild", str(job.parent))
    assert status == Exit.UNREADABLE
    assert "oak-2" in err
    assert "harbor-114" in answer(capsys, "list")[1]


def test_a_rebuild_of_nothing_says_that_folders_are_to_be_named(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    status, _, err = answer(capsys, "rebuild")
    assert status == Exit.DONE
    assert "secondtape log rebuild" in err


@pytest.mark.parametrize(
    "change", [{"documents": 3}, {"documents": [3]}, {"order": 3}, {"photos": [{"file": "a.jpg", "lenses": [3]}]}]
)
def test_a_record_changed_by_hand_is_refused_on_one_line(job, capsys, change):
    """Found: `log again` ended with a trace."""
    (result,) = (job / "secondtape").rglob("result.json")
    document = json.loads(result.read_text())
    document["jobs"][0]["openings"][0] |= change
    result.write_text(json.dumps(document))
    status, _, err = answer(capsys, "again", "harbor-114")
    assert status == Exit.UNREADABLE
    (line,) = err.splitlines()
    assert str(result) in line


def test_a_log_damaged_where_a_text_stands_is_still_read_and_made_anew(job, tmp_path, capsys):
    """Found: bytes that are no UTF-8 ended every command of the log, `rebuild` too, with a trace."""
    file = tmp_path / "data" / "log.sqlite"
    assert b"crew 2" in file.read_bytes()
    file.write_bytes(file.read_bytes().replace(b"crew 2", b"cr\xffw 2").replace(b"jobs/harbor", b"jobs/h\xc7rbor"))
    for words in (("list",), ("people",), ("show", "harbor-114"), ("rebuild", str(job.parent))):
        status, _, err = answer(capsys, *words)
        assert status != Exit.FAULT
        assert "Traceback" not in err
    assert "crew 2" in answer(capsys, "list")[1]
