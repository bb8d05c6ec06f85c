"""The command `check` over several jobs. Oracle: contract.md, *Commands*: one bad job never stops the others."""

from __future__ import annotations

import json

import pytest

import sizing.check
import sizing.commands.checking
import sizing.footprint.result
import sizing.release.handover
import sizing.release.release
import sizing.report.files
import sizing.report.opening_page
import sizing.saving
from sizing.cli import run
from sizing.exits import Exit

JOB = """[job]
id = "{id}"
units = "in"
[[opening]]
label = "W1"
wall = "masonry"
width = {{ top = "54 3/8", middle = "54 1/4", bottom = "54 3/8" }}
"""


@pytest.fixture
def jobs(tmp_path):
    folders = [tmp_path / name for name in ("first", "second", "third")]
    for folder in folders:
        folder.mkdir()
        (folder / "job.toml").write_text(JOB.format(id=folder.name))
    return [str(folder) for folder in folders]


def fails_on_second(real):
    def call(first, *words, **more):
        if first.name == "second":
            raise ZeroDivisionError("a mistake")
        return real(first, *words, **more)

    return call


@pytest.mark.parametrize("form", ["--json", "--jsonl"])
def test_a_fault_in_one_job_is_its_error_and_the_others_go_on(jobs, monkeypatch, capsys, form):
    monkeypatch.setattr(sizing.check, "check_job", fails_on_second(sizing.check.check_job))
    assert run(["check", form, "--no-pictures", *jobs]) == Exit.UNREADABLE
    said = capsys.readouterr()
    found = [json.loads(line) for line in said.out.splitlines()] if form == "--jsonl" else json.loads(said.out)["jobs"]
    assert [one["job"] for one in found] == ["first", "second", "third"]
    assert [one.get("error", {}).get("code") for one in found] == [None, "fault", None]
    (line,) = said.err.splitlines()
    assert "second/job.toml: This program made a mistake here (ZeroDivisionError: a mistake)" in line


def test_a_fault_in_one_job_stands_in_the_view_for_people(jobs, monkeypatch, capsys):
    monkeypatch.setattr(sizing.check, "check_job", fails_on_second(sizing.check.check_job))
    assert run(["check", "--no-pictures", *jobs]) == Exit.UNREADABLE
    said = capsys.readouterr()
    assert [name in said.out for name in ("first", "second", "third")] == [True] * 3
    assert "Traceback" not in said.err


def test_a_fault_in_saving_leaves_the_verdict(jobs, monkeypatch, capsys):
    monkeypatch.setattr(sizing.saving, "save_run", lambda *_, **__: 1 / 0)
    assert run(["check", "--json", *jobs[:1]]) == Exit.UNPROVEN
    said = capsys.readouterr()
    assert json.loads(said.out)["jobs"][0]["openings"][0]["verdict"] == "unproven"
    assert "were not written; the verdict stands." in said.err
    assert ".." not in said.err


def test_a_fault_in_comparing_a_typed_order_is_the_error_of_its_job(jobs, monkeypatch, capsys, tmp_path):
    order = tmp_path / "order.csv"
    order.write_text("opening,width,height\nW1,55,62\n")
    monkeypatch.setattr(sizing.commands.checking, "compared_with", lambda *_: 1 / 0)
    assert run(["check", "--json", "--no-pictures", "--against", str(order), *jobs]) == Exit.UNREADABLE
    found = json.loads(capsys.readouterr().out)["jobs"]
    assert [one["error"]["code"] for one in found] == ["fault"] * 3


def test_a_job_with_a_number_too_long_to_print_stops_no_other(jobs, tmp_path, capsys):
    (tmp_path / "second" / "job.toml").write_text(JOB.format(id="second") + "quantity = 0x" + "f" * 4000)
    assert run(["check", "--json", "--no-pictures", *jobs]) == Exit.UNREADABLE
    said = capsys.readouterr()
    found = json.loads(said.out)["jobs"]
    assert ["openings" in one for one in found] == [True, False, True]
    (line,) = said.err.splitlines()
    assert "second/job.toml: " in line


def test_a_job_that_cannot_be_read_says_why_on_stdout_too_which_may_be_read_alone(jobs, tmp_path, capsys):
    (tmp_path / "second" / "job.toml").write_text(JOB.format(id="second").replace('"in"', '"ft"'))
    assert run(["check", "--no-pictures", *jobs]) == Exit.UNREADABLE
    said = capsys.readouterr()
    (line,) = said.err.splitlines()
    assert f"could not be read: {line}" in said.out
    assert "above" not in said.out


def fails_on(label, real):
    def call(*words, **more):
        if any(getattr(getattr(word, "opening", None), "label", None) == label for word in words):
            raise ZeroDivisionError("a mistake")
        return real(*words, **more)

    return call


@pytest.mark.parametrize("command", ["report", "release"])
def test_a_fault_in_checking_one_job_stops_no_other(jobs, tmp_path, monkeypatch, capsys, command):
    monkeypatch.setattr(sizing.check, "check_job", fails_on_second(sizing.check.check_job))
    assert run([command, "--out", str(tmp_path / "out"), *jobs]) in (Exit.UNREADABLE, Exit.HOLD)
    said = capsys.readouterr()
    assert [name in said.out for name in ("first", "third")] == [True] * 2
    (line,) = said.err.splitlines()
    assert "second/job.toml: This program made a mistake here (ZeroDivisionError: a mistake)" in line


def test_a_fault_in_reporting_one_job_stops_no_other(jobs, monkeypatch, capsys, tmp_path):
    def fails(report, *words, real=sizing.report.files.report_pdf):
        return 1 / 0 if report.job == "second" else real(report, *words)

    monkeypatch.setattr(sizing.report.files, "report_pdf", fails)
    assert run(["report", "--out", str(tmp_path / "out"), *jobs]) == Exit.UNREADABLE
    assert "second/job.toml: This program made a mistake here" in capsys.readouterr().err
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["first-report", "third-report"]


def test_a_fault_in_one_page_of_a_report_stops_no_other_and_claims_nothing(jobs, tmp_path, monkeypatch, capsys):
    two = tmp_path / "first" / "job.toml"
    two.write_text(two.read_text() + '[[opening]]\nlabel = "W2"\nwall = "masonry"\n')
    real = sizing.report.opening_page.step_of
    monkeypatch.setattr(
        sizing.report.opening_page, "step_of", lambda o: 1 / 0 if o.opening.label == "W1" and not o.fault else real(o)
    )
    assert run(["report", jobs[0]]) == Exit.UNREADABLE
    assert "first/job.toml: W1: This program made a mistake here" in capsys.readouterr().err
    page = (tmp_path / "first" / "secondtape" / "report" / "report.html").read_text()
    assert "This program made a mistake here (ZeroDivisionError)" in page
    assert "W2" in page


def test_a_fault_in_releasing_one_job_or_opening_stops_no_other(jobs, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(sizing.release.release, "_judge", fails_on("W1", sizing.release.release._judge))
    two = tmp_path / "first" / "job.toml"
    two.write_text(two.read_text() + '[[opening]]\nlabel = "W2"\nwall = "masonry"\n')
    assert run(["release", "--json", jobs[0]]) == Exit.HOLD
    (job,) = json.loads(capsys.readouterr().out)["jobs"]
    assert [(one["opening"], one["code"]) for one in job["not_released"]] == [("W1", "fault"), ("W2", "no-size")]

    def fails(plan, *words, **more):
        raise OSError(28, "No space left on device") if plan.job == "second" else ZeroDivisionError("a mistake")

    monkeypatch.setattr(sizing.release.handover, "hand_over", fails)
    assert run(["release", "--json", *jobs]) == Exit.HOLD
    said = capsys.readouterr()
    assert [one["error"]["code"] for one in json.loads(said.out)["jobs"]] == ["fault"] * 3
    assert "second/job.toml: Could not be finished (No space left on device)." in said.err
    assert "first/job.toml: This program made a mistake here (ZeroDivisionError: a mistake)" in said.err


def test_a_fault_in_one_footprint_stops_no_other(jobs, tmp_path, monkeypatch, capsys):
    real = sizing.footprint.result._of_opening
    monkeypatch.setattr(sizing.footprint.result, "_of_opening", fails_on("W1", real))
    two = tmp_path / "first" / "job.toml"
    two.write_text(two.read_text() + '[[opening]]\nlabel = "W2"\nwall = "masonry"\n')
    assert run(["footprint", jobs[0]]) == Exit.UNPROVEN
    said = capsys.readouterr().out
    assert "W1: not drawn. This program made a mistake here (ZeroDivisionError: a mistake)" in said
    assert "W2: not drawn, there is no size" in said


def test_a_fault_in_checking_again_is_one_line(jobs, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    assert run(["check", "--no-pictures", jobs[1]]) == Exit.UNPROVEN
    monkeypatch.setattr(sizing.check, "check_job", lambda *_, **__: 1 / 0)
    capsys.readouterr()
    assert run(["log", "again", "second"]) == Exit.UNREADABLE
    (line,) = capsys.readouterr().err.splitlines()
    assert "This program made a mistake here (ZeroDivisionError" in line
