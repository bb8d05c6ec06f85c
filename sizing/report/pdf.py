"""The report as PDF: verdict first, a page an opening, then method, inputs and versions; A4 or Letter."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages import release, report_pictures
from sizing.messages import report as words
from sizing.printed.pdfpage import Document, Page, PaperName, fitted
from sizing.report.blocks import budget_table, openings_table, pictures_row, readings_table, verdict_box
from sizing.report.contents import Input, OpeningPage, Report
from sizing.report.layout import (
    INK,
    LINE,
    MARGIN_MM,
    SOFT,
    Block,
    draw_lines,
    gap,
    heading,
    line_mm,
    lines_of,
    paginated,
    paragraph,
)
from sizing.units import Unit

_TOP_MM, _FOOT_MM = 24.0, 13.0
# Heights of the pictures that are tried.
_PICTURE_MM = (88.0, 78.0, 70.0, 62.0, 55.0, 50.0)


def report_pdf(report: Report, paper: PaperName, unit: Unit) -> bytes:
    """Return a report as PDF; the same report gives the same bytes.

    Parameters
    ----------
    report : as `sizing.report.report.build_report` gives it.
    paper : "letter" or "a4".
    unit : of the job, for the drawings' scales.
    """
    pdf = Document(paper, words.report_title(report.job))
    wide, room = pdf.width_mm - 2 * MARGIN_MM, pdf.height_mm - _TOP_MM - _FOOT_MM
    chapters = [(page.label, _on_one_page(page, wide, unit, room)) for page in report.pages]
    # How many pages the first chapter takes does not hang on the page numbers in it.
    first = len(paginated(_job(report, [0] * len(report.pages), wide), room))
    numbers, at = [], first + 1
    for _, pages in chapters:
        numbers.append(at)
        at += len(pages)
    last = paginated(_ground(report, wide), room)
    total = at - 1 + len(last)
    sheets = [(words.report_title(report.job), page) for page in paginated(_job(report, numbers, wide), room)]
    for label, pages in chapters:
        title = words.opening_title(label)
        sheets += [(title if k == 0 else words.continued(title), page) for k, page in enumerate(pages)]
    sheets += [(words.report_title(report.job), page) for page in last]
    for number, (title, blocks) in enumerate(sheets, start=1):
        with pdf.page() as page:
            _frame(page, report, title, number, total)
            y = _TOP_MM
            for block in blocks:
                block.draw(page, y)
                y += block.height_mm
    return pdf.to_bytes()


def _frame(page: Page, report: Report, title: str, number: int, of: int) -> None:
    left, right = MARGIN_MM, page.width_mm - MARGIN_MM
    said, size = fitted(title, 15, right - left - 52)
    page.text(left, 15, said, size, bold=True, colour=INK)
    job, size = fitted(report.job, 7.6, 48)
    page.text(right, 11.6, job, size, colour=SOFT, align="right")
    page.text(right, 15.4, words.subtitle(report.made_at, report.program), 6.6, colour=SOFT, align="right")
    page.shape([(left, 18.5), (right, 18.5)], stroke=INK, width=0.45)
    foot = page.height_mm - 8.0
    page.shape([(left, foot - 3.6), (right, foot - 3.6)], stroke=LINE, width=0.2)
    page.text(left, foot, words.foot(), 6.6, colour=SOFT)
    page.text(right, foot, release.page_of(number, of), 6.8, colour=SOFT, align="right")


def _job(report: Report, numbers: Sequence[int], wide: float) -> list[Block]:
    kind = "hold" if report.stopped else report.verdict
    blocks = [verdict_box(kind, report.headline, " ".join([report.summary, *report.common]), wide)]
    blocks += _facts(report.facts, wide)
    blocks += [heading(words.HEADINGS["openings"], wide), *openings_table(report.pages, numbers, wide)]
    blocks.append(heading(words.HEADINGS["cautions"], wide))
    for caution in report.cautions:
        blocks += paragraph(caution, wide, bullet="•")
    return blocks


def _facts(facts: Sequence[tuple[str, str]], wide: float) -> list[Block]:
    said = "; ".join(f"{name}: {value}" for name, value in facts)
    return paragraph(said, wide, size_pt=7.6, colour=SOFT, after_mm=0.6)


def _on_one_page(page: OpeningPage, wide: float, unit: Unit, room: float) -> list[list[Block]]:
    """Return an opening's pages: its pictures as large as one page allows; where it takes more, of middle size."""
    for high in _PICTURE_MM:
        pages = paginated(_opening(page, wide, unit, high), room)
        if len(pages) == 1:
            return pages
    return paginated(_opening(page, wide, unit, _PICTURE_MM[1]), room)


def _opening(page: OpeningPage, wide: float, unit: Unit, picture_mm: float) -> list[Block]:
    blocks = [verdict_box(page.title_kind, page.title, page.says, wide), *_facts(page.facts, wide)]
    blocks.append(heading(words.HEADINGS["to_do"], wide))
    for line in page.to_do:
        blocks += paragraph(line, wide, bullet="•", size_pt=8.4)
    if page.decision:
        blocks += paragraph(page.decision, wide, bold=True)
    if page.released:
        blocks += paragraph(words.alone(page.released), wide)
    blocks += [gap(1.0), pictures_row(page.pictures, page.no_picture, wide, picture_mm)]
    if page.readings:
        blocks += [
            heading(words.HEADINGS["readings"], wide),
            *readings_table(page.readings, page.tolerance, wide, unit),
        ]
    for key, lines in (("causes", page.causes), ("order", page.order), ("footprint", page.footprint)):
        blocks += _listed(key, lines, wide)
    if page.budget is not None:
        blocks += [heading(words.budget_heading(unit), wide), budget_table(page.budget, wide)]
    blocks += _listed("notes", page.notes, wide)
    if page.remeasure:
        blocks.append(heading(words.HEADINGS["remeasure"], wide))
        for line in page.remeasure:
            blocks += paragraph(line, wide, size_pt=7.6, after_mm=0.3)
    return [*blocks, *paragraph(words.inputs_hash(page.inputs_sha256), wide, size_pt=5.8, colour=SOFT)]


def _listed(key: str, lines: Sequence[str], wide: float) -> list[Block]:
    if not lines:
        return []
    blocks = [heading(words.HEADINGS[key], wide)]
    for line in lines:
        blocks += paragraph(line, wide, size_pt=7.6, bullet="•", after_mm=0.5)
    return blocks


def _ground(report: Report, wide: float) -> list[Block]:
    """Return what the report rests on: method, inputs, versions."""
    blocks = [heading(words.HEADINGS["method"], wide)]
    for i, line in enumerate(report.method, start=1):
        blocks += paragraph(f"{i}. {line}", wide)
    blocks.append(heading(words.HEADINGS["inputs"], wide))
    blocks += [_input(one, wide) for one in report.inputs]
    blocks += paragraph(report_pictures.privacy(), wide, size_pt=7.2, colour=SOFT)
    blocks.append(heading(words.HEADINGS["versions"], wide))
    return blocks + paragraph("; ".join(line.strip() for line in report.versions), wide, size_pt=7.4)


def _input(one: Input, wide: float) -> Block:
    name = lines_of(f"{one.kind}: {one.name}", 7.2, wide - 92)
    height = line_mm(7.2) * len(name) + 0.6

    def draw(page: Page, y: float) -> None:
        draw_lines(page, MARGIN_MM, y, name, 7.2)
        draw_lines(page, MARGIN_MM + wide - 90, y, [one.sha256 or words.no_hash()], 5.9, colour=SOFT)

    return Block(height, draw)
