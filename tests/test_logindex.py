"""Facts about the log's index, on real SQLite files. Oracle: contract.md, *Commands*; SQLite's own documentation."""

import json
import os
import sqlite3
import subprocess
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sizing.decided import Decision
from sizing.log.database import LogError, data_folder, open_log
from sizing.log.index import index_run, index_warning, refresh
from sizing.log.rebuilding import _read_all, find_runs, rebuild
from sizing.log.record import read_run
from sizing.log.schema import MIGRATIONS
from sizing.release.decisions import FILE as DECISIONS
from sizing.release.decisions import append_decision
from sizing.saving import save_run

ROOT = Path(__file__).parent.parent
SHA = "a" * 64


def reading(name="width_top", tape_mm=1000.0, difference_mm=0.5, **more):
    found = {"name": name, "tape_mm": tape_mm, "photo_mm": tape_mm - difference_mm, "difference_mm": difference_mm}
    return found | {"U95_mm": 2.0, "verdict": "agrees", "likely": []} | more


def document(job="larch-1", openings=None):
    """A result in the form that the contract fixes, with no more than the log needs."""
    plain = {"label": "W1", "verdict": "send", "why": "All agree.", "inputs_sha256": SHA, "readings": [reading()]}
    found = {"job": job, "file": f"{job}/job.toml", "verdict": "hold", "units": "in", "sha256": SHA}
    found |= {"measured_by": "crew 2", "measured_on": "2026-05-04", "openings": openings or [plain]}
    return {"schema": "secondtape/1", "program": "secondtape 0.1.0", "jobs": [found]}


def left_by_a_check(folder, run="0123456789ab", **how):
    path = folder / "secondtape" / run
    path.mkdir(parents=True)
    (folder / "job.toml").write_text("")
    (path / "result.json").write_text(json.dumps(document(**how)))
    return path


def decided(folder, **how):
    facts = {"time": datetime(2026, 5, 5, tzinfo=UTC), "by": "office", "opening": "W1", "decision": "hold"}
    append_decision(folder, Decision(**facts | {"reason": "ask again", "inputs_sha256": SHA} | how))


def count(file, table="runs"):
    with open_log(file) as log:
        return log.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608 -- names of this file


def test_a_run_taken_in_twice_stands_in_the_log_once(tmp_path):
    run = left_by_a_check(tmp_path / "larch-1")
    for _ in range(2):
        index_run(run, file=tmp_path / "log.sqlite")
    assert [count(tmp_path / "log.sqlite", t) for t in ("runs", "openings", "readings")] == [1, 1, 1]


def test_tables_are_strict_and_the_journal_is_written_ahead(tmp_path):
    file = tmp_path / "log.sqlite"
    index_run(left_by_a_check(tmp_path / "larch-1"), file=file)
    with open_log(file) as log:
        assert log.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert all(row["strict"] for row in log.execute("PRAGMA table_list") if not row["name"].startswith("sqlite_"))


def test_the_folder_of_the_log_is_what_the_environment_says_else_the_users(tmp_path, monkeypatch):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "here"))
    assert data_folder() == tmp_path / "here"
    monkeypatch.delenv("SECONDTAPE_DATA")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "xdg"))
    if sys.platform == "linux":  # XDG base directory specification
        assert data_folder() == tmp_path / "xdg" / "secondtape"


def test_a_rebuilt_log_holds_what_the_folders_hold_and_no_more(tmp_path):
    file = tmp_path / "log.sqlite"
    gone = left_by_a_check(tmp_path / "jobs" / "larch-1")
    kept = left_by_a_check(tmp_path / "jobs" / "more" / "larch-2", job="larch-2")
    decided(tmp_path / "jobs" / "more" / "larch-2")
    index_run(gone, file=file)
    (gone / "result.json").unlink()
    done = rebuild([tmp_path / "jobs"], file=file)
    assert (done.runs, done.decisions, done.problems, done.set_aside) == (1, 1, (), None)
    with open_log(file) as log:
        assert log.execute("SELECT path FROM runs").fetchone()[0] == str(kept)


def test_a_run_written_elsewhere_keeps_its_job_when_the_log_is_rebuilt(tmp_path):
    file, job = tmp_path / "log.sqlite", tmp_path / "larch-1"
    run = left_by_a_check(tmp_path / "elsewhere").rename(tmp_path / "elsewhere" / "0123456789ab")
    job.mkdir()
    index_run(run, job, file=file)
    rebuild([], file=file)
    with open_log(file) as log:
        assert log.execute("SELECT folder FROM runs").fetchone()[0] == str(job)


def test_a_result_that_cannot_be_read_is_named_and_the_others_are_taken_in(tmp_path):
    left_by_a_check(tmp_path / "larch-1")
    (left_by_a_check(tmp_path / "larch-2") / "result.json").write_text('{"schema": "secondtape/1", "jobs": [{}]}')
    done = rebuild([tmp_path], file=tmp_path / "log.sqlite")
    assert done.runs == 1
    assert [Path(p.where).parts[-4] for p in done.problems] == ["larch-2"]


def test_a_damaged_log_is_a_warning_to_the_check_and_is_set_aside_when_rebuilt(tmp_path, monkeypatch):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path))
    run = left_by_a_check(tmp_path / "jobs" / "larch-1")
    (tmp_path / "log.sqlite").write_bytes(b"no database at all " * 100)
    warning = index_warning(run, None)
    assert "secondtape log rebuild" in warning
    assert "\n" not in warning
    done = rebuild([tmp_path / "jobs"])
    assert done.runs == 1
    assert done.set_aside.read_bytes().startswith(b"no database")


def test_a_log_with_damaged_pages_is_set_aside_when_rebuilt(tmp_path):
    file = tmp_path / "log.sqlite"
    for i in range(40):
        index_run(left_by_a_check(tmp_path / "jobs" / f"larch-{i}"), file=file)
    with open_log(file) as log:
        log.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    pages = bytearray(file.read_bytes())
    pages[4096 : 3 * 4096] = b"\xff" * (2 * 4096)
    file.write_bytes(pages)
    done = rebuild([tmp_path / "jobs"], file=file)
    assert done.set_aside is not None
    assert done.runs == 40


def test_a_folder_that_cannot_be_written_is_a_warning(tmp_path, monkeypatch):
    run = left_by_a_check(tmp_path / "larch-1")
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "file"))
    assert "SECONDTAPE_DATA" in index_warning(run, None)


def test_a_read_only_folder_is_a_warning(tmp_path):
    if not hasattr(os, "geteuid"):
        pytest.skip("no users of POSIX here")
    run, data = left_by_a_check(tmp_path / "larch-1"), tmp_path / "data"
    data.mkdir(mode=0o555)
    code = (
        "import os, sys; from pathlib import Path; from sizing.log.index import index_warning\n"
        # The superuser may write anywhere: look with the eyes of somebody else.
        "os.geteuid() == 0 and os.setuid(65534)\n"
        "print(index_warning(Path(sys.argv[1]), None))"
    )
    env = {**os.environ, "SECONDTAPE_DATA": str(data), "PYTHONPATH": str(ROOT)}
    for folder in (tmp_path, *tmp_path.parents[:2]):
        folder.chmod(0o755)
    done = subprocess.run([sys.executable, "-c", code, str(run)], env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "Not in the log" in done.stdout
    assert not list(data.iterdir())


def test_a_log_of_the_first_version_is_brought_up_with_what_it_holds(tmp_path):
    file, job = tmp_path / "log.sqlite", tmp_path / "larch-1"
    job.mkdir()
    decided(job)
    old = sqlite3.connect(file)
    for statement in MIGRATIONS[0]:
        old.execute(statement)
    old.execute(
        "INSERT INTO runs VALUES (1, '/x', ?, 'job.toml', 'x', 'larch-1', 'send', 'in', '', '', NULL, NULL, 'then')",
        (str(job),),
    )
    old.execute("PRAGMA user_version = 1")
    old.commit()
    old.close()
    with open_log(file) as log:
        refresh(log)
        assert log.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS)
        assert log.execute("SELECT job FROM runs").fetchone()[0] == "larch-1"
        assert log.execute("SELECT by FROM decisions").fetchone()[0] == "office"


def test_a_log_of_a_newer_version_is_left_alone(tmp_path):
    file = tmp_path / "log.sqlite"
    newer = sqlite3.connect(file)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    before = file.read_bytes()
    for touch in (lambda: index_run(left_by_a_check(tmp_path / "larch-1"), file=file), lambda: rebuild([], file=file)):
        with pytest.raises(LogError, match="newer version"):
            touch()
    assert file.read_bytes() == before


def test_decisions_taken_since_the_check_are_seen_without_a_rebuild(tmp_path):
    file, job = tmp_path / "log.sqlite", tmp_path / "larch-1"
    index_run(left_by_a_check(job), file=file)
    assert count(file, "decisions") == 0
    decided(job)
    decided(job, decision="send")
    with open_log(file) as log:
        refresh(log)
        assert [r[0] for r in log.execute("SELECT decision FROM decisions ORDER BY line")] == ["hold", "send"]
    (job / DECISIONS).unlink()
    with open_log(file) as log:
        refresh(log)
    assert count(file, "decisions") == 0


def test_two_processes_that_write_at_once_lose_nothing(tmp_path):
    runs = [[str(left_by_a_check(tmp_path / f"{who}-{i}")) for i in range(25)] for who in "ab"]
    code = (
        "import sys; from pathlib import Path; from sizing.log.index import index_run\n"
        "[index_run(Path(p)) for p in sys.argv[1:]]"
    )
    env = {**os.environ, "SECONDTAPE_DATA": str(tmp_path), "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error"}
    started = [subprocess.Popen([sys.executable, "-c", code, *mine], env=env) for mine in runs]
    assert [s.wait(60) for s in started] == [0, 0]
    assert count(tmp_path / "log.sqlite") == 50


def test_a_log_held_by_another_program_is_a_warning_that_says_so(tmp_path, monkeypatch):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path))
    monkeypatch.setattr("sizing.log.database._WAIT_S", 0.05)
    run = left_by_a_check(tmp_path / "larch-1")
    index_run(run)
    other = sqlite3.connect(tmp_path / "log.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    assert "another program holds the log" in index_warning(run, None)
    other.close()


def test_a_connection_made_by_many_threads_at_once_makes_the_tables_once(tmp_path):
    errors = []

    def touch():
        try:
            with open_log(tmp_path / "log.sqlite"):
                pass
        except Exception as error:  # the main thread must see it
            errors.append(error)

    threads = [threading.Thread(target=touch) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []


def test_a_log_that_another_process_is_just_making_is_waited_for(tmp_path):
    """SQLite's documentation of `PRAGMA journal_mode`: it fails at once where another connection holds a lock."""
    file = tmp_path / "log.sqlite"
    other = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
    other.execute("BEGIN IMMEDIATE")
    free = threading.Timer(0.2, other.execute, ["ROLLBACK"])
    free.start()
    assert count(file) == 0
    free.join()
    other.close()


def test_a_new_log_that_stays_held_is_said_in_time(tmp_path, monkeypatch):
    monkeypatch.setattr("sizing.log.database._WAIT_S", 0.05)
    other = sqlite3.connect(tmp_path / "log.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(LogError, match="another program holds the log"):
        count(tmp_path / "log.sqlite")
    other.close()


@pytest.mark.parametrize(
    "broken",
    [
        b"", b"[]", b"{",
        b'{"schema": "secondtape/1", "jobs": [{"job": "\\ud800", "file": "b", "verdict": "send", "openings": []}]}',
        b'{"schema": "other/1", "jobs": [{}]}', b"\xff\xfe", b"[" * 100_000,
        b'{"schema": "secondtape/1", "jobs": [{"job": "a", "file": "b", "verdict": "send", '
        b'"openings": [{"label": 1}]}]}',
        b'{"schema": "secondtape/1", "jobs": [{"job": "a", "file": "b", "verdict": "hold", "openings": '
        b'[{"label": "W", "verdict": "send", "readings": [{"name": "x", "tape_mm": NaN}]}]}]}',
    ],
)  # fmt: skip
def test_a_broken_result_is_one_line_of_warning(tmp_path, broken):
    run = left_by_a_check(tmp_path / "larch-1")
    (run / "result.json").write_bytes(broken)
    warning = index_warning(run, None)
    assert "check the job again" in warning
    assert "\n" not in warning


@pytest.mark.skipif(sys.platform != "linux", reason="names of files are bytes only there")
def test_a_folder_whose_name_is_no_text_is_named_as_what_keeps_a_check_out_of_the_log(tmp_path):
    """Found: its sound result was called none, to be written anew, which changed nothing."""
    run = left_by_a_check(Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff")))
    warning = index_warning(run, None)
    assert (
        "in a folder whose name is no text (UTF-8), which the log cannot hold; give that folder another name" in warning
    )


def test_a_reading_that_a_later_visit_replaced_is_held_to_the_same_photo(tmp_path):
    opening = {"label": "W1", "verdict": "send", "measures": {"width_top": {"value_mm": 1000.0, "U95_mm": 2.0}}}
    opening |= {"readings": [reading(by="crew 5", visit=1)]}
    opening |= {"superseded": [{"name": "width_top", "tape_mm": 1025.4, "by": "crew 2", "tape": "class-2"}]}
    record = read_run(left_by_a_check(tmp_path / "larch-1", openings=[opening])).openings[0].readings[1]
    assert (record.in_force, record.by, record.tape, record.difference_mm) == (False, "crew 2", "class-2", 25.4)


@pytest.mark.skipif(sys.platform != "linux", reason="names of files are bytes only there")
def test_a_folder_whose_name_is_no_text_is_named_and_the_others_are_taken_in(tmp_path):
    left_by_a_check(tmp_path / "larch-1")
    left_by_a_check(Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff")))
    done = rebuild([tmp_path], file=tmp_path / "log.sqlite")
    assert (done.runs, len(done.problems)) == (1, 1)


def test_a_check_made_while_the_log_is_rebuilt_stays_in_it(tmp_path, monkeypatch):
    file, jobs = tmp_path / "log.sqlite", tmp_path / "jobs"
    left_by_a_check(jobs / "larch-1")
    late = left_by_a_check(tmp_path / "elsewhere" / "larch-2")

    def read_and_wait(found):
        read = _read_all(found)
        index_run(late, file=file)
        return read

    monkeypatch.setattr("sizing.log.rebuilding._read_all", read_and_wait)
    assert rebuild([jobs], file=file).runs == 2


def test_links_and_hidden_folders_are_not_looked_through(tmp_path):
    left_by_a_check(tmp_path / "far")
    (tmp_path / "jobs").mkdir()
    (tmp_path / "jobs" / "link").symlink_to(tmp_path / "far")
    left_by_a_check(tmp_path / "jobs" / ".hidden")
    assert list(find_runs(tmp_path / "jobs")) == []


def test_a_check_that_was_written_is_in_the_log_with_the_tape_and_the_program(tmp_path, monkeypatch):
    from sizing.check import check_job
    from sizing.result.document import job_document

    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    job = tmp_path / "larch-1"
    job.mkdir()
    (job / "job.toml").write_text(
        '[job]\nid = "larch-1"\nunits = "in"\ntape = "class-2"\n[[opening]]\nlabel = "W1"\nwall = "siding"\n'
        'width = { top = "54 3/8", middle = "54 1/4", bottom = "54 3/8" }\n'
        'height = { left = "60", middle = "60 1/8", right = "60 1/8" }\n'
    )
    result = check_job(job)
    saved, warnings = save_run(result, job_document(result), out=None, pictures=False)
    assert warnings == []
    with open_log() as log:
        assert Path(log.execute("SELECT path FROM runs").fetchone()[0]) == saved
        assert log.execute("SELECT program FROM runs").fetchone()[0].startswith("secondtape ")
        assert {r[0] for r in log.execute("SELECT tape FROM readings")} == {"class-2"}
    (tmp_path / "data" / "log.sqlite").write_bytes(b"x" * 5000)
    again, warnings = save_run(result, job_document(result), out=None, pictures=False)
    assert again == saved
    assert len(warnings) == 1
