"""The printable reference sheets as PDF: vector, exact size, with check bars and a write-in panel.

The pattern is that of `vision.sheets.sheet`, centred on the page. Nothing is printed within `QUIET_MM` of it,
nor within `EDGE_MM` of the page's edge, where many printers cannot print.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sizing.errors import InputError, Problem
from sizing.printed.guide import guide_pdf
from sizing.printed.pdfpage import (
    BLACK,
    CAP_EM,
    PAPER_MM,
    PT_PER_MM,
    Colour,
    Document,
    Page,
    PaperName,
    fitted,
    write_atomically,
)
from vision.sheets.sheet import (
    CHECK_BAR_ACROSS_MM,
    CHECK_BAR_ALONG_MM,
    HEIGHT_MM,
    LETTERS,
    WIDTH_MM,
    black_cells_mm,
)

QUIET_MM = 4.0  # guess: a white rim of half a marker cell keeps every outer edge clear for tracing
EDGE_MM = 6.0  # common practice, no source: office printers leave 4 to 6 mm white
TICK_MM, TICK_THICK_MM, BAR_THICK_MM = 3.0, 0.25, 0.7
SMALL_PT = 6.3
GREY: Colour = (0.35, 0.35, 0.35)


def write_sheets(
    out: Path, *, page: PaperName, letters: str = LETTERS, job: str = "", guide: bool = True
) -> list[Path]:
    """Write the reference sheets (one page a letter) and the photo guide as PDF; return the files written.

    Parameters
    ----------
    out : Path
        Folder for ``sheets-letter.pdf`` or ``sheets-a4.pdf``, and ``photo-guide.pdf``; made where missing.
    page : {"letter", "a4"}
        Paper to print on.
    letters : str
        Which sheets, for instance ``"AB"``.
    job : str
        Put into the panel's job field; empty leaves it to be written by hand.
    guide : bool
        Also write the guide.

    Returns
    -------
    list of Path
        The files, sheets first.

    Raises
    ------
    InputError
        Unknown paper or letter, or a folder that cannot be written; all problems at once.
    """
    chosen = _checked(out, page, letters)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        says = f"cannot be made a folder ({error.strerror or error}). Name a folder that you may write to."
        raise InputError("cannot-write", [Problem(str(out), says)]) from error
    files = [(out / f"sheets-{page}.pdf", sheets_pdf(page, chosen, job))]
    if guide:
        files.append((out / "photo-guide.pdf", guide_pdf(page)))
    for path, content in files:
        write_atomically(path, content)
    return [path for path, _ in files]


def sheets_pdf(page: PaperName, letters: str, job: str = "") -> bytes:
    """Return the PDF of the sheets named by `letters` (each of A to D), in that order."""
    document = Document(page, f"Reference sheets {', '.join(letters)}")
    for letter in letters:
        with document.page() as paper:
            draw_sheet(paper, letter, job, {"letter": "US Letter", "a4": "A4"}[page])
    return document.to_bytes()


def _checked(out: Path, page: str, letters: str) -> str:
    problems = []
    if page not in PAPER_MM:
        problems.append(Problem("--page", f"{page!r} is not known; use letter or a4."))
    chosen = "".join(dict.fromkeys(letters.upper().replace(",", "").replace(" ", "")))
    if not chosen or set(chosen) - set(LETTERS):
        problems.append(Problem("--letters", f"{letters!r} names no sheets; use letters from A to D, as in AB."))
    if out.suffix.lower() == ".pdf" or (out.exists() and not out.is_dir()):
        problems.append(Problem(str(out), "is not a folder. Name the folder that the PDF files go into."))
    if problems:
        raise InputError("bad-sheet-request", problems)
    return chosen


def draw_sheet(paper: Page, letter: str, job: str, paper_name: str) -> None:
    """Draw one sheet, centred on the paper."""
    left, top = (paper.width_mm - WIDTH_MM) / 2, (paper.height_mm - HEIGHT_MM) / 2
    right, bottom = left + WIDTH_MM, top + HEIGHT_MM
    cells = black_cells_mm(LETTERS.index(letter)) + np.array([left, top, left, top])
    paper.rectangles(cells.tolist())

    band = top - QUIET_MM - EDGE_MM
    height = min(band, 9.7) - 0.4  # Letter gives 9.7 mm, A4 more; the frame's own thickness stays inside
    over = top - QUIET_MM
    cap_mm = 8.0
    paper.text(left, over - 0.6, letter, cap_mm / CAP_EM * PT_PER_MM, bold=True)
    with paper.frame((paper.width_mm - CHECK_BAR_ACROSS_MM) / 2, over - TICK_MM):
        _check_bar(paper, CHECK_BAR_ACROSS_MM, "across")
    side = left - QUIET_MM - EDGE_MM
    with paper.frame(left - QUIET_MM - TICK_MM, (paper.height_mm + CHECK_BAR_ALONG_MM) / 2, -90.0):
        _check_bar(paper, CHECK_BAR_ALONG_MM, "along")
    with paper.frame(right + QUIET_MM, top, 90.0):
        _instructions(paper, min(side, 7.5))
    _panel(paper, left, bottom + QUIET_MM + 0.2, height, letter, job)
    if band > height + 6:
        note = f"secondtape reference sheet {letter}, {paper_name}. Pattern 180 × 240 mm, centred on the page."
        paper.text(left, bottom + QUIET_MM + height + 5, note, SMALL_PT, colour=GREY)


def _check_bar(paper: Page, length: float, name: str) -> None:
    """Draw a bar from x = 0 to `length`, ticks from y = 0 to TICK_MM, its words above and after it."""
    middle = TICK_MM / 2
    paper.rectangles(
        [
            (0, 0, TICK_THICK_MM, TICK_MM),
            (length - TICK_THICK_MM, 0, length, TICK_MM),
            (TICK_THICK_MM, middle - BAR_THICK_MM / 2, length - TICK_THICK_MM, middle + BAR_THICK_MM / 2),
        ]
    )
    x = 1.5
    x += paper.text(x, 0.3, f"Check bar {name}: {length:.0f} mm", SMALL_PT, bold=True) + 1.5
    says = "between the outer edges of its end ticks. Measure both bars and write them down."
    paper.text(x, 0.3, says, SMALL_PT)
    start = length + 2.0
    paper.shape([(start, TICK_MM - 0.2), (start + 15.0, TICK_MM - 0.2)], width=0.2, stroke=GREY)
    paper.text(start + 15.8, TICK_MM - 0.2, "mm", SMALL_PT)


def _instructions(paper: Page, depth: float) -> None:
    """Set two lines along the page; x runs down the right margin, y back toward the pattern."""
    lower = -0.7 - max(depth - 5.0, 0.0) / 2  # descenders stay out of the quiet zone
    upper = lower - 2.5
    x = paper.text(0, upper, "Print at 100 %, no fit to page, no scaling.", 6.6, bold=True) + 2.5
    paper.text(x, upper, "Then measure both bars and write them down.", 6.6)
    more = (
        "Fix flat on the surface that the opening's edges belong to: one sheet left, another right of it. "
        "Each letter once at one opening."
    )
    paper.text(0, lower, more, SMALL_PT)


def _panel(paper: Page, x: float, y: float, height: float, letter: str, job: str) -> None:
    """Draw the write-in panel: sheet, job, opening, date, name."""
    shares = (("sheet", 14.0), ("job", 52.0), ("opening", 34.0), ("date", 34.0), ("name", WIDTH_MM - 134.0))
    paper.box(x, y, x + WIDTH_MM, y + height, width=0.25, stroke=GREY)
    for label, width in shares:
        paper.text(x + 1.2, y + 2.5, label, 5.6, colour=GREY)
        if label != "sheet":
            paper.shape([(x, y), (x, y + height)], width=0.25, stroke=GREY)
        if label == "sheet":
            paper.text(x + width / 2 + 2.5, y + height - 1.6, letter, 17, bold=True, colour=BLACK, align="middle")
        if label == "job" and job.strip():
            words, size = fitted(job, 12.0, width - 3.0)
            paper.text(x + 1.5, y + height - 1.9, words, size)
        x += width
