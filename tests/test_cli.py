"""Facts about the command line, run as people run it. Oracle: contract.md, *Commands* and *Limits*."""

import functools
import json
import os
import re
import signal
import struct
import subprocess
import sys
import time
import zlib
from pathlib import Path

import pytest

from sizing.cli import main, run
from sizing.exits import Exit
from tests.bare_opening import HEAD, SIZES, opening
from vision.errors import PhotoError

ROOT = Path(__file__).parent.parent


@pytest.fixture
def job(tmp_path):
    def write(text, name="job"):
        folder = tmp_path / name
        folder.mkdir(exist_ok=True)
        (folder / "job.toml").write_text(text, encoding="utf-8")
        return folder

    return write


def program(*words, **how):
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error"}
    command = [sys.executable, "-m", "sizing.cli", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, timeout=100, env=env, check=False, **how)


def png_of_size(width, height):
    """A PNG whose header says so many pixels and that holds none."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", b"x" * 2000) + chunk(b"IEND", b"")


def test_a_job_without_photos_runs_as_a_program_and_prints_one_document(job):
    done = program("check", job(HEAD + opening()), "--json")
    assert done.returncode == Exit.UNPROVEN
    document = json.loads(done.stdout)
    assert document["schema"] == "secondtape/1"
    assert document["jobs"][0]["openings"][0]["verdict"] == "unproven"
    assert done.stderr == ""


def test_help_does_not_import_what_is_heavy():
    code = "import sys, sizing.cli; print([m for m in ('numpy', 'cv2', 'scipy', 'PIL') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "[]"


def test_every_command_is_documented_with_an_example(capsys):
    """The commands are those that the help itself lists."""

    def listed(words):
        assert run([*words, "--help"]) == Exit.DONE
        out = capsys.readouterr().out
        below = out.partition("Commands:\n")[2]
        return out, [line.split()[0] for line in below.splitlines() if re.match(r"  \w", line)]

    _, commands = listed([])
    assert len(commands) > 10
    for command in commands:
        out, below = listed([command])
        assert f"Example: secondtape {command}" in " ".join(out.split()), command
        for one in below:
            assert f"Example: secondtape {command} {one}" in " ".join(listed([command, one])[0].split()), (command, one)


def test_help_and_version_end_well(capsys):
    assert run(["--help"]) == Exit.DONE
    out = capsys.readouterr().out
    assert all(command in out for command in ("check", "estimate", "sheet"))
    assert run(["--version"]) == Exit.DONE
    assert "opencv-python-headless" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["chekc"],
        ["check"],
        ["check", "--nix", "."],
        ["check", "--json", "--jsonl", "."],
        ["estimate"],
        ["estimate", "a.jpg", "--click", "many"],
        ["estimate", "a.jpg", "--lens", "a.toml"],
        ["estimate", "a.jpg", "--rule", "a"],
        ["estimate", "a.jpg", "--wall", "ice"],
        ["estimate", "a.jpg", "--as-clicked"],
        ["estimate", "a.jpg", "--corners", "1,2 3,4"],
        ["sheet", "--page", "a5"],
    ],
)
def test_bad_usage_is_a_line_on_stderr_and_status_2(words, capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    assert run(words) == Exit.USAGE
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.strip().splitlines()) == 1 or words == ["estimate"]
    assert "Traceback" not in said.err


def test_all_wrong_options_are_said_at_once(capsys):
    assert run(["estimate", "a.jpg", "--wall", "ice", "--click", "-1", "--lens", "x"]) == Exit.USAGE
    assert [line.split(":")[0] for line in capsys.readouterr().err.splitlines()] == [
        "--wall",
        "--click",
        "--lens",
    ]


def test_no_words_at_all_is_bad_usage():
    assert run([]) == Exit.USAGE


BAD_JOBS = {
    "not TOML": ("x = [", "line"),
    "unknown key": (HEAD + 'tolerence = "1/4"\n' + opening(), "tolerance"),
    "unknown unit": (HEAD + opening(sizes='width = { top = "54 furlong" }'), "54 furlong"),
    "negative length": (HEAD + opening(sizes='width = { top = "-54" }'), "negative"),
    "ambiguous length": (HEAD + opening(sizes='width = { top = "54 316" }'), "54 316"),
    "labels twice": (HEAD + opening() + opening(), "W1"),
    "no file": (None, "job.toml"),
}


@pytest.mark.parametrize(("text", "named"), BAD_JOBS.values(), ids=BAD_JOBS.keys())
def test_a_bad_job_file_is_said_in_lines_that_name_file_and_fault(text, named, job, tmp_path, capsys):
    folder = tmp_path if text is None else job(text)
    assert run(["check", str(folder), "--json"]) == Exit.UNREADABLE
    said = capsys.readouterr()
    assert named in said.err
    assert "Traceback" not in said.err
    (one,) = json.loads(said.out)["jobs"]
    assert set(one["error"]) >= {"code", "message"}
    assert "openings" not in one


def test_one_bad_job_does_not_stop_the_next(job, capsys):
    folders = [job("x = [", "bad"), job(HEAD + opening(), "good")]
    assert run(["check", "--jsonl", *map(str, folders)]) == Exit.UNREADABLE
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert ["error" in line for line in lines] == [True, False]
    assert {line["schema"] for line in lines} == {"secondtape/1"}


def bad_photos(folder):
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "text.jpg").write_text("no photo\n" * 500)
    (folder / "cut.jpg").write_bytes(b"\xff\xd8\xff\xe0" + b"\0" * 4000)
    (folder / "huge.png").write_bytes(png_of_size(100_000, 100_000))
    (folder / "folder.jpg").mkdir()
    os.mkfifo(folder / "pipe.jpg")
    (folder.parent / "outside.jpg").write_bytes(b"x" * 2000)
    return [
        "missing.jpg",
        "empty.jpg",
        "text.jpg",
        "cut.jpg",
        "huge.png",
        "folder.jpg",
        "pipe.jpg",
        "../outside.jpg",
    ]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_every_bad_photo_is_one_line_and_the_rest_goes_on(job, capsys):
    folder = job("")
    photos = bad_photos(folder)
    text = HEAD + "".join(opening(f"W{i}", f'photos = ["{name}"]') for i, name in enumerate(photos)) + opening("last")
    (folder / "job.toml").write_text(text, encoding="utf-8")
    assert run(["check", str(folder), "--json"]) == Exit.UNREADABLE
    said = capsys.readouterr()
    lines = said.err.splitlines()
    assert len(lines) == len(photos)
    for line, name in zip(lines, photos, strict=True):
        assert Path(name).name in line
        assert "job.toml" in line
    openings = json.loads(said.out)["jobs"][0]["openings"]
    assert [o["verdict"] for o in openings] == ["unproven"] * (len(photos) + 1)
    assert all(o["photos"][0]["error"]["message"] for o in openings[:-1])


def test_corners_that_cross_are_a_fault_of_their_photo(job, capsys):
    crossed = 'photos = [{ file = "a.jpg", corners = [[0, 0], [9, 9], [9, 0], [0, 9]] }]'
    folder = job(HEAD + opening(more=crossed))
    (folder / "a.jpg").write_bytes(b"x" * 2000)
    assert run(["check", str(folder)]) == Exit.UNREADABLE
    (line,) = capsys.readouterr().err.splitlines()
    assert "corners" in line
    assert "job.toml" in line


def test_estimate_of_a_photo_that_is_none_says_why_last(tmp_path, capsys):
    (tmp_path / "a.jpg").write_text("no photo\n" * 500)
    assert run(["estimate", str(tmp_path / "a.jpg"), "--json"]) == Exit.UNREADABLE
    said = capsys.readouterr()
    assert "a.jpg" in said.err.splitlines()[-1]
    (one,) = json.loads(said.out)["openings"]
    assert "measures" not in one
    assert one["why"]


def test_a_view_for_people_has_a_line_an_opening(job, capsys):
    wrong = SIZES.replace("54 1/4", "55 1/4")
    run(["check", "--no-pictures", str(job(HEAD + opening() + opening("W2", sizes=wrong)))])
    out = capsys.readouterr().out
    assert "  W1  not checked: no photo" in out
    assert "  W2  stop: ask" in out
    assert "width, middle" in out
    assert "2 openings: 1 stop and ask, 1 cannot be told" in out
    assert "  result.json: " in out
    assert "Pictures" not in out


def test_out_takes_the_run_folder_elsewhere(job, tmp_path, capsys):
    folder, out = job(HEAD + opening()), tmp_path / "out"
    run(["check", str(folder), "--out", str(out)])
    assert str(out) in capsys.readouterr().out
    assert [p.name for p in folder.iterdir()] == ["job.toml"]
    assert len(list(out.glob("*/result.json"))) == 1


def test_a_reader_that_goes_away_does_not_change_the_status(job):
    words = [sys.executable, "-m", "sizing.cli", "check", str(job(HEAD + opening())), "--json"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT) as process:
        process.stdout.close()
        said = process.stderr.read()
    assert process.returncode == Exit.UNPROVEN
    assert said == b""


@pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")
def test_an_interrupt_ends_with_130_and_whole_lines(job):
    folder = job(HEAD + "".join(opening(f"W{i}") for i in range(25)))
    words = [sys.executable, "-m", "sizing.cli", "check", "--no-pictures", "--jsonl", *[str(folder)] * 2000]
    heard = functools.partial(signal.signal, signal.SIGINT, signal.SIG_DFL)  # a suite run with & ignores it
    with subprocess.Popen(
        words,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
        bufsize=0,  # so that nothing of the next line is taken along with the first
        preexec_fn=heard,  # noqa: PLW1509
    ) as process:
        first = process.stdout.readline()
        time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        rest, said = process.communicate(timeout=60)
    assert process.returncode == Exit.INTERRUPTED
    lines = [first, *rest.splitlines()]
    for line in lines:
        json.loads(line)
    assert said.decode().splitlines() == [
        f"{len(lines)} of 2000 jobs are done, in the order typed. Not done: {folder} and all after it; "
        "check again from there on.",
        "Interrupted.",
    ]


def test_a_mistake_of_the_program_shows_its_trace_and_its_own_status(monkeypatch, capsys, tmp_path):
    def fails(*args, **kwargs):
        raise ZeroDivisionError

    monkeypatch.setattr("sizing.printed.sheets.write_sheets", fails)
    assert run(["sheet", "--out", str(tmp_path)]) == Exit.FAULT
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("raised", "status", "said"),
    [
        (KeyboardInterrupt(), Exit.INTERRUPTED, "Interrupted."),
        (PhotoError("photo-format", "w1.jpg: no photo: send it as JPEG"), Exit.UNREADABLE, "w1.jpg: no photo"),
        (FileExistsError(17, "File exists", "a" * 300), Exit.USAGE, "aaa...: File exists; name another file or folder"),
    ],
)
def test_what_a_command_meets_is_one_line_and_its_status(monkeypatch, capsys, tmp_path, raised, status, said):
    def meets(*args, **kwargs):
        raise raised

    monkeypatch.setattr("sizing.printed.sheets.write_sheets", meets)
    assert run(["sheet", "--out", str(tmp_path)]) == status
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


def test_the_program_ends_with_the_status_of_its_command(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["secondtape", "--version"])
    monkeypatch.setattr(signal, "signal", lambda *_: None)  # this process goes on
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == Exit.DONE
    assert capsys.readouterr().out.startswith("secondtape ")


def test_an_opencv_that_is_too_old_is_said_before_measuring(monkeypatch, capsys, tmp_path):
    import cv2

    monkeypatch.setattr(cv2, "__version__", "4.12.0")
    assert run(["check", str(tmp_path)]) == Exit.USAGE
    assert "4.12.0" in capsys.readouterr().err


def test_sheets_and_guide_are_written(tmp_path, capsys):
    assert run(["sheet", "--out", str(tmp_path / "print"), "--letters", "AB"]) == Exit.DONE
    assert sorted(p.name for p in (tmp_path / "print").iterdir()) == ["photo-guide.pdf", "sheets-letter.pdf"]
    assert "100 %" in capsys.readouterr().out
