"""Facts about child processes. Oracles: process ids and signals of POSIX; what the system's own functions return."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest

from sizing.processes import Processes
from sizing.runs.runfolder import write_run

ROOT = Path(__file__).parent.parent
WAIT_S = 60
posix = pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")


@pytest.fixture
def processes():
    """Return a function that starts so many processes; they are ended after the test."""
    made = []

    def started(count, **more):
        made.append(Processes(count, **more))
        return made[-1]

    yield started
    for executor in made:
        executor.end()


def gone(pid):
    """Return whether a process is not there any more, waiting for it."""
    deadline = time.monotonic() + WAIT_S
    while time.monotonic() < deadline:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.02)
    return False


def test_each_process_has_a_task_of_its_own_in_the_folder_of_who_asked(processes, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    two = processes(2)
    first, second = two.submit(os.getpid), two.submit(os.getpid)
    pids = {first.result(WAIT_S), second.result(WAIT_S)}
    assert len(pids | {os.getpid()}) == 3
    assert two.submit(os.getcwd).result(WAIT_S) == str(tmp_path.resolve())
    assert two.submit(os.getenv, "OPENBLAS_NUM_THREADS").result(WAIT_S) == "1"


def test_a_process_that_dies_takes_only_its_own_task_with_it(processes):
    two = processes(2)
    other = two.submit(time.sleep, 0.5)
    dead = two.submit(os._exit, 9)
    with pytest.raises(BrokenProcessPool):
        dead.result(WAIT_S)
    fresh = two.submit(os.getpid)
    assert other.result(WAIT_S) is None
    assert fresh.result(WAIT_S) != os.getpid()


def test_a_process_is_replaced_after_so_many_tasks(processes):
    one = processes(1, tasks_each=2)
    pids = [one.submit(os.getpid).result(WAIT_S) for _ in range(5)]
    assert pids[0] == pids[1] != pids[2] == pids[3] != pids[4]


def test_what_is_given_is_done_before_a_shutdown(processes):
    one = processes(1)
    task = one.submit(abs, -3)
    one.shutdown()
    assert task.result(0) == 3


def half_written(folder):
    def write(path):
        path.write_text("half")
        time.sleep(WAIT_S)

    write_run(folder / "secondtape" / "run", [("half.jpg", write)])


@posix
def test_who_is_ended_is_gone_at_once_and_takes_unfinished_files_along(processes, tmp_path):
    two = processes(2)
    idle = two.submit(os.getpid).result(WAIT_S)
    two.submit(half_written, tmp_path)
    deadline = time.monotonic() + WAIT_S
    while not list(tmp_path.glob("secondtape/.*/half.jpg")):
        assert time.monotonic() < deadline
        time.sleep(0.02)
    began = time.monotonic()
    two.end()
    assert time.monotonic() - began < 4  # not killed: that is after 5 s
    assert gone(idle)
    assert list((tmp_path / "secondtape").iterdir()) == []


def deaf(path):
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    path.touch()
    time.sleep(WAIT_S)


@posix
def test_who_does_not_hear_that_it_is_to_end_is_killed(processes, tmp_path, monkeypatch):
    monkeypatch.setattr("sizing.processes._LAST_WORDS_S", 0.1)
    one = processes(1)
    pid = one.submit(os.getpid).result(WAIT_S)
    one.submit(deaf, tmp_path / "begun")
    while not (tmp_path / "begun").exists():
        time.sleep(0.02)
    one.end()
    assert gone(pid)


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP], ids=lambda n: n.name)
def test_what_a_terminal_says_is_not_for_the_children(processes, number):
    one = processes(1)
    pid = one.submit(os.getpid).result(WAIT_S)
    os.kill(pid, number)
    assert one.submit(os.getpid).result(WAIT_S) == pid
    assert signal.pthread_sigmask(signal.SIG_BLOCK, []) == set()


PARENT = """
import os, time
from sizing.processes import Processes
if __name__ == "__main__":
    one = Processes(1)
    print(one.submit(os.getpid).result(), flush=True)
    one.submit(time.sleep, 600)
    time.sleep(600)
"""


@posix
def test_children_of_a_parent_that_was_killed_end_by_themselves(tmp_path):
    (tmp_path / "parent.py").write_text(PARENT)
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "parent.py")],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as parent:
        child = int(parent.stdout.readline())
        parent.kill()
    assert gone(child)
