"""The page that asks the people at the house for a photo: what to take and how, with the guide's drawings."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from sizing.errors import InputError, Problem
from sizing.messages import request as words
from sizing.messages.one_line import one_line
from sizing.printed.guide import GRID_H, GRID_W, flat, from_above, in_view, panel, safety, spoilers
from sizing.printed.pdfpage import Document, Page, PaperName, write_atomically
from sizing.printed.pictograms import AMBER, DEEP, INK, PALE, SOFT, WHITE
from sizing.printed.sheets import draw_sheet
from sizing.report.layout import line_mm, lines_of

FILE = "photo-request.pdf"
# So many lines of labels are printed; a longer list goes on in the letter.
_MOST_LINES = 2


def request_pdf(
    paper: PaperName, *, job: str = "", openings: Sequence[str] = (), contact: str = "", sheets: bool = True
) -> bytes:
    """Return the page as PDF, with sheets A and B to print after it.

    Parameters
    ----------
    paper : "letter" or "a4".
    job : its id, printed; may be empty.
    openings : labels of what is to be photographed; empty: each.
    contact : where the photos go; empty leaves room to write.
    sheets : whether two sheets follow.
    """
    document = Document(paper, words.TITLE)
    with (
        document.page() as page,
        page.frame((page.width_mm - GRID_W) / 2, (page.height_mm - GRID_H) / 2),
    ):
        page.text(0, 8.2, words.TITLE, 21, bold=True, colour=DEEP)
        page.paragraph(0, 13.6, words.INTRO, 8.0, GRID_W - 2, colour=INK)
        _asked(page, 20.4, one_line(job), [one_line(label) for label in openings], one_line(contact))
        panel(page, 0, 36.6, 92, 78, "1", "Stand square on, far enough back", from_above)
        panel(page, 94, 36.6, 92, 78, "2", "All of it in the picture", in_view)
        panel(page, 0, 116.4, 60.7, 68, "3", "Where the sheets go", partial(flat, otherwise=words.CANNOT_LIE))
        _steps(page, 62.7, 116.4, GRID_W - 62.7, 68)
        spoilers(page, 185.4)
        safety(page, 226.5)
    for letter in "AB" if sheets else "":
        with document.page() as page:
            draw_sheet(page, letter, job, paper)
    return document.to_bytes()


def write_request(out: Path, *, page: PaperName, job: str, openings: Sequence[str], contact: str, sheets: bool) -> Path:
    """Write the page into a folder, made where missing; return the file.

    Raises
    ------
    InputError
        The folder cannot be written to.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        says = f"cannot be made a folder ({error.strerror or error}). Name a folder that you may write to."
        raise InputError("cannot-write", [Problem(str(out), says)]) from error
    file = out / FILE
    write_atomically(file, request_pdf(page, job=job, openings=openings, contact=contact, sheets=sheets))
    return file


def _asked(page: Page, top: float, job: str, openings: list[str], contact: str) -> None:
    """Draw what is to be photographed, and where the photos go."""
    half = GRID_W / 2
    page.box(0, top, GRID_W, top + 14.4, stroke=AMBER, fill=None, width=0.5, radius=1.6)
    for x, title, said in (
        (4.0, words.WHICH, words.which(job, openings)),
        (half + 2, words.SEND, contact or words.BLANK),
    ):
        page.text(x, top + 4.6, title, 7.4, colour=SOFT)
        lines = lines_of(said, 9.2, half - 8, bold=True)
        if len(lines) > _MOST_LINES:
            lines = [*lines[: _MOST_LINES - 1], lines[_MOST_LINES - 1][:-3].rstrip() + "…"]
        for i, line in enumerate(lines):
            faint = said == words.BLANK
            page.text(x, top + 9.0 + i * line_mm(9.2), line, 9.2, bold=not faint, colour=SOFT if faint else INK)


def _steps(page: Page, x: float, y: float, width: float, height: float) -> None:
    page.box(x, y, x + width, y + height, stroke=None, fill=PALE, radius=1.6)
    page.text(x + 5, y + 6.6, words.STEPS_TITLE, 9.8, bold=True, colour=INK)
    at = y + 11.6
    for number, step in enumerate(words.STEPS, start=1):
        page.disc(x + 6.6, at - 0.9, 2.3, fill=DEEP)
        page.text(x + 6.6, at + 0.1, str(number), 7.6, bold=True, colour=WHITE, align="middle")
        for line in lines_of(step, 7.6, width - 16):
            page.text(x + 11, at, line, 7.6, colour=INK)
            at += line_mm(7.6)
        at += 0.6
