"""Jobs checked by a cluster. Oracles: the same jobs checked here; dask.distributed itself (LocalCluster)."""

import json
import sys
import time
from concurrent.futures import CancelledError, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest

from sizing.cli import run
from sizing.commands import at_once, cluster
from sizing.commands.checking import CheckOptions, checked, recorded
from sizing.commands.progress_bar import progress_of
from sizing.errors import NotDoneError
from sizing.exits import Exit

JOB = '[job]\nid = "{0}"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\nwidth = {{ top = "54" }}\n'
OPTIONS = CheckOptions(None, False, False, None, "text")


@pytest.fixture
def jobs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    for name in ("first", "last"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "job.toml").write_text(JOB.format(name))
    return ["first", "nope", "first", "last"]


def started(workers):
    """Return a cluster in this process, its workers of two threads each, on ports that are free."""
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    return distributed.LocalCluster(
        n_workers=workers, threads_per_worker=2, processes=False, protocol="tcp", dashboard_address="127.0.0.1:0"
    )


@pytest.fixture(scope="module")
def scheduler():
    with started(1) as local:
        yield local.scheduler_address


@pytest.fixture
def refused(capsys):
    """Return a function that checks on a cluster which cannot be used, and gives the one line that says why."""
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")

    def checked(address):
        assert run(["check", "--cluster", address, "nope"]) == Exit.USAGE
        said = capsys.readouterr()
        assert said.out == ""
        (line,) = said.err.splitlines()
        return line

    return checked


def test_a_cluster_says_and_writes_what_processes_of_this_machine_do(scheduler, jobs, tmp_path, capsys):
    found = []
    for words in (["--cluster", scheduler], ["--at-once", "2"]):
        status = run(["check", "--jsonl", "--no-pictures", *words, *jobs])
        said = capsys.readouterr()
        (result,) = (tmp_path / "first" / "secondtape").glob("*/result.json")
        found.append((status, said.out, said.err, result.read_bytes()))
        result.unlink()
        assert run(["log", "list", "--json"]) == Exit.DONE
        assert len(json.loads(capsys.readouterr().out)["checks"]) == 2  # the log of who asked
    assert found[0] == found[1]
    assert found[0][0] == Exit.UNREADABLE


def test_workers_with_another_version_or_without_this_program_are_refused(scheduler, refused, monkeypatch):
    monkeypatch.setattr(cluster, "program_version", lambda: next(versions))
    versions = iter(["0.0.9", "0.1.0"])
    assert "have secondtape 0.0.9, and this is 0.1.0; install the same version on all" in refused(scheduler)
    monkeypatch.setattr(cluster, "program_version", lambda: 1 / 0 if next(turns) else "0.1.0")
    turns = iter([True, False])
    assert "have secondtape none, and this is 0.1.0" in refused(scheduler)


def test_a_cluster_without_workers_is_refused(refused):
    with started(0) as local:
        assert f"start some with `dask worker {local.scheduler_address}`" in refused(local.scheduler_address)


def test_a_cluster_that_loses_its_last_worker_says_once_that_the_jobs_wait(monkeypatch):
    with started(1) as local, local.get_client() as client:
        news = cluster.workers_watched(client, local.scheduler_address)
        assert news() is None  # it is not asked all the time
        monkeypatch.setattr(cluster, "_ASK_S", 0.0)
        assert news() is None
        local.scale(0)
        while client.scheduler_info()["workers"]:
            time.sleep(0.01)
        assert f"start one with `dask worker {local.scheduler_address}`" in news()
        assert news() is None


def test_what_a_place_has_to_say_meanwhile_is_a_complaint(jobs, capsys):
    said = iter(["no workers left"])
    place = at_once.Place(ThreadPoolExecutor, checked, 1, lambda: next(said, None))
    with progress_of(1, quiet=True) as bar:
        assert len(list(at_once.all_checked([Path("first")], OPTIONS, place, bar))) == 1
    assert capsys.readouterr().err == "no workers left\n"


@pytest.mark.parametrize("address", ["nonsense", "foo://127.0.0.1:8786", "tls://127.0.0.1:8786", "tcp://127.0.0.1:1"])
def test_an_address_where_no_scheduler_answers_is_one_line_with_the_remedy(refused, monkeypatch, address):
    monkeypatch.setattr(cluster, "_ANSWER_S", 0.2)
    line = refused(address)
    assert line.startswith(f"--cluster: no scheduler answers at {address} (")
    assert "start one with `dask scheduler`" in line


def test_without_the_extra_the_remedy_is_said(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "distributed", None)  # Python's import system: None there is "not found"
    assert run(["check", "--cluster", "tcp://127.0.0.1:8786", "nope"]) == Exit.USAGE
    (line,) = capsys.readouterr().err.splitlines()
    assert "pip install 'secondtape[cluster]'" in line


def test_a_worker_that_does_not_see_the_folder_says_so(jobs, tmp_path, monkeypatch):
    with pytest.raises(NotDoneError, match="must reach the jobs under the same path"):
        cluster.checked_there(str(tmp_path / "elsewhere"), Path("first"), OPTIONS)


def test_a_worker_checks_in_the_folder_of_who_asked_and_leaves_the_log_to_them(jobs, tmp_path, monkeypatch):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    job = cluster.checked_there(str(tmp_path), Path("first"), OPTIONS)
    assert job.said.startswith("first  (first/job.toml)")
    assert Path.cwd() == elsewhere
    assert not (tmp_path / "data").exists()
    recorded(job)
    assert (tmp_path / "data" / "log.sqlite").exists()


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (BrokenProcessPool(), "with a smaller --at-once"),
        (type("KilledWorker", (Exception,), {})(), "with a smaller --at-once"),
        (CancelledError(), "see that its scheduler and workers run"),
        (NotDoneError("the folder is missing"), "the folder is missing"),
        (ZeroDivisionError("a mistake"), "This program made a mistake here (ZeroDivisionError: a mistake)"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_why_a_job_was_not_done_is_its_error(jobs, tmp_path, error, says):
    job = at_once.not_done(tmp_path / "first", OPTIONS, error)
    (line,) = job.complaints
    assert says in line
    assert says in job.said
    assert job.status == Exit.UNREADABLE
