"""A run that is ended on its way leaves nothing. Oracles: POSIX signals; contract.md, *Commands*: 130, nothing else."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sizing.desk.worker import Worker
from sizing.exits import Exit
from sizing.runs.runfolder import RunFolderError, write_run

ROOT = Path(__file__).parent.parent
DAY_S = 86_400
# The program itself, whose pictures take as long as the test needs.
SLOW = """
import signal, sys, time
from pathlib import Path
from sizing import cli
from sizing import saving

def pictures(result, complain):
    def write(path):
        path.write_text("half")
        print("begun", flush=True)
        time.sleep(30)
    yield "half.jpg", write

saving.job_pictures = pictures
signal.signal(signal.SIGTERM, signal.SIG_DFL)  # a count of coverage minds it, from the child's start on
sys.argv = ["secondtape", "check", sys.argv[1]]
cli.main()
"""
JOB = '[job]\nid = "a"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\nwidth = { top = "54" }\n'

posix = pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")


def heard():
    for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT):  # a suite run with & or nohup ignores some
        signal.signal(number, signal.SIG_DFL)


@posix
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT], ids=lambda n: n.name)
def test_a_check_that_is_told_to_end_takes_its_unfinished_folder_with_it(tmp_path, number):
    (tmp_path / "job.toml").write_text(JOB)
    with subprocess.Popen(
        [sys.executable, "-c", SLOW, str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        preexec_fn=heard,  # noqa: PLW1509
    ) as process:
        assert process.stdout.readline() == "begun\n"
        assert len(list((tmp_path / "secondtape").iterdir())) == 1
        process.send_signal(number)
        _, said = process.communicate(timeout=60)
    assert (process.returncode, said) == (Exit.INTERRUPTED, "Interrupted.\n")
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]


ENDING = """
import signal
from sizing.interrupts import end_as_interrupted
end_as_interrupted()
signal.raise_signal(signal.SIGHUP)
print("goes on")
"""


@posix
def test_a_closed_terminal_does_not_end_what_nohup_started():
    words = ["bash", "-c", 'trap "" HUP; exec "$0" -c "$1"', sys.executable, ENDING]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=100, check=False)
    assert (done.returncode, done.stdout) == (0, "goes on\n")


def begun_task(folder, *, say):
    def write(path):
        path.write_text("half")
        say("begun")
        time.sleep(30)

    signal.signal(signal.SIGTERM, signal.SIG_DFL)  # a count of coverage minds it, from the child's start on
    write_run(folder / "secondtape" / "run", [("half.jpg", write)])


@posix
def test_the_child_of_a_desk_that_ends_takes_its_unfinished_folder_with_it(tmp_path):
    """Python ends the children of a process that ends by SIGTERM (multiprocessing, *daemon*)."""
    worker = Worker()

    def ended(line):
        assert len(list((tmp_path / "secondtape").iterdir())) == 1
        os.kill(worker._process.pid, signal.SIGTERM)

    with pytest.raises(Exception, match="came to its end"):
        worker.run(begun_task, tmp_path, say=ended, timeout_s=60)
    worker.close()
    assert list((tmp_path / "secondtape").iterdir()) == []


def left(parent, name, age_s):
    folder = parent / name
    folder.mkdir(parents=True)
    (folder / "half.jpg").write_text("half")
    then = time.time() - age_s
    for path in (folder / "half.jpg", folder):
        os.utime(path, (then, then))
    return folder


@pytest.mark.parametrize("name", [".0123456789ab-a1_b2c3d", ".release-0123abcd-a1b2c3d4", ".report-a1b2c3d4"])
def test_what_a_killed_run_left_is_swept_by_the_first_run_a_day_later(tmp_path, name):
    folder = left(tmp_path / "secondtape", name, 2 * DAY_S)
    write_run(tmp_path / "secondtape" / "run", [("a", lambda path: path.write_text("a"))])
    assert not folder.exists()
    assert (tmp_path / "secondtape" / "run" / "a").read_text() == "a"


KEPT = {
    "still written": ("secondtape", ".0123456789ab-a1b2c3d4", 3600),
    "a folder of somebody": ("secondtape", ".photos-of-may-a1b2c3d4", 2 * DAY_S),
    "a run": ("secondtape", "0123456789ab", 2 * DAY_S),
    "in a folder that --out named": ("elsewhere", ".0123456789ab-a1b2c3d4", 2 * DAY_S),
}


@pytest.mark.parametrize(("parent", "name", "age_s"), KEPT.values(), ids=KEPT)
def test_nothing_else_is_swept(tmp_path, parent, name, age_s):
    folder = left(tmp_path / parent, name, age_s)
    write_run(tmp_path / parent / "run", [("a", lambda path: path.write_text("a"))])
    assert (folder / "half.jpg").read_text() == "half"


def test_an_unfinished_folder_with_a_young_file_or_behind_a_link_is_not_swept(tmp_path):
    young = left(tmp_path / "secondtape", ".0123456789ab-a1b2c3d4", 2 * DAY_S)
    os.utime(young / "half.jpg")
    target = left(tmp_path, "mine", 2 * DAY_S)
    (tmp_path / "secondtape" / ".0123456789ab-linked00").symlink_to(target)
    write_run(tmp_path / "secondtape" / "run", [("a", lambda path: path.write_text("a"))])
    assert (young / "half.jpg").exists()
    assert (target / "half.jpg").exists()


def test_a_run_whose_folder_was_swept_says_that_it_could_not_write(tmp_path):
    def swept(path):
        for file in path.parent.iterdir():
            file.unlink()
        path.parent.rmdir()

    with pytest.raises(RunFolderError, match="No such file"):
        write_run(tmp_path / "run", [("a", swept)])
