"""What the command line says, and how it ends: facts of POSIX pipes and signals, the remedy beside each problem."""

import os
import signal
import sys

import pytest
import typer

from sizing import versions
from sizing.commands import streams
from sizing.exits import Exit


def test_a_reader_that_has_gone_away_is_no_fault(monkeypatch):
    read, write = os.pipe()
    os.close(read)  # POSIX: a write to a pipe that nobody reads is EPIPE
    with os.fdopen(write, "w") as gone:
        monkeypatch.setattr(sys, "stdout", gone)
        streams.say("one line")
        streams.say("and one to nowhere")


def interrupted():
    with streams._line_finished():
        signal.raise_signal(signal.SIGINT)
        print("the whole line")


@pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")
def test_an_interrupt_waits_for_the_line_in_hand(capsys):
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            interrupted()
        assert capsys.readouterr().out == "the whole line\n"
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)


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
