"""Facts of the printed sheets, measured in pixels of the rendered PDF."""

from __future__ import annotations

from functools import lru_cache
from io import BytesIO

import cv2
import numpy as np
import pypdfium2
import pytest
from pypdf import PdfReader

from sizing.errors import InputError
from sizing.printed.guide import guide_pdf
from sizing.printed.pdfpage import fitted, text_width_mm
from sizing.printed.sheets import sheets_pdf, write_sheets

# US Letter 8.5 x 11 in; A4 210 x 297 mm (ISO 216).
PAGES = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
FIRST_ID = {"A": 0, "B": 6, "C": 12, "D": 18}  # contract, The sheet
SHEETS = [(page, letter) for page in PAGES for letter in FIRST_ID]


@lru_cache(maxsize=2)
def _pdf(page):
    return sheets_pdf(page, "ABCD", "harbor-114")


@lru_cache(maxsize=8)
def _raster(page, letter):
    """Return the page at 300 dpi as grey and its pixels per mm across and along."""
    document = pypdfium2.PdfDocument(_pdf(page))
    try:
        grey = document["ABCD".index(letter)].render(scale=300 / 72, grayscale=True).to_numpy().copy()
    finally:
        document.close()
    grey = grey.reshape(grey.shape[:2])
    return grey, (grey.shape[1] / PAGES[page][0], grey.shape[0] / PAGES[page][1])


def _ends(profile):
    """Return where a dark run begins and ends in a row of greys, at half tone, to a fraction of a pixel."""
    dark = 1 - profile.astype(float) / 255
    inside = np.flatnonzero(dark > 0.5)
    first, last = inside[0], inside[-1]
    start = first - (dark[first] - 0.5) / (dark[first] - dark[first - 1])
    end = last + (dark[last] - 0.5) / (dark[last] - dark[last + 1])
    return start, end


def _longest_run(rows):
    """Return the ends of the longest unbroken dark run among the rows, in pixels."""
    best = (0.0, 0.0)
    for row in rows:
        steps = np.flatnonzero(np.diff(np.concatenate([[0], (row < 128).astype(int), [0]])))
        for start, end in steps.reshape(-1, 2):
            if end - start > best[1] - best[0]:
                low, high = max(start - 3, 0), min(end + 3, len(row))
                found = _ends(row[low:high])
                best = (low + found[0], low + found[1])
    return best


@pytest.mark.parametrize(("page", "letter"), SHEETS)
def test_every_sheet_is_found_with_all_its_markers_and_six_saddles(page, letter):
    # Oracle: OpenCV's own detector and board, given the definition in the contract.
    grey, (kx, ky) = _raster(page, letter)
    ids = np.arange(FIRST_ID[letter], FIRST_ID[letter] + 6)
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    board = cv2.aruco.CharucoBoard((3, 4), 60.0, 45.0, words, ids)
    corners, corner_ids, _, marker_ids = cv2.aruco.CharucoDetector(board).detectBoard(grey)
    assert sorted(np.ravel(marker_ids)) == list(ids)
    assert sorted(np.ravel(corner_ids)) == list(range(6))
    found = np.asarray(corners, np.float32).reshape(-1, 1, 2)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 1e-4)
    found = cv2.cornerSubPix(grey, found, (15, 15), (-1, -1), criteria).reshape(-1, 2)
    # The pattern is centred, so its origin is known; pixel centres at integers.
    width, height = PAGES[page]
    mm = (found + 0.5) / [kx, ky] - [(width - 180) / 2, (height - 240) / 2]
    truth = np.asarray(board.getChessboardCorners())[np.ravel(corner_ids), :2]
    # Saddles on pixel corners are found to about 0.2 px of 0.085 mm.
    np.testing.assert_allclose(mm, truth, rtol=0, atol=0.03)


@pytest.mark.parametrize(("page", "letter"), SHEETS)
def test_the_pattern_measures_180_by_240_mm_edge_to_edge(page, letter):
    grey, (kx, ky) = _raster(page, letter)
    middle_x, top = grey.shape[1] / 2, (PAGES[page][1] - 240) / 2
    row = grey[int((top + 30) * ky)]  # through the black squares of the first row
    left, right = _ends(row[int(middle_x - 92 * kx) : int(middle_x + 92 * kx)])
    assert (right - left) / kx == pytest.approx(180.0, abs=0.1)
    # First and last row have their black squares in different columns: one edge from each.
    column = grey[:, int(middle_x - 60 * kx)]
    first = int((top - 2) * ky) + _ends(column[int((top - 2) * ky) : int((top + 66) * ky)])[0]
    column = grey[:, int(middle_x)]
    last = int((top + 176) * ky) + _ends(column[int((top + 176) * ky) : int((top + 242) * ky)])[1]
    assert (last - first) / ky == pytest.approx(240.0, abs=0.1)


@pytest.mark.parametrize("page", PAGES)
def test_the_check_bars_measure_150_mm_across_and_200_mm_along(page):
    grey, (kx, ky) = _raster(page, "A")
    width, height = PAGES[page]
    start, end = _longest_run(grey[: int(((height - 240) / 2 - 3.5) * ky)])
    assert (end - start) / kx == pytest.approx(150.0, abs=0.15)
    start, end = _longest_run(grey[:, : int(((width - 180) / 2 - 3.5) * kx)].T)
    assert (end - start) / ky == pytest.approx(200.0, abs=0.15)


@pytest.mark.parametrize("page", PAGES)
def test_the_rim_of_the_pattern_and_of_the_page_stay_white(page):
    # Common practice, no source: half a marker cell around the pattern; 6 mm where printers cannot print.
    grey, (kx, ky) = _raster(page, "B")
    width, height = PAGES[page]
    x0, y0 = (width - 180) / 2, (height - 240) / 2

    def ink(left, top, right, bottom):
        return int((grey[round(top * ky) : round(bottom * ky), round(left * kx) : round(right * kx)] < 250).sum())

    assert ink(x0 - 3.9, y0 - 3.9, x0 + 183.9, y0 - 0.2) == 0
    assert ink(x0 - 3.9, y0 + 240.2, x0 + 183.9, y0 + 243.9) == 0
    assert ink(x0 - 3.9, y0 - 3.9, x0 - 0.2, y0 + 243.9) == 0
    assert ink(x0 + 180.2, y0 - 3.9, x0 + 183.9, y0 + 243.9) == 0
    assert ink(0, 0, width, 5.9) == ink(0, height - 5.9, width, height) == 0
    assert ink(0, 0, 5.9, height) == ink(width - 5.9, 0, width, height) == 0


@pytest.mark.parametrize(("page", "points"), [("letter", (612.0, 792.0)), ("a4", (595.276, 841.890))])
def test_the_page_has_the_exact_size_of_its_paper(page, points):
    # 1 pt = 1/72 in (ISO 32000-1, 8.3.2.3).
    for content in (_pdf(page), guide_pdf(page)):
        for sheet in PdfReader(BytesIO(content)).pages:
            box = sheet.mediabox
            assert (float(box.width), float(box.height)) == pytest.approx(points, abs=1e-3)


def test_the_same_request_gives_the_same_bytes(tmp_path):
    first = [path.read_bytes() for path in write_sheets(tmp_path / "a", page="letter", job="harbor-114")]
    write_sheets(tmp_path / "b", page="a4")
    second = [path.read_bytes() for path in write_sheets(tmp_path / "c", page="letter", job="harbor-114")]
    assert first == second


def test_sheets_and_guide_are_two_files_and_nothing_else_is_left(tmp_path):
    files = write_sheets(tmp_path / "new" / "folder", page="a4", letters="b, d")
    assert [path.name for path in files] == ["sheets-a4.pdf", "photo-guide.pdf"]
    assert sorted((tmp_path / "new" / "folder").iterdir()) == sorted(files)
    assert len(PdfReader(files[0]).pages) == 2
    assert len(PdfReader(files[1]).pages) == 1
    assert [p.name for p in write_sheets(tmp_path, page="a4", guide=False)] == ["sheets-a4.pdf"]


def test_the_sheet_says_how_to_print_and_what_to_measure():
    reader = PdfReader(BytesIO(_pdf("letter")))
    for page, letter in zip(reader.pages, "ABCD", strict=True):
        words = " ".join(page.extract_text().split())
        for part in (
            "Print at 100 %, no fit to page",
            "measure both bars and write them down",
            "Check bar across: 150 mm",
            "Check bar along: 200 mm",
            "between the outer edges",
            "harbor-114",
            "opening",
            "date",
            "name",
            letter,
        ):
            assert part in words
    assert str(reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"]) == "/None"


def test_the_guide_covers_place_sheets_sill_trim_and_safety():
    # Issue 2, item 8.
    words = " ".join(PdfReader(BytesIO(guide_pdf("letter"))).pages[0].extract_text().split())
    for part in (
        "1½ to 2",
        "One sheet left, one right",
        "One high and one low is fine",
        "top front edge",
        "How far the trim stands out",
        "Blur",
        "Digital zoom",
        "Ultra-wide",
        "Cropping",
        "glare",
        "Plants",
        "Screenshots",
        "No bank or identity cards",
        "No ladders",
        "on a road",
        "local safety and building codes",
    ):
        assert part in words


@pytest.mark.parametrize("page", PAGES)
def test_all_fonts_are_embedded(page):
    for content in (_pdf(page), guide_pdf(page)):
        for sheet in PdfReader(BytesIO(content)).pages:
            for font in sheet["/Resources"]["/Font"].values():
                assert "/FontFile2" in font["/FontDescriptor"]


def test_a_long_job_name_stays_inside_its_field():
    words, size = fitted("north quay phase 2 " * 12 + "\x00\n", 12.0, 49.0)
    assert size >= 6.0
    assert text_width_mm(words, size) <= 49.0
    assert words.endswith("…")


def test_unknown_paper_and_letters_are_told_together(tmp_path):
    with pytest.raises(InputError) as caught:
        write_sheets(tmp_path, page="legal", letters="AX")
    assert [p.where for p in caught.value.problems] == ["--page", "--letters"]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["taken", "taken/below", "sheets.pdf"])
def test_a_target_that_is_no_folder_is_refused_by_name(tmp_path, name):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(InputError, match="folder"):
        write_sheets(tmp_path / name, page="a4")


def test_a_file_that_cannot_be_replaced_leaves_no_half_written_one(tmp_path):
    (tmp_path / "sheets-a4.pdf" / "inside").mkdir(parents=True)
    with pytest.raises(InputError, match=r"sheets-a4\.pdf: cannot be written"):
        write_sheets(tmp_path, page="a4")
    assert [path.name for path in tmp_path.iterdir()] == ["sheets-a4.pdf"]
