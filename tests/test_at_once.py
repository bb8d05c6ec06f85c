"""Many jobs checked at once. Oracles: the same jobs one after another; signals and process ids of POSIX."""

import json
import multiprocessing
import os
import signal
import threading
import time
from pathlib import Path

import pytest

from sizing.cli import run
from sizing.commands import at_once
from sizing.exits import Exit

JOB = """[job]
id = "{id}"
units = "in"
[[opening]]
label = "W1"
wall = "masonry"
photos = [{photos}]
ordered = {{ width = "55 3/8", height = "62 1/8" }}
width = {{ top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }}
"""
WAIT_S = 60


@pytest.fixture
def jobs(tmp_path, monkeypatch):
    """Return jobs as typed in the folder `tmp_path`: sound, bad, missing, with a bad photo, one of them twice."""
    monkeypatch.chdir(tmp_path)
    for name, photos in (("first", ""), ("second", ""), ("photo", '"empty.jpg"'), ("last", "")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "job.toml").write_text(JOB.format(id=name, photos=photos))
    (tmp_path / "photo" / "empty.jpg").write_bytes(b"")
    (tmp_path / "second" / "job.toml").write_text("x = [")
    (tmp_path / "order.csv").write_text("opening,width,height\nW1,55 3/8,61\n")
    return ["first", "second", "nope", "photo", "first/job.toml", "last"]


def said(capsys, *words):
    status = run(["check", *words])
    return (status, *capsys.readouterr())


def files(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("words", [["--jsonl"], ["--against", "order.csv", "--out", "runs"]], ids=["lines", "text"])
def test_several_at_once_say_and_write_and_log_what_one_after_another_do(jobs, tmp_path, capsys, monkeypatch, words):
    found = []
    for number in ("1", "2"):
        monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / f"data-{number}"))
        said_of_all = said(capsys, *words, "--at-once", number, *jobs)
        written = {path: data for path, data in files(tmp_path).items() if not path.parts[0].startswith("data")}
        logged = log_of(capsys)
        found.append((said_of_all, written, logged))
        for path in [path for path in written if path.name == "result.json"]:
            (tmp_path / path).unlink()
    assert found[0] == found[1]
    (status, out, err), _, logged = found[1]
    assert status == (Exit.HOLD if "--against" in words else Exit.UNREADABLE)
    assert [line.split("/")[0].split(":")[0] for line in err.splitlines()][:2] == ["second", "nope"]
    places = [out.index(f"{name}/job.toml") for name in ("first", "second", "photo", "last")]
    assert places == sorted(places)
    assert [check["job"] for check in logged] == ["first", "last", "photo"]


def log_of(capsys):
    assert run(["log", "list", "--json"]) == Exit.DONE
    checks = json.loads(capsys.readouterr().out)["checks"]
    when = dict.fromkeys(("id", "checked_at"))  # in the order in which they were done
    return sorted((check | when for check in checks), key=lambda check: check["job"])


def when_begun(act):
    """Do `act` with the processes that check jobs, as soon as there is one; a thread."""

    def watched():
        deadline = time.monotonic() + WAIT_S
        while time.monotonic() < deadline:
            children = multiprocessing.active_children()
            if children:
                act(children)
                return
            time.sleep(0.005)

    thread = threading.Thread(target=watched)
    thread.start()
    return thread


def test_a_job_whose_process_is_killed_is_its_error_and_the_others_go_on(jobs, capsys):
    names = ["first", "photo", "last"]
    thread = when_begun(lambda children: children[0].kill())
    status, out, err = said(capsys, "--json", "--no-pictures", "--at-once", "2", *names)
    thread.join()
    assert status == Exit.UNREADABLE
    found = json.loads(out)["jobs"]
    assert [job["job"] for job in found] == names
    (dead,) = [job for job in found if "error" in job]
    assert dead["error"]["code"] == "fault"
    assert f"{dead['file']}: the process that checked this job came to its end" in err
    assert "Traceback" not in err


@pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_an_interrupt_leaves_no_process_and_says_where_to_go_on(jobs, capsys, tmp_path, name):
    number = getattr(signal, name)
    before = signal.signal(number, signal.default_int_handler)
    try:
        thread = when_begun(lambda _: os.kill(os.getpid(), number))
        status, out, err = said(capsys, "--jsonl", "--at-once", "2", *jobs)
        thread.join()
    finally:
        signal.signal(number, before)
    assert status == Exit.INTERRUPTED
    assert out == ""
    assert err.splitlines() == [
        "0 of 6 jobs are done, in the order typed. Not done: first and all after it; check again from there on.",
        "Interrupted.",
    ]
    assert multiprocessing.active_children() == []
    assert list(tmp_path.glob("*/secondtape/.*")) == []


def test_one_job_stays_in_this_process_and_so_do_few(monkeypatch):
    monkeypatch.setattr(at_once, "cores", lambda: 8)
    monkeypatch.setattr(at_once, "memory_mb", lambda: 2000)
    assert [at_once.usual(jobs) for jobs in (1, 3, 4, 6, 100)] == [1, 1, 2, 3, 3]
    monkeypatch.setattr(at_once, "memory_mb", lambda: 100)
    assert at_once.usual(100) == 1
    monkeypatch.setattr(at_once, "memory_mb", lambda: None)
    assert at_once.usual(100) == 8
    assert at_once.here(1, 5) is at_once.here(5, 1) is None
    assert at_once.here(3, 5).at_once == 3


def test_a_job_is_known_again_however_it_is_typed(jobs, tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "first", target_is_directory=True)
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    typed = ["first", "first/job.toml", "./last/../first", "link", str(tmp_path / "link" / "job.toml")]
    assert {at_once.place_of(Path(job)) for job in typed} == {str((tmp_path / "first").resolve())}
    assert len({at_once.place_of(Path(job)) for job in ("first", "last", "nope", "loop")}) == 4


@pytest.mark.parametrize("number", ["0", "-1", "many"])
def test_no_number_of_jobs_is_bad_usage(jobs, capsys, number):
    status, out, err = said(capsys, "--at-once", number, *jobs)
    assert (status, out) == (Exit.USAGE, "")
    assert "--at-once" in err
