"""Facts about hostile and careless job folders, through the command line. Oracle: contract.md, *Commands*.

Whatever lies in the folder: one clear line on stderr, one JSON document on stdout, nothing written elsewhere.
"""

import json
import os
import struct
import zlib

import pytest

from sizing.cli import run
from sizing.exits import Exit

HEAD = '[job]\nid = "harbor-114"\nunits = "in"\n'
READINGS = """
width = { top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }
height = { left = "60 1/8", middle = "60 1/8", right = "60 1/8" }
"""
SOUND = f'[[opening]]\nlabel = "OK2"\nwall = "masonry"\n{READINGS}'


def opening(photos="[]", more="", readings=READINGS):
    return f'[[opening]]\nlabel = "W1"\nwall = "masonry"\nphotos = {photos}\n{more}{readings}'


@pytest.fixture
def check(tmp_path, capsys):
    """Return a function that checks a job and returns status, its element of `jobs`, and the lines of stderr."""
    folder = tmp_path / "job"
    folder.mkdir()

    def checked(text, *words):
        (folder / "job.toml").write_text(text, encoding="utf-8")
        beside = set(tmp_path.iterdir())
        status = run(["check", "--json", "--no-pictures", str(folder), *words])
        said = capsys.readouterr()
        assert set(tmp_path.iterdir()) == beside
        assert all(line.isprintable() for line in said.err.splitlines())
        assert "Traceback" not in said.err
        return status, json.loads(said.out)["jobs"][0], said.err.splitlines()

    checked.folder = folder
    return checked


def png_of(width, height):
    """Return a PNG that declares a size and holds almost nothing (PNG, third edition, 11.2.1)."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = chunk(b"IDAT", zlib.compress(bytes(3000), 0)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + body


BAD_FILES = {
    "empty": (b"", "is empty"),
    "text": (b"no picture at all\n" * 200, "not a photo"),
    "cut-off": (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + b"\x01" * 3000, "p.jpg"),
    "huge-header": (png_of(60_000, 60_000), "more than 250 MP"),
}


@pytest.mark.parametrize(("data", "fact"), BAD_FILES.values(), ids=BAD_FILES)
def test_a_file_that_is_no_photo_is_one_line_and_named_as_in_the_job(check, data, fact):
    (check.folder / "p.jpg").write_bytes(data)
    status, job, lines = check(HEAD + opening('["p.jpg"]') + SOUND)
    assert status == Exit.UNREADABLE
    assert len(lines) == 1
    assert fact in lines[0]
    assert lines[0].count(str(check.folder)) == 1  # the job file, once
    assert str(check.folder) not in json.dumps(job["openings"])
    assert [o["verdict"] for o in job["openings"]] == ["unproven", "unproven"]


@pytest.mark.parametrize("kind", ["folder", "pipe", "link-out", "loop"])
def test_what_is_no_regular_file_of_the_folder_is_never_opened(check, tmp_path, kind):
    path = check.folder / "p.jpg"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to(path if kind == "loop" else tmp_path)
    status, job, lines = check(HEAD + opening('["p.jpg"]') + SOUND)
    assert (status, len(lines), len(job["openings"])) == (Exit.UNREADABLE, 1, 2)
    assert "'p.jpg'" in lines[0]


@pytest.mark.parametrize("name", ["../p.jpg", "/etc/hostname", "p\\u0000.jpg", "p\\u001b[31m\\n.jpg", "y" * 5000])
def test_a_strange_name_of_a_photo_is_one_short_line(check, name):
    status, job, lines = check(HEAD + opening(f'["{name}"]') + SOUND)
    assert (status, len(lines), len(job["openings"])) == (Exit.UNREADABLE, 1, 2)
    assert len(lines[0]) < len(str(check.folder)) + 300


BAD_JOBS = {
    "unknown key": (HEAD + opening(more="qauntity = 2\n"), "did you mean 'quantity'"),
    "unit of the job": (HEAD.replace('"in"', '"ft"') + SOUND, "job.units"),
    "unit of a length": (HEAD + opening(readings='width = { top = "5 cubits" }'), "width.top"),
    "negative": (HEAD + opening(readings='width = { top = "-54 3/8" }'), "is negative"),
    "ambiguous": (HEAD + opening(readings='width = { top = "54 3 8" }'), "can be read as"),
    "label twice": (HEAD + SOUND + SOUND, "2 openings have this label"),
    "label of control characters": (HEAD + SOUND.replace("OK2", "a\\u0000\\u202eb"), "can be printed"),
    "very long label": (HEAD + SOUND.replace("OK2", "y" * 5000), "1 to 100 characters"),
    "300 openings": (HEAD + "".join(SOUND.replace("OK2", f"L{i}") for i in range(300)), "at most 200 openings"),
    "1.5 MB": (HEAD + SOUND + "# " + "x" * 1_500_000, "over 1 MB"),
    "not TOML": ("hello world = =\n", "line 1"),
}


@pytest.mark.parametrize(("text", "fact"), BAD_JOBS.values(), ids=BAD_JOBS)
def test_a_job_that_cannot_be_read_is_one_line_with_its_fact(check, text, fact):
    status, job, lines = check(text)
    assert (status, len(lines)) == (Exit.UNREADABLE, 1)
    assert fact in lines[0]
    assert fact in job["error"]["message"]
    assert not (check.folder / "secondtape").exists()


def test_an_out_that_is_a_file_is_a_warning_with_the_remedy(check, tmp_path):
    (tmp_path / "taken").write_text("mine")
    status, _, lines = check(HEAD + SOUND, "--out", str(tmp_path / "taken"))
    assert status == Exit.UNPROVEN
    assert len(lines) == 1
    assert "is not a folder; name one with --out DIR" in lines[0]
    assert (tmp_path / "taken").read_text() == "mine"


def test_lengths_no_opening_has_hold_without_a_photo_and_blame_none(check):
    readings = 'width = { top = "400", middle = "54 3/8", bottom = "2" }'
    status, job, _ = check(HEAD + opening(readings=readings))
    one = job["openings"][0]
    assert (status, one["verdict"]) == (Exit.HOLD, "hold")
    assert one["why"].startswith("No opening has that size: width, top; width, bottom.")
    assert one["readings"][0]["likely"][0]["slip"] == "wrong-unit"


def test_a_document_that_cannot_be_used_is_one_line_and_stops_nothing(check):
    documents = 'documents = [{ file = "../order.pdf", kind = "order" }]\n'
    status, job, lines = check(HEAD + opening(more=documents))
    assert (status, len(lines)) == (Exit.UNPROVEN, 1)
    assert "documents[0]" in lines[0]
    assert "lies outside" in lines[0]
    assert "error" in job["openings"][0]["documents"][0]


def test_what_is_kept_is_shown_whole(check):
    (check.folder / "p.jpg").write_bytes(b"x" * 2000)
    more = (
        'obstacles = [{ what = "lamp", photo = "p.jpg", box = [1, 2, 3, 4] }]\nclearances = { above = "3" }\n'
        'ordered = { width = "54", height = "60" }\ndelivered = { width = "54", by = "crew 5", tape = "laser" }\n'
    )
    _, job, _ = check(HEAD + opening('["p.jpg"]', more))
    one = job["openings"][0]
    assert one["obstacles"][0]["outline_px"] == [[1, 2], [3, 2], [3, 4], [1, 4]]
    assert one["clearances_mm"] == {"above": 76.2}
    assert one["delivered"] == {"width_mm": 1371.6, "by": "crew 5", "tape": "laser"}
    assert "order-not-checked" in {w["code"] for w in one["warnings"]}


def test_a_job_file_that_is_a_loop_of_links_does_not_stop_the_next_job(check, capsys):
    (check.folder / "job.toml").write_text(HEAD + SOUND)
    loop = check.folder / "loop"
    loop.mkdir()
    (loop / "job.toml").symlink_to("job.toml")
    status = run(["check", "--json", "--no-pictures", str(loop), "y" * 5000, str(check.folder)])
    said = capsys.readouterr()
    assert [job["verdict"] for job in json.loads(said.out)["jobs"]] == ["unproven"] * 3
    assert (status, len(said.err.splitlines())) == (Exit.UNREADABLE, 2)


def test_labels_that_look_the_same_are_one_label_twice(check):
    status, _, lines = check(HEAD + SOUND.replace("OK2", "\u00e9") + SOUND.replace("OK2", "e\u0301"))
    assert (status, len(lines)) == (Exit.UNREADABLE, 1)
    assert "2 openings have this label" in lines[0]


def test_a_file_of_rubbish_decisions_is_said_in_few_lines(check):
    (check.folder / "decisions.jsonl").write_bytes(b"x\n" * 5000 + b'{"time": ' + b"9" * 5000 + b"}\n")
    status, _, lines = check(HEAD + SOUND)
    assert (status, len(lines)) == (Exit.UNPROVEN, 21)
    assert "4981 more lines" in lines[-1]


def test_many_rule_files_that_say_nothing_are_one_short_line(check):
    (check.folder / "rules").mkdir()
    for i in range(40):
        (check.folder / "rules" / f"x{i}.toml").write_text("=")
    _, _, lines = check(HEAD + opening(more='rule = "r1"\n'))
    assert len(lines) == 1
    assert "and 35 more" in lines[0]


def test_offsets_for_all_and_by_side_together_are_refused_as_such(check):
    _, _, lines = check(HEAD + opening(more='edge_offset = { value = "1", head = 0 }\n'))
    assert len(lines) == 1
    assert "one value, or one for each side" in lines[0]


def test_a_key_of_thousands_of_letters_is_a_short_line(check):
    _, _, lines = check(HEAD + opening(more="k" * 5000 + " = 1\n"))
    assert len(lines) == 1
    assert len(lines[0]) < len(str(check.folder)) + 400


@pytest.mark.parametrize("words", [["sheet", "--out", "y" * 5000], ["log", "rebuild", "y" * 5000]], ids=lambda w: w[0])
def test_a_name_too_long_for_the_disk_is_bad_usage_in_one_short_line(words, capsys):
    assert run(words) == Exit.USAGE
    [line] = capsys.readouterr().err.splitlines()
    assert "File name too long" in line
    assert len(line) < 300


@pytest.mark.parametrize(
    "corners", ["1e308,1 2,2 3,3 4,4", "1,1 -1e308,2 3,3 -", "1,1 1e7,2 9,9 1,9", "800,800 801,800 801,801 800,801"]
)
def test_corners_no_photo_can_hold_are_bad_usage_in_one_line(corners, capsys):
    assert run(["estimate", "p.jpg", "--corners", corners]) == Exit.USAGE
    [line] = capsys.readouterr().err.splitlines()
    assert line.startswith("--corners: ")


def test_the_name_of_a_rule_file_cannot_steer_the_terminal(tmp_path, capsys):
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "\x1b[31m\n\u202e.toml").write_text("=")
    run(["rules", "list", str(tmp_path)])
    said = capsys.readouterr()
    assert all(line.isprintable() for line in (said.out + said.err).splitlines())


def test_clicked_corners_on_one_spot_measure_nothing(check):
    """Found: corners 0.001 px apart gave a width of 0.001 mm, and a hold on its account."""
    (check.folder / "p.jpg").write_bytes(b"x" * 2000)
    corners = "[[800, 800], [800.001, 800], [800.001, 800.001], [800, 800.001]]"
    status, job, lines = check(HEAD + opening(f'[{{ file = "p.jpg", trace = false, corners = {corners} }}]'))
    assert (status, job["verdict"], len(lines)) == (Exit.UNREADABLE, "unproven", 1)
    assert "less than 5 px apart" in lines[0]
