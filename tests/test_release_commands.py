"""`decide` and `release` as people run them. Oracle: contract.md, *Commands*: what is written and said, exit status."""

import json

import pytest

from sizing.cli import run
from sizing.exits import Exit
from sizing.log.asked import Asked
from sizing.log.database import open_log
from sizing.log.index import refresh
from sizing.log.queries import details, find
from sizing.release.decisions import FILE
from tests.one_opening import HEAD, opening

ORDERED = 'ordered = { width = "55 3/8", height = "62 1/8" }\n'


def plain_job(tmp_path, *labels):
    (tmp_path / "job.toml").write_text(HEAD + "".join(opening(x, photos="[]", more=ORDERED) for x in labels))
    return str(tmp_path)


def decided(folder, label="W1", *more):
    return run(["decide", folder, "--opening", label, "--by", "desk", "--reason", "measured twice", *more])


def test_a_job_is_decided_and_released_from_the_command_line(tmp_path, capsys):
    job = plain_job(tmp_path, "W1", "W2")
    assert run(["release", job]) == Exit.HOLD
    assert "NOT released" in capsys.readouterr().out
    assert not (tmp_path / "secondtape").exists()
    assert decided(job, "W1", "--override", "--accept-risk", "no photo") == Exit.DONE
    assert run(["release", job]) == Exit.HOLD  # W2 is still asked for
    assert run(["release", job, "--opening", "W1"]) == Exit.DONE
    folders = sorted((tmp_path / "secondtape").glob("release-*"))
    assert len(folders) == 2
    assert all(sorted(p.suffix for p in f.iterdir()) == [".csv", ".json", ".pdf"] for f in folders)
    capsys.readouterr()
    before = {p: p.read_bytes() for f in folders for p in f.iterdir()}
    assert run(["release", job, "--opening", "W1", "--json"]) == Exit.DONE
    document = json.loads(capsys.readouterr().out)["jobs"][0]
    assert document["released"][0]["opening"] == "W1"
    assert document["released"][0]["also_in"]  # W1 stands in the first release too
    assert {p: p.read_bytes() for f in folders for p in f.iterdir()} == before


def test_whoever_stops_what_was_released_is_told_that_the_works_have_it(tmp_path, capsys):
    """Oracle: README, *Decisions*: `--hold` stops what was sent before; the works go by the release that they hold."""
    job = plain_job(tmp_path, "W1", "W2")
    decided(job, "W1", "--override", "--accept-risk", "no photo")
    run(["release", job])
    (folder,) = (tmp_path / "secondtape").glob("release-*")
    number = folder.name.removeprefix("release-")
    capsys.readouterr()
    assert decided(job, "W2", "--hold") == Exit.DONE
    assert "the works" not in capsys.readouterr().out
    assert decided(job, "W1", "--hold") == Exit.DONE
    assert f"in release {number} already: tell the works" in capsys.readouterr().out
    assert run(["release", job, "--json"]) == Exit.HOLD
    held = json.loads(capsys.readouterr().out)["jobs"][0]["not_released"]
    assert [(x["opening"], x["also_in"], "tell the works" in x["says"]) for x in held] == [
        ("W1", [number], True),
        ("W2", [], False),
    ]


def test_a_release_goes_where_it_is_told_or_there_is_none(tmp_path, capsys):
    job = plain_job(tmp_path, "W1")
    decided(job, "W1", "--override", "--accept-risk", "no photo")
    assert run(["release", job, "--out", str(tmp_path / "works")]) == Exit.DONE
    assert len(list((tmp_path / "works").rglob("release.csv"))) == 1
    (tmp_path / "file").write_text("")
    assert run(["release", job, "--out", str(tmp_path / "file")]) == Exit.HOLD
    assert "Nothing was released" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["release", "JOB", "--opening", "W9"], Exit.USAGE),
        (["release", "JOB", "JOB", "--opening", "W1"], Exit.USAGE),
        (["release", "JOB", "--page", "a5"], Exit.USAGE),
        (["release", "JOB", "--reason", "b"], Exit.USAGE),
        (["release", "nowhere"], Exit.UNREADABLE),
        (["decide", "JOB", "--opening", "W1", "--by", "a", "--reason", "b"], Exit.USAGE),
        (["decide", "JOB", "--opening", "W1", "--by", "a", "--reason", "b", "--send", "--hold"], Exit.USAGE),
        (["decide", "JOB", "--opening", "W1", "--by", "a", "--reason", "b", "--override"], Exit.USAGE),
        (["decide", "JOB", "--opening", "W1", "--by", "", "--reason", "b", "--hold"], Exit.USAGE),
        (["decide", "JOB", "--opening", "W1", "--by", "a", "--reason", "b", "--send"], Exit.HOLD),
        (["decide", "nowhere", "--opening", "W1", "--by", "a", "--reason", "b", "--hold"], Exit.UNREADABLE),
    ],
)
def test_what_cannot_be_done_ends_with_one_clear_line_and_its_status(tmp_path, capsys, words, status):
    job = plain_job(tmp_path, "W1")
    assert run([job if w == "JOB" else w for w in words]) == status
    err = capsys.readouterr().err
    assert len(err.strip().splitlines()) == 1
    assert "Traceback" not in err
    assert not (tmp_path / FILE).exists()


def test_a_job_that_cannot_be_read_does_not_keep_others_from_release(tmp_path, capsys):
    job = plain_job(tmp_path, "W1")
    decided(job, "W1", "--override", "--accept-risk", "no photo")
    capsys.readouterr()
    assert run(["release", "nowhere", job, "--json"]) == Exit.UNREADABLE
    documents = json.loads(capsys.readouterr().out)["jobs"]
    assert documents[0]["error"]["code"] == "job-missing"
    assert len(documents[1]["released"]) == 1


def test_a_release_and_its_decision_are_in_the_log_without_a_check_of_its_own(tmp_path, monkeypatch):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    job = plain_job(tmp_path, "W1")
    assert decided(job, "W1", "--override", "--accept-risk", "no photo") == Exit.DONE
    assert run(["release", job]) == Exit.DONE
    with open_log() as log:
        refresh(log)
        (one,) = find(log, Asked(released=True))
        assert (one.decisions, one.releases) == (1, 1)
        (handed,) = details(log, one).releases
        assert (handed.opening, handed.decided_by, handed.stale) == ("W1", "desk", False)
