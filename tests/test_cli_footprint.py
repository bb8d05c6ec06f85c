"""The footprint as people run it, on the demo's first opening. Oracle: contract.md, *Commands*; the demo's readings."""

import json
import shutil
from pathlib import Path

import pytest
from PIL import Image

from sizing.cli import run
from sizing.exits import Exit
from sizing.messages import footprint as words
from tests.desk_visit import smaller, write_smaller

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"


@pytest.fixture
def demo(tmp_path, monkeypatch):
    """The demo's first opening with more lines of its own; the data folder apart."""
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    folder = tmp_path / "job"
    shutil.copytree(DEMO / "rules", folder / "rules")
    write_smaller("w1.jpg", folder)
    text = smaller((DEMO / "job.toml").read_text(encoding="utf-8"))
    first = text[: text.index('[[opening]]\nlabel = "W2"')]

    def write(more="", drop=""):
        (folder / "job.toml").write_text(first.replace('note = "kitchen', f'{more}note = "kitchen').replace(drop, ""))
        return folder

    return write


def test_pictures_and_lines_of_a_free_opening_are_written(demo, capsys):
    folder = demo('clearances = { left = "20", above = "15" }\n')
    assert run(["footprint", str(folder), "--quiet"]) == Exit.DONE
    out = capsys.readouterr().out
    # 36 1/4 in and the rule's 1 in; 46 1/8 in and 3 in, the chart's 49 in.
    assert "W1: nothing known is in the way\n  37 1/4 in wide, 49 in high, as ordered" in out
    assert "room left of the opening: 20 in there" in out
    assert words.CAUTION in out
    pictures = sorted((folder / "secondtape").glob("footprint-*/*.jpg"))
    assert [p.name for p in pictures] == ["W1-footprint-in-photo.jpg", "W1-footprint-on-wall.jpg"]
    for picture in pictures:
        with Image.open(picture) as image:
            assert not image.getexif()


def test_a_thing_in_the_way_ends_with_1_and_stands_in_the_document(demo, capsys, tmp_path):
    # Across the left jamb, by the corners that the demo's job gives: 4 in of it before the opening.
    pipe = 'obstacles = [{ what = "down pipe", photo = "w1.jpg", box = [333, 180, 414, 780] }]\n'
    folder, out = demo(pipe), tmp_path / "pictures"
    assert run(["footprint", str(folder), "--json", "--quiet", "--out", str(out)]) == Exit.HOLD
    (one,) = json.loads(capsys.readouterr().out)["openings"]
    assert (one["drawn"], one["verdict"]) == (True, "in-the-way")
    assert len(one["pictures"]) == len(list(out.rglob("*.jpg"))) == 2
    assert not (folder / "secondtape").exists()
    assert run(["footprint", str(folder), "--quiet", "--out", str(out)]) == Exit.HOLD
    assert words.OBSTACLES in capsys.readouterr().out


def test_what_is_not_drawn_is_said_with_the_remedy(demo, capsys):
    folder = demo(drop='photos = [{ file = "w1.jpg", corners = [[355, 134], [887, 138], [874, 817], [349, 804]] }]')
    assert run(["footprint", str(folder)]) == Exit.UNPROVEN
    assert "W1: not drawn, no photo of it measures the wall" in capsys.readouterr().out
    assert run(["footprint", str(folder), "--opening", "W9"]) == Exit.USAGE
    assert "W9" in capsys.readouterr().err
    (folder / "job.toml").write_text("[job]\n")
    assert run(["footprint", str(folder), "--json"]) == Exit.UNREADABLE
    assert json.loads(capsys.readouterr().out)["error"]


def test_where_nothing_can_be_written_the_figures_stand(demo, capsys, tmp_path):
    folder, file = demo(), tmp_path / "a-file"
    file.write_text("x")
    assert run(["footprint", str(folder), "--quiet", "--out", str(file)]) == Exit.DONE
    said = capsys.readouterr()
    assert "a-file" in said.err
    assert "37 1/4 in wide" in said.out
    (folder / "blank.toml").write_text("blank = 3\n")
    assert run(["footprint", str(folder), "--quiet", "--out", str(tmp_path / "out")]) == Exit.DONE
    assert "blank.toml" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("code", "facts", "says"),
    [
        (
            "obstacle-not-placed",
            {"what": "lamp", "photo": "b.jpg"},
            "lamp is outlined in b.jpg, which was not measured",
        ),
        (
            "obstacle-unsure",
            {"what": "lamp", "edge": "left", "gap_mm": 5.0, "U95_mm": 12.7},
            "lamp, left of the opening: whether it is in the way cannot be told",
        ),
        (
            "clearance-too-small",
            {"edge": "above", "needed_mm": 76.2, "there_mm": 50.8, "U95_mm": 3.2},
            "Free above the opening: 2 in; the ordered size takes about 3 in",
        ),
        (
            "clearance-unsure",
            {"edge": "below", "needed_mm": 50.8, "there_mm": 50.8, "U95_mm": 3.2},
            "too close to tell. Measure the room again.",
        ),
    ],
)
def test_each_problem_says_where_and_what_to_do(code, facts, says):
    assert says in words.problem_says(code, facts, "in")


@pytest.mark.parametrize(
    ("over", "says"),
    [
        ([("above", 50.8), ("left", 12.7)], "above 2 in, left 1/2 in ("),
        ([("above", 50.8), ("below", -25.4)], "above 2 in; below it ends 1 in short ("),
        ([("below", -0.2)], "below 0 in ("),
        ([("left", -12.7)], "nothing; left it ends 1/2 in short ("),
    ],
)
def test_where_the_size_ends_short_of_the_opening_no_sign_has_to_be_read(over, says):
    assert says in words.overhang_line(over, 1.6, "in")
