"""The release as printed pages for the works: a block an opening, then what is not released and why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sizing.messages import release as messages
from sizing.messages.exact_length import exact_length
from sizing.messages.one_line import one_line
from sizing.printed.pdfpage import Colour, Document, Page, PaperName, fitted, wrapped

_INK: Colour = (0.13, 0.15, 0.18)
_SOFT: Colour = (0.42, 0.45, 0.50)
_RULE: Colour = (0.80, 0.82, 0.85)
_RED: Colour = (0.72, 0.11, 0.11)
_TINT: Colour = (0.99, 0.94, 0.93)
_MARGIN_MM, _TOP_MM, _FOOT_MM = 15.0, 40.0, 24.0
# Left edges of the columns of an opening's block, mm from the margin.
_WIDTH_MM, _HEIGHT_MM, _RULE_MM = 52.0, 92.0, 132.0
_LINE_MM = 4.1
_LONGEST_WORD, _MOST_LINES = 50, 30


@dataclass(frozen=True, slots=True)
class _Block:
    """What is drawn as one: its height, and the pen that draws it at a y."""

    height_mm: float
    draw: Callable[[Page, float], None]


def release_pdf(document: dict[str, Any], paper: PaperName = "letter") -> bytes:
    """Return a release as PDF.

    Parameters
    ----------
    document : dict
        As `sizing.release.written.release_document` gives it; the pages say what it says.
    paper : "letter" or "a4"
    """
    pdf = Document(paper, f"Release {document['release']} of job {one_line(document['job'])}")
    wide = pdf.width_mm - 2 * _MARGIN_MM
    blocks = [_heading(messages.released_heading(len(document["released"])), _INK)]
    blocks += [_released(line, wide) for line in document["released"]]
    blocks += _confirm(messages.confirm_on_site(document), wide)
    if document["not_released"]:
        blocks.append(_heading(messages.not_released_heading(len(document["not_released"])), _RED))
        blocks += [_held_back(rest, wide) for rest in document["not_released"]]
    pages = _paginated(blocks, pdf.height_mm - _TOP_MM - _FOOT_MM)
    for number, part in enumerate(pages, start=1):
        with pdf.page() as page:
            _frame(page, document, number, len(pages))
            y = _TOP_MM
            for block in part:
                block.draw(page, y)
                y += block.height_mm
    return pdf.to_bytes()


def _paginated(blocks: list[_Block], room_mm: float) -> list[list[_Block]]:
    pages: list[list[_Block]] = [[]]
    used = 0.0
    for i, block in enumerate(blocks):
        # A heading does not stand alone at the foot of a page.
        needed = block.height_mm + (blocks[i + 1].height_mm if block.height_mm < 11 and i + 1 < len(blocks) else 0.0)
        if pages[-1] and used + needed > room_mm:
            pages.append([])
            used = 0.0
        pages[-1].append(block)
        used += block.height_mm
    return pages


def _frame(page: Page, document: dict[str, Any], number: int, of: int) -> None:
    left, right = _MARGIN_MM, page.width_mm - _MARGIN_MM
    words, size = fitted(messages.release_title(document["job"]), 17, right - left - 45)
    page.text(left, 20, words, size, bold=True, colour=_INK)
    page.text(right, 16, messages.release_number(), 7, colour=_SOFT, align="right")
    page.text(right, 21, document["release"], 11, bold=True, colour=_INK, align="right")
    page.text(left, 26.5, messages.release_subtitle(document["released_at"], document["program"]), 8, colour=_SOFT)
    page.shape([(left, 30), (right, 30)], stroke=_INK, width=0.5)
    foot = page.height_mm - _FOOT_MM + 8
    page.shape([(left, foot - 4), (right, foot - 4)], stroke=_RULE)
    page.paragraph(left, foot, document["note"], 6.8, right - left - 25, colour=_SOFT)
    page.text(right, foot, messages.page_of(number, of), 7.5, colour=_SOFT, align="right")


def _heading(words: str, colour: Colour) -> _Block:
    def draw(page: Page, y: float) -> None:
        page.text(_MARGIN_MM, y + 5, words, 10.5, bold=True, colour=colour)

    return _Block(9.0, draw)


def _released(line: dict[str, Any], wide: float) -> _Block:
    notes = wrapped(_broken(messages.released_by(line)), 7.8, wide - 8)
    if len(notes) > _MOST_LINES:
        notes = [*notes[: _MOST_LINES - 1], messages.cut_here()]
    strong = line["released_by"] == "override"
    height = 20.0 + _LINE_MM * len(notes) + 8.0

    def draw(page: Page, y: float) -> None:
        left = _MARGIN_MM
        page.box(left, y, left + wide, y + height - 3, stroke=_RULE, fill=_TINT if strong else None, radius=1.2)
        words, size = fitted(line["opening"], 15, 46)
        page.text(left + 4, y + 9, words, size, bold=True, colour=_INK)
        page.text(left + 4, y + 14.6, messages.quantity_of(line["quantity"]), 8.5, colour=_INK)
        for x, name in ((_WIDTH_MM, "width"), (_HEIGHT_MM, "height")):
            page.text(left + x, y + 4.6, name, 7, colour=_SOFT)
            page.text(left + x, y + 10.6, line[name], 14, bold=True, colour=_INK)
            page.text(left + x, y + 15.2, exact_length(line[f"{name}_mm"], "mm"), 8.5, colour=_INK)
        page.text(left + _RULE_MM, y + 4.6, messages.rule_label(), 7, colour=_SOFT)
        words, size = fitted(line["rule"] or messages.no_rule(), 9, wide - _RULE_MM - 3)
        page.text(left + _RULE_MM, y + 9.8, words, size, colour=_INK)
        if strong:
            page.text(left + _RULE_MM, y + 15.2, messages.override_mark(), 9, bold=True, colour=_RED)
        below = y + 21.0
        for words in notes:
            page.text(left + 4, below, words, 7.8, colour=_RED if strong else _INK)
            below += _LINE_MM
        page.text(left + 4, below, messages.inputs_line(line["inputs_sha256"]), 5.6, colour=_SOFT)

    return _Block(height, draw)


def _confirm(words: str, wide: float) -> list[_Block]:
    if not words:
        return []
    lines = wrapped(words, 8, wide)

    def draw(page: Page, y: float) -> None:
        for i, line in enumerate(lines):
            page.text(_MARGIN_MM, y + 4 + i * _LINE_MM, line, 8, colour=_INK)

    return [_Block(_LINE_MM * len(lines) + 5, draw)]


def _broken(words: str) -> str:
    """Return text without words longer than a line, so that none leaves the page."""
    return " ".join(w[i : i + _LONGEST_WORD] for w in words.split() for i in range(0, len(w), _LONGEST_WORD))


def _held_back(rest: dict[str, Any], wide: float) -> _Block:
    lines = wrapped(_broken(rest["says"]), 8, wide - 44)
    height = _LINE_MM * max(len(lines), 1) + 3.4

    def draw(page: Page, y: float) -> None:
        words, size = fitted(rest["opening"], 9, 36)
        page.text(_MARGIN_MM + 4, y + 4, words, size, bold=True, colour=_INK)
        for i, words in enumerate(lines):
            page.text(_MARGIN_MM + 42, y + 4 + i * _LINE_MM, words, 8, colour=_INK)
        page.shape([(_MARGIN_MM, y + height - 1), (_MARGIN_MM + wide, y + height - 1)], stroke=_RULE, width=0.2)

    return _Block(height, draw)
