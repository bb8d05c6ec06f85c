"""Progress of many jobs. Oracles: what a terminal then shows (ECMA-48, `screen`); no-color.org."""

import contextlib
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sizing.commands.progress_bar import progress_of
from tests.screen import screen

ROOT = Path(__file__).parent.parent
JOB = '[job]\nid = "{0}"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\nwidth = {{ top = "54" }}\n'
ESCAPE = "\x1b"


class Terminal(io.StringIO):
    """A stream that says of itself that it is a terminal."""

    encoding = "utf-8"

    def isatty(self):
        return True


@pytest.fixture
def terminal(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    return Terminal()


def shown(terminal, total, quiet=False):
    with contextlib.redirect_stderr(terminal), progress_of(total, quiet) as bar:
        bar.in_work(["a", "b"], 1)
        if bar.step is not None:
            bar.step("measuring w1.jpg")
        with bar.aside():
            print("a is done", file=sys.stderr)
        bar.in_work(["b"], 2)
        bar.in_work(["b"], 2)


def test_a_bar_is_gone_when_all_is_done_and_what_was_said_stays(terminal):
    shown(terminal, 3)
    assert "2 of 3 jobs" in terminal.getvalue()
    assert "measuring w1.jpg" in terminal.getvalue()
    assert [line for line in screen(terminal.getvalue()) if line.strip()] == ["a is done"]


@pytest.mark.parametrize(("name", "value"), [("NO_COLOR", "1"), ("TERM", "dumb"), ("TERM", "")])
def test_a_terminal_that_wants_no_escape_codes_gets_lines(terminal, monkeypatch, name, value):
    monkeypatch.setenv(name, value)
    shown(terminal, 3)
    assert terminal.getvalue().splitlines() == [
        "1 of 3 jobs done; in work: a, b",
        "measuring w1.jpg",
        "a is done",
        "2 of 3 jobs done; in work: b",
    ]


def test_one_job_is_shown_step_by_step(terminal):
    shown(terminal, 1)
    assert terminal.getvalue().splitlines() == ["measuring w1.jpg", "a is done"]


def test_nothing_is_shown_to_who_wants_quiet_or_in_a_pipe(terminal, monkeypatch):
    shown(terminal, 3, quiet=True)
    assert terminal.getvalue() == "a is done\n"
    monkeypatch.setattr(terminal, "isatty", lambda: False)
    shown(terminal, 3)
    assert terminal.getvalue() == "a is done\n" * 2


def test_a_terminal_that_is_gone_stops_nothing(terminal, monkeypatch):
    def gone(_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(terminal, "write", gone)
    with contextlib.redirect_stderr(terminal), progress_of(3, False) as bar:
        bar.in_work(["a"], 1)


@pytest.fixture
def on_terminal(tmp_path):
    """Return a function that runs the program with stderr, and stdout if wanted, on a terminal; what both got."""
    pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")

    def ran(words, *, out):
        ours, theirs = pty.openpty()
        env = {**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm", "COLUMNS": "300"}
        env.pop("NO_COLOR", None)
        with (tmp_path / "out").open("wb") as file:
            process = subprocess.Popen(
                [sys.executable, "-m", "sizing.cli", *words],
                stdin=theirs,
                stdout=theirs if out else file,
                stderr=theirs,
                env=env,
                cwd=tmp_path,
            )
        os.close(theirs)
        got = b""
        try:
            while piece := os.read(ours, 1 << 16):
                got += piece
        except OSError:  # Linux: a terminal that nobody holds any more is EIO
            pass
        os.close(ours)
        process.wait(60)
        return got.decode(), (tmp_path / "out").read_text()

    return ran


@pytest.mark.parametrize("out", [True, False], ids=["one terminal", "stdout in a file"])
def test_results_and_complaints_are_whole_where_the_bar_was(on_terminal, tmp_path, out):
    for name in ("first", "last"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "job.toml").write_text(JOB.format(name))
    got, written = on_terminal(["check", "--no-pictures", "--at-once", "1", "first", "nope", "last"], out=out)
    assert "0 of 3 jobs" in got
    lines = [line for line in screen(got) if line.strip()]
    results = lines if out else written.splitlines()
    heads = [line.split()[0] for line in results if line and not line.startswith(" ")]
    assert heads == (["first", "nope:", "nope", "last"] if out else ["first", "nope", "last"])
    assert ESCAPE not in written
    assert "nope: no such job: name a job file, or a folder that holds job.toml" in lines
    assert not any("of 3 jobs" in line or "━" in line for line in lines)
