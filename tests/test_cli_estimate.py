"""The estimate as people run it, on a photo of the demo. Oracle: contract.md, *Commands*; the photo's own truth."""

import json
import re
import sys
from pathlib import Path

import pytest

from sizing.cli import run
from sizing.exits import Exit
from sizing.messages.remedy import remedy_says

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
W1 = [str(DEMO / "w1.jpg"), "--corners", "592,223 1478,230 1457,1361 581,1340", "--wall", "masonry"]
W1 += ["--check-bar", "across=149.8mm,along=199.8mm", "--edge-offset", "0"]


def test_an_estimate_lists_measures_and_sizes_marked_as_not_for_ordering(capsys, tmp_path):
    rule = str(DEMO / "rules" / "louvered-outside.toml")
    assert run(["estimate", *W1, "--rule", rule, "--out", str(tmp_path)]) == Exit.DONE
    out = capsys.readouterr().out
    truth = json.loads((DEMO / "w1.truth.json").read_text())["measures_mm"]
    inches = re.search(r"width, middle +about (\d+)(?: (\d+)/(\d+))? in, give or take", out)
    said = int(inches[1]) + (int(inches[2]) / int(inches[3]) if inches[2] else 0)
    assert abs(said * 25.4 - truth["width_middle"]) < 6.35
    assert "Not for ordering" in out
    assert re.search(r"\d in wide, 49 in high: ", out)
    (folder,) = tmp_path.iterdir()
    assert json.loads((folder / "result.json").read_text())["openings"][0]["order"]["sizes"]
    assert any(p.suffix == ".jpg" for p in folder.iterdir())


def test_an_estimate_without_pictures_is_written_as_numbers_alone(tmp_path, capsys):
    # Contract, *Commands*: `--no-pictures`, as of `check`.
    assert run(["estimate", *W1, "--no-pictures", "--out", str(tmp_path)]) == Exit.DONE
    assert [file.name for file in tmp_path.rglob("*.*")] == ["result.json"]
    (line,) = [line for line in capsys.readouterr().out.splitlines() if "result.json" in line]
    assert line.startswith("result.json: ")


@pytest.mark.parametrize("words", [("estimate", "--reference", "letter"), ("lens",)])
def test_a_photo_named_endlessly_is_refused_on_lines_that_can_be_read(capsys, words):
    # common practice, no source: POSIX lets a name have 255 bytes, so such a one is a slip, and nobody reads it all
    assert run([words[0], "n" * 5000 + ".jpg", *words[1:]]) != Exit.DONE
    said = capsys.readouterr()
    assert "n" * 77 + "..." in said.err
    assert max(map(len, (said.out + said.err).splitlines())) < 300


def test_what_cannot_be_measured_says_why_and_what_photo_to_take(capsys):
    assert run(["estimate", str(DEMO / "w3.jpg"), "--reference", "sheet"]) == Exit.UNPROVEN
    said = capsys.readouterr()
    (why,) = [line for line in said.err.splitlines() if "take the photo again" in line]
    assert f"Could not be measured: {why[why.index('no printed sheet') :]}" in said.out  # stdout may be read alone
    assert "above" not in said.out


def test_on_one_screen_a_complaint_is_not_read_twice(capsys, monkeypatch):
    # POSIX: isatty tells a terminal; who looks at both streams reads the same line once. Common practice, no source.
    for stream in (sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: True)
    assert run(["estimate", str(DEMO / "w3.jpg"), "--quiet"]) == Exit.UNPROVEN
    said = capsys.readouterr()
    assert "Could not be measured: no printed sheet was found in w3.jpg" in said.out
    assert "no printed sheet" not in said.err
    assert run(["estimate", str(DEMO / "w3.jpg"), "--quiet", "--json"]) == Exit.UNPROVEN
    assert "no printed sheet was found in w3.jpg" in capsys.readouterr().err  # JSON is for a program


@pytest.mark.parametrize("stream", ["out", "err"])
def test_corners_that_are_asked_for_are_asked_for_by_the_option_that_takes_them(capsys, stream):
    # Contract, *Commands*: --corners "x,y x,y x,y x,y", upright photo, top left first, clockwise; each stream alone.
    assert run(["estimate", str(DEMO / "w1.jpg"), "--quiet"]) == Exit.UNPROVEN
    said = getattr(capsys.readouterr(), stream)
    assert "give its four corners roughly" in said
    assert '--corners "x,y x,y x,y x,y" (pixels of the upright photo, top left first, clockwise)' in said
    assert "secondtape desk" in said


def test_a_page_that_may_be_in_view_is_named_by_the_option_that_takes_it(capsys):
    assert run(["estimate", str(DEMO / "w3.jpg"), "--quiet"]) == Exit.UNPROVEN
    assert "--reference letter, a4, id1, or its size as 120x80mm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("action", "where", "says"),
    [
        ("point-at-side", "sill", "point at the sill (bottom) by its corners"),
        ("give-edge-offset", "", "say how far the edges stand out"),
        ("one-more-sheet", "left", "take a photo with one more sheet to the left of the opening"),
        ("two-sheets", "", "take a photo with two printed sheets"),
        ("lens-profile", "", "name it for the photo (lens)"),
    ],
)
def test_each_remedy_is_something_to_do(action, where, says):
    assert says in remedy_says([(action, where)], "width_top", 9.0, 9.0, "in", settles=False)


def test_a_focal_length_that_the_photo_denies_is_one_line_naming_photo_figures_and_remedy(capsys):
    assert run(["estimate", *W1, "--focal35", "260"]) == Exit.UNPROVEN
    (line,) = capsys.readouterr().err.splitlines()
    for part in ("w1.jpg", "260 mm", "26 mm", "leave focal35 out, or send the photo as the camera wrote it"):
        assert part in line


def test_a_focal_length_that_a_cut_could_explain_is_measured_with_and_said(capsys):
    assert run(["estimate", *W1, "--focal35", "52"]) == Exit.DONE
    assert "both are held possible" in capsys.readouterr().out
