"""The larger blocks of a report's page: verdict, pictures, readings drawn beside their tolerance, budget."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages import report as words
from sizing.messages import report_figures
from sizing.printed.pdfpage import Colour, Page
from sizing.report.chart import Bar, bar_of, reach_mm
from sizing.report.contents import Budget, OpeningPage, ReadingLine
from sizing.report.layout import (
    BAND,
    COLOURS,
    INK,
    LINE,
    MARGIN_MM,
    SOFT,
    TINTS,
    Block,
    draw_lines,
    line_mm,
    lines_of,
)
from sizing.report.pictures import ReportPicture
from sizing.units import Unit

_SMALL, _USUAL = 7.2, 7.8


def verdict_mark(page: Page, x: float, y: float, size: float, verdict: str, colour: Colour | None = None) -> None:
    """Draw a tick, a cross or a ring in a square of `size` mm, its top left corner at (x, y)."""
    colour, width = COLOURS[verdict] if colour is None else colour, size * 0.16
    if verdict in ("send", "agrees"):
        points = [
            (x + 0.08 * size, y + 0.55 * size),
            (x + 0.38 * size, y + 0.85 * size),
            (x + 0.9 * size, y + 0.15 * size),
        ]
        page.shape(points, stroke=colour, width=width)
    elif verdict in ("hold", "differs"):
        page.shape([(x + 0.12 * size, y + 0.12 * size), (x + 0.88 * size, y + 0.88 * size)], stroke=colour, width=width)
        page.shape([(x + 0.88 * size, y + 0.12 * size), (x + 0.12 * size, y + 0.88 * size)], stroke=colour, width=width)
    else:
        page.disc(x + size / 2, y + size / 2, size * 0.36, stroke=colour, fill=None, width=width)


def verdict_box(verdict: str, title: str, why: str, width_mm: float) -> Block:
    """Return the verdict with its reason."""
    head = lines_of(title, 12.5, width_mm - 20, bold=True)
    rest = lines_of(why, 8.4, width_mm - 20)
    height = line_mm(12.5) * len(head) + line_mm(8.4) * len(rest) + 5.6

    def draw(page: Page, y: float) -> None:
        page.box(
            MARGIN_MM, y, MARGIN_MM + width_mm, y + height, stroke=COLOURS[verdict], fill=TINTS[verdict], radius=1.4
        )
        verdict_mark(page, MARGIN_MM + 4, y + height / 2 - 4, 8, verdict)
        draw_lines(page, MARGIN_MM + 16, y + 2.6, head, 12.5, bold=True, colour=COLOURS[verdict])
        draw_lines(page, MARGIN_MM + 16, y + 3.2 + line_mm(12.5) * len(head), rest, 8.4)

    return Block(height + 2.4, draw)


def pictures_row(pictures: Sequence[ReportPicture], none: str, width_mm: float, most_mm: float) -> Block:
    """Return the pictures side by side, each as large as fits; `none` where there is none."""
    if not pictures:
        said = lines_of(none, 8, width_mm)
        return Block(
            line_mm(8) * len(said) + 2.2, lambda page, y: draw_lines(page, MARGIN_MM, y + 1, said, 8, colour=SOFT)
        )
    between = 4.0
    clear = width_mm - between * (len(pictures) - 1)
    ratios = [picture.size_px[0] / picture.size_px[1] for picture in pictures]
    high = min(most_mm, clear / sum(ratios))
    captions = [lines_of(p.caption, 6.6, max(high * r, 40.0)) for p, r in zip(pictures, ratios, strict=True)]
    height = high + line_mm(6.6) * max(len(c) for c in captions) + 2.4

    def draw(page: Page, y: float) -> None:
        x = MARGIN_MM
        for picture, ratio, caption in zip(pictures, ratios, captions, strict=True):
            page.picture(x, y, high * ratio, high, picture.jpeg)
            draw_lines(page, x, y + high + 0.6, caption, 6.6, colour=SOFT)
            x += high * ratio + between

    return Block(height, draw)


def readings_table(readings: Sequence[ReadingLine], tolerance: str, width_mm: float, unit: Unit) -> list[Block]:
    """Return the table of readings, one block a line, the interval drawn beside the `tolerance`, named below."""
    shares = (0.252, 0.145, 0.208, 0.205, 0.085, 0.105)
    edges = [MARGIN_MM + width_mm * sum(shares[:i]) for i in range(len(shares))]
    widths = [width_mm * share - 2.0 for share in shares]
    reach = reach_mm(readings)

    def head(page: Page, y: float) -> None:
        names = ("reading", "tape", "photo", "chart", "slip", "verdict")
        for x, name in zip(edges, names, strict=True):
            page.text(x, y + 3.2, words.COLUMNS[name], 6.6, colour=SOFT)
        x0, x1 = edges[3], edges[3] + widths[3]
        for x, value, align in ((x0, -reach, "left"), (x1, reach, "right")):
            page.text(x, y + 6.2, report_figures.scale_words(value, unit), 5.8, colour=SOFT, align=align)  # type: ignore[arg-type]
        page.text((x0 + x1) / 2, y + 6.2, "0", 5.8, colour=SOFT, align="middle")

    def row(reading: ReadingLine) -> Block:
        texts = (reading.name, reading.tape, reading.photo, "", reading.smallest_slip, reading.verdict_words)
        cells = [lines_of(text, _SMALL, wide) for text, wide in zip(texts, widths, strict=True)]
        height = max(line_mm(_SMALL) * max(len(cell) for cell in cells), 4.0) + 1.0
        bar = bar_of(reading, reach)

        def draw(page: Page, y: float) -> None:
            page.shape([(MARGIN_MM, y), (MARGIN_MM + width_mm, y)], stroke=LINE, width=0.15)
            for i, (x, cell) in enumerate(zip(edges, cells, strict=True)):
                strong = i == 5 and reading.verdict != "agrees"
                draw_lines(
                    page, x, y + 0.6, cell, _SMALL, bold=strong, colour=COLOURS[reading.verdict] if i == 5 else INK
                )
            _draw_bar(page, edges[3], y + height / 2, widths[3], bar, reading.verdict)

        return Block(height, draw)

    key = lines_of(report_figures.chart_key(tolerance), 6.4, width_mm)
    foot = Block(
        line_mm(6.4) * len(key) + 1.2, lambda page, y: draw_lines(page, MARGIN_MM, y + 0.6, key, 6.4, colour=SOFT)
    )
    return [Block(7.0, head, leads=True), *(row(reading) for reading in readings), foot]


def _draw_bar(page: Page, x: float, y: float, width: float, bar: Bar, verdict: str) -> None:
    at = [x + width * part for part in bar.band]
    page.rectangles([(at[0], y - 1.6, at[1], y + 1.6)], BAND)
    page.shape([(x + width / 2, y - 1.9), (x + width / 2, y + 1.9)], stroke=SOFT, width=0.2)
    if bar.interval is None:
        return
    low, high = (x + width * part for part in bar.interval)
    page.rectangles([(low, y - 0.75, max(high, low + 0.3), y + 0.75)], COLOURS[verdict])
    for beyond, tip, sign in ((bar.beyond[0], x, -1.0), (bar.beyond[1], x + width, 1.0)):
        if beyond:  # the bar runs on past the scale
            page.shape(
                [(tip, y), (tip - sign * 1.4, y - 1.3), (tip - sign * 1.4, y + 1.3)], stroke=None, fill=COLOURS[verdict]
            )
    if bar.centre is not None:
        page.disc(x + width * bar.centre, y, 0.95, fill=(1, 1, 1), stroke=COLOURS[verdict], width=0.4)


def budget_table(budget: Budget, width_mm: float) -> Block:
    """Return the budget: one row a measure, one column a part."""
    first = 46.0
    step = min((width_mm - first) / max(len(budget.parts), 1), 22.0)
    heads = [lines_of(part, 6.2, step - 1.5) for part in budget.parts]
    top = line_mm(6.2) * max(len(head) for head in heads) + 1.0
    row_mm = line_mm(_SMALL)

    def draw(page: Page, y: float) -> None:
        for i, head in enumerate(heads):
            draw_lines(page, MARGIN_MM + first + i * step, y, head, 6.2, colour=SOFT)
        for k, (name, figures) in enumerate(budget.rows):
            below = y + top + k * row_mm
            draw_lines(page, MARGIN_MM, below, lines_of(name, _SMALL, first - 2)[:1], _SMALL)
            for i, figure in enumerate(figures):
                bold = i == len(figures) - 1
                draw_lines(page, MARGIN_MM + first + i * step, below, [figure], _SMALL, bold=bold)

    return Block(top + row_mm * len(budget.rows) + 1.2, draw)


def openings_table(pages: Sequence[OpeningPage], numbers: Sequence[int], width_mm: float) -> list[Block]:
    """Return the table of a job's openings with their page."""
    people = any(page.decided or page.released for page in pages)
    shares = (0.13, 0.15, 0.30, 0.17, 0.20, 0.05) if people else (0.19, 0.15, 0.39, 0.21, 0.0, 0.06)
    edges = [MARGIN_MM + width_mm * sum(shares[:i]) for i in range(len(shares))]
    widths = [width_mm * share - 2.5 for share in shares]

    def head(page: Page, y: float) -> None:
        for x, name in zip(edges, ("opening", "verdict", "why", "order", "decided", "page"), strict=True):
            if people or name != "decided":
                page.text(x, y + 3.2, words.COLUMNS[name], 6.8, colour=SOFT)

    def row(opening: OpeningPage, number: int) -> Block:
        large = 9.0 if len(lines_of(opening.label, 9.0, widths[0], bold=True)) == 1 else 7.4
        label = lines_of(opening.label, large, widths[0], bold=True)
        verdict = lines_of(opening.verdict_words, _USUAL, widths[1] - 5, bold=True)
        why = lines_of(opening.why, _USUAL, widths[2])
        size = lines_of(opening.order_size, _USUAL, widths[3])
        decided = lines_of(opening.decided, _USUAL, widths[4], bold=True)
        released = lines_of(opening.released, _SMALL, widths[4])
        people_mm = line_mm(_USUAL) * len(decided) + line_mm(_SMALL) * len(released)
        stopped = opening.title_kind != opening.verdict  # by a person: what the check says leads no more
        colour = SOFT if stopped else COLOURS[opening.verdict]
        height = max(line_mm(large) * len(label), line_mm(_USUAL) * max(len(verdict), len(why), len(size)), people_mm)

        def draw(page: Page, y: float) -> None:
            page.shape([(MARGIN_MM, y), (MARGIN_MM + width_mm, y)], stroke=LINE, width=0.15)
            draw_lines(page, edges[0], y + 1.0, label, large, bold=True)
            verdict_mark(page, edges[1], y + 1.3, 3.2, opening.verdict, colour)
            draw_lines(page, edges[1] + 5, y + 1.2, verdict, _USUAL, bold=not stopped, colour=colour)
            draw_lines(page, edges[2], y + 1.2, why, _USUAL)
            draw_lines(page, edges[3], y + 1.2, size, _USUAL)
            draw_lines(page, edges[4], y + 1.2, decided, _USUAL, bold=True, colour=COLOURS["hold"] if stopped else INK)
            draw_lines(page, edges[4], y + 1.2 + line_mm(_USUAL) * len(decided), released, _SMALL)
            draw_lines(page, edges[5], y + 1.2, [str(number)], _USUAL)

        return Block(height + 2.4, draw)

    return [Block(5.0, head, leads=True), *(row(o, n) for o, n in zip(pages, numbers, strict=True))]
