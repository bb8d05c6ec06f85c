"""Blocks of a report's pages: each knows its height and draws itself; pages are filled from the top."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sizing.printed.pdfpage import PT_PER_MM, Colour, Page, text_width_mm, wrapped

INK: Colour = (0.13, 0.15, 0.18)
SOFT: Colour = (0.38, 0.41, 0.46)
LINE: Colour = (0.80, 0.82, 0.85)
BAND: Colour = (0.86, 0.88, 0.90)
# Verdicts: dark enough for small text on white (contrast 4.5 or more), and told apart by words and marks too.
COLOURS: dict[str, Colour] = {
    "send": (0.00, 0.40, 0.30),
    "agrees": (0.00, 0.40, 0.30),
    "hold": (0.70, 0.15, 0.05),
    "differs": (0.70, 0.15, 0.05),
    "unproven": (0.43, 0.33, 0.00),
}
TINTS: dict[str, Colour] = {"send": (0.91, 0.97, 0.95), "hold": (0.99, 0.92, 0.90), "unproven": (0.99, 0.96, 0.86)}
LEADING = 1.32
MARGIN_MM = 14.0


@dataclass(frozen=True, slots=True)
class Block:
    """What is drawn as one: its height in mm, the pen that draws it at (page, y), and whether it leads the next."""

    height_mm: float
    draw: Callable[[Page, float], None]
    leads: bool = False


def lines_of(words: str, size_pt: float, width_mm: float, *, bold: bool = False) -> list[str]:
    """Return words as lines none of which is wider than `width_mm`: a longer word is broken.

    Examples
    --------
    >>> max(len(line) for line in lines_of("x" * 200, 8.0, 50.0)) < 60
    True
    """
    pieces: list[str] = []
    for word in words.split():
        rest = word
        while rest and text_width_mm(rest, size_pt, bold=bold) > width_mm:
            cut = max(1, int(len(rest) * width_mm / text_width_mm(rest, size_pt, bold=bold)))
            while cut > 1 and text_width_mm(rest[:cut], size_pt, bold=bold) > width_mm:
                cut -= 1
            pieces.append(rest[:cut])
            rest = rest[cut:]
        pieces += [rest] if rest else []
    return wrapped(" ".join(pieces), size_pt, width_mm, bold=bold)


def line_mm(size_pt: float) -> float:
    """Return the distance of two baselines."""
    return size_pt / PT_PER_MM * LEADING


def draw_lines(
    page: Page,
    x: float,
    y: float,
    lines: Sequence[str],
    size_pt: float,
    *,
    bold: bool = False,
    colour: Colour = INK,
) -> None:
    """Draw lines below y."""
    for i, line in enumerate(lines):
        page.text(x, y + line_mm(size_pt) * (i + 0.78), line, size_pt, bold=bold, colour=colour)


def paragraph(
    words: str,
    width_mm: float,
    *,
    size_pt: float = 8.0,
    bold: bool = False,
    colour: Colour = INK,
    after_mm: float = 0.8,
    indent_mm: float = 0.0,
    bullet: str = "",
) -> list[Block]:
    """Return a paragraph as blocks of one line each, so that it may run on to the next page."""
    hang = indent_mm + (3.2 if bullet else 0.0)
    lines = lines_of(words, size_pt, width_mm - hang, bold=bold)

    def line(i: int, text: str) -> Block:
        last = i == len(lines) - 1

        def draw(page: Page, y: float) -> None:
            if bullet and i == 0:
                page.text(MARGIN_MM + indent_mm, y + line_mm(size_pt) * 0.78, bullet, size_pt, colour=colour)
            draw_lines(page, MARGIN_MM + hang, y, [text], size_pt, bold=bold, colour=colour)

        # A single first line does not stand alone at the foot of a page.
        return Block(line_mm(size_pt) + (after_mm if last else 0.0), draw, leads=i == 0 and not last)

    return [line(i, text) for i, text in enumerate(lines)]


def heading(words: str, width_mm: float, *, colour: Colour = INK) -> Block:
    """Return a heading with a line over it, that stays with what follows."""

    def draw(page: Page, y: float) -> None:
        page.shape([(MARGIN_MM, y + 1.6), (MARGIN_MM + width_mm, y + 1.6)], stroke=LINE, width=0.2)
        page.text(MARGIN_MM, y + 5.6, words, 8.6, bold=True, colour=colour)

    return Block(7.2, draw, leads=True)


def gap(height_mm: float) -> Block:
    """Return empty room."""
    return Block(height_mm, lambda page, y: None)


def paginated(blocks: Sequence[Block], room_mm: float) -> list[list[Block]]:
    """Return blocks by pages, none over the room where it can be helped; what leads stays with its next."""
    pages: list[list[Block]] = [[]]
    used = 0.0
    for i, block in enumerate(blocks):
        needed, k = block.height_mm, i
        while blocks[k].leads and k + 1 < len(blocks):
            k += 1
            needed += blocks[k].height_mm
        if pages[-1] and used + min(needed, room_mm) > room_mm + 1e-6:
            pages.append([])
            used = 0.0
        pages[-1].append(block)
        used += block.height_mm
    return pages
