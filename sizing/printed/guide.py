"""The photo guide: one printed page of drawings that says how to take a photo that can check the tape."""

from __future__ import annotations

from collections.abc import Callable

from sizing.printed.pdfpage import Colour, Document, Page, PaperName, Point, text_width_mm
from sizing.printed.pictograms import AMBER, CUT, DEEP, GLASS, INK, PALE, SOFT, SPOILERS, WALL, WHITE, sheet, verdict

# The layout's own grid: 186 x 254 mm, which both papers hold; it is centred on the page.
GRID_W, GRID_H = 186.0, 254.0


def guide_pdf(paper: PaperName) -> bytes:
    """Return the one-page photo guide as PDF."""
    document = Document(paper, "Photo guide: how to photograph an opening")
    with (
        document.page() as page,
        page.frame((page.width_mm - GRID_W) / 2, (page.height_mm - GRID_H) / 2),
    ):
        _header(page)
        panel(page, 0, 21, 92, 78, "1", "Stand square on, far enough back", from_above)
        panel(page, 94, 21, 92, 78, "2", "All of it in the picture", in_view)
        panel(page, 0, 101, 60.7, 75, "3", "Where the sheets go", flat)
        panel(page, 62.7, 101, 60.7, 75, "4", "Where heights end on a sill", _sill)
        panel(page, 125.4, 101, 60.6, 75, "5", "How far the trim stands out", _trim)
        spoilers(page, 179)
        safety(page, 226.5)
    return document.to_bytes()


def _header(page: Page) -> None:
    page.text(0, 8.2, "How to photograph an opening", 21, bold=True, colour=DEEP)
    words = (
        "So that the photo can stand in as a second tape. Print the sheets at 100 %, measure both check "
        "bars, then take two or three photos from slightly different places."
    )
    page.paragraph(0, 13.2, words, 7.6, GRID_W - 2, colour=INK)


def panel(
    page: Page,
    x: float,
    y: float,
    width: float,
    height: float,
    number: str,
    title: str,
    draw: Callable[[Page], None],
) -> None:
    """Draw a numbered panel of the guide with its drawing, mm in the layout's grid."""
    page.box(x, y, x + width, y + height, stroke=None, fill=PALE, radius=1.6)
    page.disc(x + 5.4, y + 5.4, 3.1, fill=AMBER)
    page.text(x + 5.4, y + 6.75, number, 10.5, bold=True, colour=WHITE, align="middle")
    page.text(x + 10.4, y + 6.6, title, 8.8 if width < 80 else 9.8, bold=True, colour=INK)
    with page.frame(x, y + 10):
        draw(page)


def _arrow(page: Page, start: Point, end: Point, *, both: bool = False, colour: Colour = AMBER) -> None:
    """Draw an arrow along x or y with its head at `end` (and at `start`)."""
    page.shape([start, end], stroke=colour, width=0.45)
    length = max(abs(end[0] - start[0]), abs(end[1] - start[1]))
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    heads = [(end, 1.0)] + ([(start, -1.0)] if both else [])
    for (x, y), sign in heads:
        bx, by = x - sign * ux * 2.2, y - sign * uy * 2.2
        page.shape([(x, y), (bx - uy, by + ux), (bx + uy, by - ux)], stroke=None, fill=colour)


def from_above(page: Page) -> None:
    """Draw the wall and the camera from above."""
    page.shape([(46, 46), (17, 8), (75, 8)], stroke=None, fill=(0.98, 0.92, 0.83))
    for x0, x1 in ((6, 34), (58, 86)):
        page.box(x0, 2, x1, 8, fill=CUT, stroke=INK, width=0.35)
    page.box(34, 2.6, 58, 4.0, fill=GLASS, stroke=INK, width=0.25)
    for x in (23, 61.5):
        page.rectangles([(x, 8, x + 7.5, 8.9)], INK)
    page.text(26.7, 12.6, "sheet", 6.8, colour=INK, align="middle")
    page.text(65.3, 12.6, "sheet", 6.8, colour=INK, align="middle")
    _arrow(page, (34, 6.2), (58, 6.2), both=True)
    page.text(46, 12.6, "1 width", 7.2, bold=True, colour=AMBER, align="middle")
    page.shape([(46, 14.5), (46, 43)], stroke=SOFT, width=0.25, dash=(1.2, 0.9))
    page.shape([(46, 17), (43, 17), (43, 14.2)], stroke=SOFT, width=0.25)
    page.box(40.6, 44.4, 51.4, 47, fill=INK, stroke=None, radius=0.8)
    page.disc(46, 44.4, 1.1, fill=SOFT)
    page.disc(46, 51.6, 2.7, fill=DEEP)
    page.box(40.2, 49.4, 51.8, 53.6, fill=DEEP, stroke=None, radius=2.0)
    page.disc(46, 50.3, 2.5, fill=WALL, stroke=DEEP)
    page.shape([(78, 8.4), (82, 8.4)], stroke=AMBER, width=0.3)
    page.shape([(54, 44.6), (82, 44.6)], stroke=AMBER, width=0.25, dash=(0.8, 0.8))
    _arrow(page, (80, 8.6), (80, 44.4), both=True)
    page.paragraph(78.4, 23.6, "1½ to 2 widths", 7.2, 20, bold=True, colour=AMBER, align="right")
    page.text(78.4, 30.6, "(or heights, if taller)", 5.8, colour=INK, align="right")
    page.paragraph(4, 24, "Lens level with the middle, if you can from the ground.", 6.8, 25, colour=INK)
    page.text(4, 61.0, "Seen from above: face the wall, do not aim from one side.", 7.2, colour=INK)
    page.text(4, 64.8, "Use the main lens at 1×. Step back rather than zoom out.", 7.2, colour=INK)


def in_view(page: Page) -> None:
    """Draw the picture as it should be framed."""
    page.box(4, 1.5, 88, 51.5, fill=WALL, stroke=None)
    for k in range(1, 10):
        page.shape([(4, 1.5 + 5 * k), (88, 1.5 + 5 * k)], stroke=(0.80, 0.76, 0.70), width=0.2)
    page.box(32, 10, 60, 42, fill=WHITE, stroke=INK, width=0.5)
    page.box(34, 12, 58, 40, fill=GLASS, stroke=INK, width=0.25)
    page.shape([(46, 12), (46, 40)], stroke=INK, width=0.25)
    page.shape([(34, 26), (58, 26)], stroke=INK, width=0.25)
    page.box(29.5, 42, 62.5, 44.6, fill=CUT, stroke=INK, width=0.4)
    sheet(page, 22.6, 11.5, 6.2)
    sheet(page, 63.2, 32.0, 6.2)
    _frame_corners(page, 10, 4, 82, 49)
    _arrow(page, (10.6, 28), (21, 28), both=True, colour=DEEP)
    page.text(15.8, 26.6, "space", 6.4, colour=DEEP, align="middle")
    page.text(25.7, 9.6, "high", 6.4, bold=True, colour=AMBER, align="middle")
    page.text(66.3, 45.0, "low", 6.4, bold=True, colour=AMBER, align="middle")
    lines = (
        "Whole opening, all four corners, both sheets, and a rim of wall.",
        "One sheet left, one right, close to the opening, inside the photo.",
        "One high and one low is fine. Two different letters.",
    )
    for i, line in enumerate(lines):
        page.text(4, 57.2 + 3.8 * i, line, 7.0, colour=INK)


def _frame_corners(page: Page, x0: float, y0: float, x1: float, y1: float) -> None:
    for x, sx in ((x0, 1), (x1, -1)):
        for y, sy in ((y0, 1), (y1, -1)):
            page.shape([(x + 5 * sx, y), (x, y), (x, y + 5 * sy)], stroke=AMBER, width=0.9)


def flat(page: Page, otherwise: str = "measure the step (5)") -> None:
    """Draw a flat and a bulging sheet, from above; `otherwise`: what to do where a sheet cannot lie there."""
    for x, good in ((4, True), (33, False)):
        page.box(x, 4, x + 16.5, 11, fill=CUT, stroke=INK, width=0.3)
        page.box(x + 16.5, 5.2, x + 23.5, 6.6, fill=GLASS, stroke=INK, width=0.25)
        if good:
            page.rectangles([(x + 2.5, 11, x + 13.5, 11.8)], INK)
        else:
            bow = [(x + 2.5, 11.4), (x + 5, 12.9), (x + 8, 13.5), (x + 11, 12.9), (x + 13.5, 11.4)]
            page.shape(bow, width=0.8, stroke=INK)
        verdict(page, x + 7, 18.6, good)
        page.text(x + 10.4, 19.6, "flat" if good else "bulging", 7, bold=True, colour=INK)
    words = (
        "On the surface that the opening's edges belong to: the wall where the wall makes the edge, "
        f"the trim's face where trim does. If a sheet cannot lie there, {otherwise}."
    )
    y = page.paragraph(4, 26.8, words, 7.2, 53.5, colour=INK)
    words = "Tape all four corners, smooth it down, never across a joint or lap that bends it. Keep it dry."
    page.paragraph(4, y + 1.3, words, 7.2, 53.5, colour=INK)


def _sill(page: Page) -> None:
    """Draw a section through head and sill: outside is left."""
    page.box(30, 1.5, 42, 8.5, fill=CUT, stroke=INK, width=0.35)
    page.box(37.5, 8.5, 40, 29.8, fill=GLASS, stroke=INK, width=0.3)
    page.box(30, 33.5, 42, 41, fill=CUT, stroke=INK, width=0.35)
    sill = [(42, 29.2), (23, 31.6), (23, 35.6), (29.5, 35.6), (30, 33.9), (42, 33.9)]
    page.shape(sill, fill=WALL, width=0.35)
    page.shape([(19.2, 8.5), (30, 8.5)], stroke=AMBER, width=0.25, dash=(0.8, 0.6))
    page.shape([(19.2, 31.6), (23, 31.6)], stroke=AMBER, width=0.25, dash=(0.8, 0.6))
    _arrow(page, (21, 8.5), (21, 31.6), both=True)
    page.disc(23, 31.6, 1.5, fill=None, stroke=AMBER, width=0.6)
    page.text(19, 20.8, "height", 7.2, bold=True, colour=AMBER, align="right")
    page.text(28, 39.8, "top front edge", 6.8, bold=True, colour=AMBER, align="right")
    page.shape([(23, 37.4), (23, 33.2)], stroke=AMBER, width=0.25)
    page.text(44, 6.4, "head", 6.6, colour=SOFT)
    page.text(44, 19.4, "frame", 6.6, colour=SOFT)
    page.text(44, 32.6, "sill", 6.6, colour=SOFT)
    page.text(6, 5.4, "outside", 6.6, colour=SOFT)
    words = (
        "Heights end at the sill's top front edge, the one that stands out furthest: not at the frame, "
        "not at its underside. If you measured to another line, write down which."
    )
    page.paragraph(4, 46.4, words, 7.2, 53.5, colour=INK)


def _trim(page: Page) -> None:
    """Draw a cut through wall, trim and opening from above: outside is below."""
    page.box(4, 5, 33, 15, fill=CUT, stroke=INK, width=0.35)
    page.box(24, 15, 36, 20.5, fill=WALL, stroke=INK, width=0.35)
    page.box(33, 5, 36, 15, fill=WALL, stroke=INK, width=0.35)
    page.box(36, 7, 57, 9, fill=GLASS, stroke=INK, width=0.3)
    page.text(46.5, 5.2, "opening", 6.6, colour=SOFT, align="middle")
    page.text(12, 11.0, "wall", 6.6, colour=INK, align="middle")
    page.text(30, 18.6, "trim", 6.6, colour=INK, align="middle")
    page.rectangles([(7, 15, 17.5, 15.9)], INK)
    page.text(12.2, 19.4, "sheet", 6.6, colour=INK, align="middle")
    page.disc(36, 20.5, 1.3, fill=None, stroke=DEEP, width=0.6)
    page.text(38.4, 21.8, "edge", 6.6, bold=True, colour=DEEP)
    page.shape([(16.6, 20.5), (24, 20.5)], stroke=AMBER, width=0.25, dash=(0.8, 0.6))
    _arrow(page, (21, 9.6), (21, 14.9))
    _arrow(page, (21, 25.9), (21, 20.6))
    page.text(23.2, 26.0, "stands out", 7.0, bold=True, colour=AMBER)
    words = (
        "The opening's edge is the inner edge of the trim at its face. Where it stands in front of the "
        "surface under the sheets, measure that step to 1/16 in (1 mm) and write it down."
    )
    y = page.paragraph(4, 32.4, words, 7.2, 53, colour=INK)
    words = "A step of 3/4 in left out at 10 ft makes a 36 in opening wrong by about 1/4 in."
    page.paragraph(4, y + 1.3, words, 7.2, 53, bold=True, colour=INK)


def spoilers(page: Page, top: float) -> None:
    """Draw what spoils a photo, 31 mm high."""
    page.text(0, top + 4.6, "What spoils a photo", 10.5, bold=True, colour=DEEP)
    x = text_width_mm("What spoils a photo", 10.5, bold=True) + 3.5
    page.text(x, top + 4.6, "Send the original file, straight from the camera.", 7.4, colour=INK)
    step = (GRID_W + 2) / len(SPOILERS)
    for i, (label, draw) in enumerate(SPOILERS):
        x = i * step
        with page.frame(x, top + 8):
            page.box(0, 0, step - 2, 22, fill=WHITE, stroke=SOFT, width=0.3, radius=1.2)
            with page.frame((step - 2) / 2 - 12, 1):
                draw(page)
            verdict(page, step - 4.2, 2.2, good=False)
            page.paragraph((step - 2) / 2, 26, label, 6.6, step - 2, bold=True, colour=INK, align="middle", leading=1.2)


def safety(page: Page, top: float) -> None:
    """Draw the strip on privacy, ladders and local rules, 27.5 mm high."""
    page.box(0, top, GRID_W, top + 27.5, stroke=None, fill=INK, radius=1.6)
    columns = (
        (
            "Nothing private in the picture",
            "No bank or identity cards, neither as a size reference nor by chance. No faces, number plates, "
            "house numbers or letters where you can help it.",
        ),
        (
            "Stay on the ground",
            "No ladders, no leaning out, no roofs. Do not stand on a road or step back into one. If a good "
            "place is out of reach, say so: a photo is never worth a fall.",
        ),
        (
            "Local rules come first",
            "Site rules and local safety and building codes go before anything on this page. The photo "
            "checks sizes only; it says nothing about whether a product is allowed there.",
        ),
    )
    width = GRID_W / 3
    for i, (title, words) in enumerate(columns):
        x = i * width + 5
        page.text(x, top + 6.6, title, 8.8, bold=True, colour=(1.0, 0.80, 0.50))
        page.paragraph(x, top + 11.6, words, 7.0, width - 8, colour=WHITE)
