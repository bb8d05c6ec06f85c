"""What the command line says, and how it ends: facts of POSIX pipes and signals, the remedy beside each problem."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from sizing import versions
from sizing.commands import streams
from sizing.exits import Exit
from sizing.interrupts import interrupts_put_off

ROOT = Path(__file__).parent.parent


def test_a_reader_that_has_gone_away_is_no_fault(monkeypatch):
    read, write = os.pipe()
    os.close(read)  # POSIX: a write to a pipe that nobody reads is EPIPE
    with os.fdopen(write, "w") as gone:
        monkeypatch.setattr(sys, "stdout", gone)
        streams.say("one line")
        streams.say("and one to nowhere")


def interrupted(number):
    with interrupts_put_off():
        signal.raise_signal(number)
        print("the whole line")


@pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_an_interrupt_waits_for_the_line_in_hand(capsys, name):
    number = getattr(signal, name)
    before = signal.signal(number, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            interrupted(number)
        assert capsys.readouterr().out == "the whole line\n"
        assert signal.getsignal(number) is signal.default_int_handler
    finally:
        signal.signal(number, before)


def test_progress_is_shown_only_where_somebody_looks(monkeypatch, capsys):
    assert streams.progress_shown(False) is None  # no terminal here
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert streams.progress_shown(True) is None
    streams.progress_shown(False)("measuring w1.jpg")
    assert capsys.readouterr().err == "measuring w1.jpg\n"


def test_without_opencv_the_remedy_is_said_and_the_status_is_that_of_bad_usage(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "cv2", None)  # Python's import system: None there is "not found"
    with pytest.raises(typer.Exit) as ended:
        streams.require_libraries()
    assert ended.value.exit_code == Exit.USAGE
    said = capsys.readouterr().err
    assert "OpenCV cannot be loaded" in said
    assert "pip install 'opencv-python-headless>=5,<6'" in said


def test_a_library_that_is_not_there_is_listed_as_such(monkeypatch):
    monkeypatch.setattr(versions, "_LIBRARIES", ("numpy", "no-such-library"))
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    lines = versions.version_lines()
    assert lines[0].startswith("secondtape ")
    assert lines[1].startswith("  numpy 2.")
    assert lines[2:] == ["  no-such-library not installed"]


JOB = '[job]\nid = "a"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\nwidth = { top = "54" }\n'


@pytest.fixture
def shell(tmp_path):
    """Return a function that runs a line of shell in a folder with the job `j`, S standing for the program."""
    (tmp_path / "j").mkdir()
    (tmp_path / "j" / "job.toml").write_text(JOB)

    def ran(line):
        env = {**os.environ, "PYTHONPATH": str(ROOT), "S": f"{sys.executable} -m sizing.cli"}
        done = subprocess.run(
            ["bash", "-c", line], capture_output=True, text=True, timeout=100, env=env, check=False, cwd=tmp_path
        )
        assert "Traceback" not in done.stderr
        return done

    return ran


needs_full = pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")


@needs_full
@pytest.mark.parametrize("words", ["check j --no-pictures --json", "check j --no-pictures", "--help", "--version"])
def test_a_full_disk_under_stdout_is_one_line_and_a_status_of_its_own(shell, words):
    done = shell(f"$S {words} > /dev/full")
    assert done.returncode == Exit.NOT_WRITTEN
    (line,) = done.stderr.splitlines()
    assert "No space left on device" in line
    assert "make room" in line


def test_closed_stderr_changes_nothing(shell):
    done = shell("$S check j --no-pictures --json 2>&-")
    assert done.returncode == Exit.UNPROVEN
    assert json.loads(done.stdout)["jobs"][0]["job"] == "a"


@needs_full
@pytest.mark.parametrize("gone", ["2> >(true)", "2> /dev/full", "2>&-"])
def test_complaints_that_nobody_takes_keep_document_and_status(shell, gone):
    done = shell(f"$S check nope j --no-pictures --json {gone}")
    assert done.returncode == Exit.UNREADABLE
    assert [one["job"] for one in json.loads(done.stdout)["jobs"]] == ["nope", "a"]


def test_a_deleted_working_folder_is_one_line_with_the_remedy(shell):
    done = shell('mkdir gone; cd gone; rmdir ../gone; $S check "$OLDPWD/j" --json; echo rc $?; $S rules')
    assert done.stdout == f"rc {Exit.USAGE.value}\n"
    assert done.returncode == Exit.USAGE
    assert [("is not there any more; change to another" in line) for line in done.stderr.splitlines()] == [True, True]
