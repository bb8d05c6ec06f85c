"""Facts about the command `report`: what it writes, and how it ends. Oracle: contract, *Commands* and exit codes."""

import numpy as np
import pytest
from PIL import Image

from sizing.cli import run
from sizing.exits import Exit
from tests.test_report import HEAD, SIZE, opening


def written(folder, text):
    """Write a job of that opening beside a photo of a bare wall."""
    Image.fromarray(np.full((SIZE[1], SIZE[0], 3), (180, 150, 120), np.uint8)).save(folder / "w1.jpg")
    (folder / "job.toml").write_text(HEAD + text, encoding="utf-8")


def test_the_command_writes_pdf_and_html_and_ends_like_check(tmp_path, capsys):
    written(tmp_path, opening(photos="[]"))
    assert run(["report", str(tmp_path), "--page", "a4"]) == Exit.UNPROVEN
    folder = tmp_path / "secondtape" / "report"
    assert sorted(path.name for path in folder.iterdir()) == ["report.html", "report.pdf"]
    assert "report.pdf" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[blank]]\nphoto = "other.jpg"\nbox = [0, 0, 9, 9]\n', "none of the job's photos"),
        ('[[blank]]\nphoto = "w1.jpg"\nbox = [9, 0, 0, 9]\n', "blank 1"),
        ("boxes = 1\n", "must hold nothing but"),
        ("[[blank\n", "cannot be read"),
    ],
)
def test_a_box_that_cannot_be_meant_stops_the_report(tmp_path, capsys, text, says):
    written(tmp_path, opening(photos="[]"))
    (tmp_path / "blank.toml").write_text(text, encoding="utf-8")
    assert run(["report", str(tmp_path)]) == Exit.UNREADABLE
    assert says in capsys.readouterr().err
    assert not (tmp_path / "secondtape" / "report").exists()


def test_a_wrong_box_or_paper_on_the_command_line_is_bad_usage(tmp_path, capsys):
    written(tmp_path, opening(photos="[]"))
    assert run(["report", str(tmp_path), "--blank", "w1.jpg:1,2,3"]) == Exit.USAGE
    assert "PHOTO:x0,y0,x1,y1" in capsys.readouterr().err
    assert run(["report", str(tmp_path), "--page", "folio"]) == Exit.USAGE


def test_a_report_that_cannot_be_written_or_a_job_that_cannot_be_read_ends_with_4(tmp_path, capsys):
    written(tmp_path, opening(photos="[]"))
    (tmp_path / "a-file").write_text("x")
    assert run(["report", str(tmp_path), "--out", str(tmp_path / "a-file")]) == Exit.UNREADABLE
    assert "a-file" in capsys.readouterr().err
    assert (tmp_path / "a-file").read_text() == "x"
    (tmp_path / "job.toml").write_text("[job]\n")
    assert run(["report", str(tmp_path)]) == Exit.UNREADABLE
    assert "job.toml" in capsys.readouterr().err


def test_an_opening_on_hold_counts_for_more_than_a_report_that_cannot_be_written(tmp_path):
    photo = '["w1.jpg"]'  # cannot be measured; the readings of the width contradict each other by an inch
    written(tmp_path, opening(middle="60 3/8", photos=photo))
    (tmp_path / "a-file").write_text("x")
    status = run(["report", str(tmp_path), "--out", str(tmp_path / "a-file")])
    assert status == run(["check", str(tmp_path), "--no-pictures"]) == Exit.HOLD
