"""Facts about the page for the people at a house. Oracles: contract.md (*The sheet*), and a reader of the PDF."""

import cv2
import numpy as np
import pypdfium2
import pytest

from sizing.cli import run
from sizing.exits import Exit
from sizing.messages import request as words
from sizing.report.request_page import request_pdf


def text_of(page):
    return " ".join(page.get_textpage().get_text_range().split())


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_one_page_says_what_to_take_for_whom_and_two_sheets_follow(paper):
    document = pypdfium2.PdfDocument(
        request_pdf(paper, job="harbor-114", openings=["W1", "W2"], contact="photos@example.com")
    )
    assert len(document) == 3
    first = text_of(document[0])
    for said in ("W1, W2 (job harbor-114)", "photos@example.com", words.TITLE, *words.STEPS):
        assert said in first


def test_no_word_of_the_trade_stands_in_the_steps():
    # Words that an office uses; common practice, no source.
    trade = ("jamb", "sill", "reveal", "arris", "opening's edge", "ChArUco", "reference", "uncertainty", "U95")
    said = " ".join([words.TITLE, words.INTRO, *words.STEPS])
    assert not [word for word in trade if word in said]


def test_nothing_leaves_the_page_with_forty_long_labels():
    document = pypdfium2.PdfDocument(
        request_pdf("letter", job="j" * 90, openings=[f"north side {i}" for i in range(40)], sheets=False)
    )
    assert len(document) == 1
    reader = document[0].get_textpage()
    boxes = np.array([reader.get_charbox(i) for i in range(reader.count_chars())])
    assert boxes[:, 0].min() > 20
    assert boxes[:, 2].max() < 612 - 20


def test_the_sheets_that_follow_are_found_by_the_detector():
    page = pypdfium2.PdfDocument(request_pdf("letter"))[1]
    grey = np.asarray(page.render(scale=2.0).to_pil().convert("L"))
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    _, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    assert sorted(int(i) for i in np.ravel(ids)) == [0, 1, 2, 3, 4, 5]  # sheet A


def test_the_command_takes_the_openings_from_the_job(tmp_path, capsys):
    (tmp_path / "job.toml").write_text(
        '[job]\nid = "harbor-114"\nunits = "in"\n[[opening]]\nlabel = "W7"\nwall = "masonry"\n', encoding="utf-8"
    )
    assert run(["request", str(tmp_path), "--out", str(tmp_path / "o")]) == Exit.DONE
    assert "W7 (job harbor-114)" in text_of(pypdfium2.PdfDocument(tmp_path / "o" / "photo-request.pdf")[0])
    assert run(["request", str(tmp_path), "--opening", "X"]) == Exit.USAGE
    assert run(["request", str(tmp_path / "none")]) == Exit.UNREADABLE
    assert "job.toml" in capsys.readouterr().err


def test_the_page_needs_no_job_and_no_other_paper_is_taken(tmp_path, capsys):
    assert run(["request", "--out", str(tmp_path), "--opening", "kitchen", "--page", "A4"]) == Exit.DONE
    (file,) = tmp_path.glob("*.pdf")
    assert file.name in capsys.readouterr().out
    assert run(["request", "--page", "folio", "--out", str(tmp_path)]) == Exit.USAGE
    assert "folio" in capsys.readouterr().err
