"""Facts about the command `dispute`: what it writes and says, and what stops it. Oracle: contract, *Commands*."""

import json

import pytest

from sizing.cli import run
from sizing.dispute.dispute import trace_job
from sizing.dispute.record import dispute_text
from sizing.exits import Exit
from tests.test_dispute import HEAD, document, opening


def test_a_dispute_runs_from_the_command_line_and_leaves_its_record(tmp_path, capsys):
    (tmp_path / "job.toml").write_text(HEAD + opening(photos="", rule=""))
    assert run(["dispute", str(tmp_path)]) == Exit.DONE
    assert "no blame" in capsys.readouterr().out
    (folder,) = (tmp_path / "secondtape").iterdir()
    kept = json.loads((folder / "dispute.json").read_text())
    assert run(["dispute", str(tmp_path), "--json", "--opening", "W1"]) == Exit.DONE
    assert json.loads(capsys.readouterr().out) == kept


@pytest.mark.parametrize(
    ("words", "status"),
    [(["nowhere"], Exit.UNREADABLE), (["JOB", "--opening", "W9"], Exit.USAGE), ([], Exit.USAGE)],
)
def test_what_cannot_be_traced_ends_with_one_clear_line(tmp_path, capsys, words, status):
    (tmp_path / "job.toml").write_text(HEAD + opening(photos="", rule=""))
    assert run(["dispute", *[str(tmp_path) if w == "JOB" else w for w in words]]) == status
    assert len(capsys.readouterr().err.strip().splitlines()) == 1


def test_a_job_without_any_evidence_says_so(tmp_path, capsys):
    (tmp_path / "job.toml").write_text(HEAD + '[[opening]]\nlabel = "W1"\nwall = "masonry"\n')
    assert run(["dispute", str(tmp_path)]) == Exit.UNPROVEN
    assert "No figure for measuring" in capsys.readouterr().out


def test_what_cannot_be_read_is_said_and_the_rest_is_traced(tmp_path, capsys):
    (tmp_path / "a.jpg").write_bytes(b"x" * 2000)
    text = HEAD + opening(photos='photos = ["a.jpg", "gone.jpg"]', rule='rule = "nowhere"')
    (tmp_path / "job.toml").write_text(text)
    (tmp_path / "a-file").write_text("x")
    assert run(["dispute", str(tmp_path), "--out", str(tmp_path / "a-file")]) == Exit.UNREADABLE
    said = capsys.readouterr()
    assert all(word in said.err for word in ("gone.jpg", "a.jpg", "a-file"))
    assert f"{tmp_path / 'job.toml'}: W1: rule: no rule 'nowhere'" in said.err
    assert "W1, width" in said.out


def test_an_opening_on_which_the_program_fails_is_said_and_the_others_are_traced(tmp_path):
    """Contract, *Commands*: one bad opening never stops the others."""
    (tmp_path / "a.jpg").write_bytes(b"x" * 2000)
    bare = opening(photos="", rule="").replace('"W1"', '"W2"')
    (tmp_path / "job.toml").write_text(HEAD + opening(photos='photos = ["a.jpg"]', rule="") + bare)

    def fails(request, progress):
        raise ZeroDivisionError("of a mistake")

    found = trace_job(tmp_path, estimator=fails)
    first, second = document(found)["openings"]
    assert (first["fault"], first["directions"]) == ("ZeroDivisionError", [])
    assert first["says"].startswith("W1 is not traced. This program made a mistake here (ZeroDivisionError)")
    assert second["label"] == "W2"
    assert second["directions"]
    assert first["says"] in dispute_text(document(found))


def test_a_dispute_on_which_the_program_fails_is_lines_without_a_trace(tmp_path, capsys, monkeypatch):
    (tmp_path / "a.jpg").write_bytes(b"x" * 2000)
    photos = 'photos = ["a.jpg"]'
    (tmp_path / "job.toml").write_text(HEAD + opening("", "") + opening(photos, "").replace('"W1"', '"W2"'))

    def fails(*args, **kwargs):
        raise ZeroDivisionError("of a mistake")

    with monkeypatch.context() as patch:
        patch.setattr("sizing.dispute.dispute.estimate_photos", fails)
        assert run(["dispute", str(tmp_path)]) == Exit.UNREADABLE
    said = capsys.readouterr()
    mistake = "This program made a mistake here (ZeroDivisionError('of a mistake')); it is not yours. Please report it."
    assert said.err == f"{tmp_path / 'job.toml'}: W2: {mistake}\n"
    assert "W1, width" in said.out
    monkeypatch.setattr("sizing.dispute.dispute.load_settings", fails)
    assert run(["dispute", str(tmp_path)]) == Exit.UNREADABLE
    said = capsys.readouterr()
    assert said.err.count("\n") == 1
    assert said.err.startswith(f"{tmp_path / 'job.toml'}: This program made a mistake here (ZeroDivisionError")
