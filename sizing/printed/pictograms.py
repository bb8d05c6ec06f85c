"""Small drawings and colours of the photo guide, in mm with y down."""

from __future__ import annotations

import math
from collections.abc import Callable

from sizing.printed.pdfpage import Colour, Page

INK: Colour = (0.09, 0.18, 0.20)
DEEP: Colour = (0.07, 0.33, 0.36)
AMBER: Colour = (0.80, 0.36, 0.07)
WALL: Colour = (0.87, 0.84, 0.79)
CUT: Colour = (0.72, 0.67, 0.60)
PALE: Colour = (0.955, 0.965, 0.955)
GLASS: Colour = (0.80, 0.88, 0.90)
SOFT: Colour = (0.45, 0.52, 0.53)
WHITE: Colour = (1.0, 1.0, 1.0)
GREEN: Colour = (0.45, 0.62, 0.40)


def sheet(page: Page, x: float, y: float, width: float) -> None:
    """Draw a reference sheet in small, its paper `width` mm wide."""
    height = width * 1.294
    page.box(x, y, x + width, y + height, fill=WHITE, stroke=INK, width=0.2)
    a = width * 0.278
    x0, y0 = x + (width - 3 * a) / 2, y + (height - 4 * a) / 2
    squares = [(c, r, 0.0) for r in range(4) for c in range(3) if (r + c) % 2 == 0]
    markers = [(c, r, 0.2) for r in range(4) for c in range(3) if (r + c) % 2]
    page.rectangles(
        [
            (x0 + (c + i) * a, y0 + (r + i) * a, x0 + (c + 1 - i) * a, y0 + (r + 1 - i) * a)
            for c, r, i in squares + markers
        ],
        INK,
    )


def verdict(page: Page, x: float, y: float, good: bool) -> None:
    """Draw a tick or a cross in a disc of its own."""
    page.disc(x, y, 2.4, fill=DEEP if good else AMBER)
    if good:
        page.shape([(x - 1.2, y), (x - 0.3, y + 1.0), (x + 1.3, y - 1.1)], stroke=WHITE, width=0.6)
    else:
        for sign in (-1, 1):
            page.shape([(x - 0.95, y - 0.95 * sign), (x + 0.95, y + 0.95 * sign)], stroke=WHITE, width=0.6)


def window(page: Page, x0: float, y0: float, x1: float, y1: float) -> None:
    """Draw a window of two lights."""
    page.box(x0, y0, x1, y1, fill=GLASS, stroke=INK, width=0.4)
    page.shape([((x0 + x1) / 2, y0), ((x0 + x1) / 2, y1)], stroke=INK, width=0.25)


def blur(page: Page) -> None:
    """Draw a shaken window."""
    for k in range(5):
        tone = 0.82 - 0.12 * min(k, 4 - k)
        page.box(6 + k * 0.9, 4.5 + k * 0.35, 14.4 + k * 0.9, 15.2 + k * 0.35, stroke=(tone, tone, tone), width=0.6)


def zoom(page: Page) -> None:
    """Draw a magnifier."""
    page.disc(10.5, 9, 6, fill=GLASS, stroke=INK, width=0.7)
    page.shape([(14.8, 13.3), (19, 17.6)], stroke=INK, width=1.5)
    page.text(10.5, 10.4, "3×", 9.5, bold=True, colour=INK, align="middle")


def wide(page: Page) -> None:
    """Draw a barrel-shaped window."""
    bulge = (0.0, 1.1, 1.7, 1.9, 1.7, 1.1, 0.0)
    xs = [5 + k * 14 / 6 for k in range(7)]
    ys = [4 + k * 12 / 6 for k in range(7)]
    outline = [(x, 4 - b) for x, b in zip(xs, bulge, strict=True)]
    outline += [(19 + b, y) for y, b in zip(ys, bulge, strict=True)]
    outline += [(x, 16 + b) for x, b in zip(reversed(xs), bulge, strict=True)]
    outline += [(5 - b, y) for y, b in zip(reversed(ys), bulge, strict=True)]
    page.shape(outline, fill=GLASS, stroke=INK, width=0.4, closed=True)
    page.shape([(12, 2.2), (12, 17.9)], stroke=INK, width=0.25)
    page.text(12, 11.7, "0.5×", 8, bold=True, colour=INK, align="middle")


def crop(page: Page) -> None:
    """Draw cropping marks."""
    window(page, 8.2, 6.5, 15.8, 14)
    page.shape([(6, 2.5), (6, 16), (20, 16)], stroke=INK, width=0.9)
    page.shape([(3.6, 4.7), (18, 4.7), (18, 18.2)], stroke=INK, width=0.9)


def glare(page: Page) -> None:
    """Draw a flash on a sheet."""
    sheet(page, 6.5, 2.2, 11.5)
    star = []
    for k in range(16):
        radius, turn = (5.2, 2.6)[k % 2], math.tau * k / 16
        star.append((13.5 + radius * math.sin(turn), 8.2 - radius * math.cos(turn)))
    page.shape(star, fill=WHITE, stroke=AMBER, width=0.35, closed=True)


def plant(page: Page) -> None:
    """Draw a plant before a window."""
    window(page, 7, 3, 18, 17)
    page.shape([(4, 19.5), (6.4, 13), (7.4, 5)], stroke=GREEN, width=0.8)
    for x, y in ((5.8, 15.4), (7.0, 12.2), (7.2, 9.2), (7.4, 6.2)):
        for sign in (-1, 1):
            leaf = [(x, y), (x + 1.7 * sign, y - 2.1), (x + 3.9 * sign, y - 1.7), (x + 2.4 * sign, y + 0.3)]
            page.shape(leaf, fill=GREEN, stroke=INK, width=0.15, closed=True)


def screenshot(page: Page) -> None:
    """Draw a phone's screen."""
    page.box(7.2, 1.5, 16.8, 18.6, fill=INK, stroke=None, radius=1.4)
    page.box(8.1, 3.6, 15.9, 16.2, fill=WHITE, stroke=None)
    window(page, 9.8, 5.5, 14.2, 11)
    page.box(9.2, 12.4, 14.8, 14.6, fill=PALE, stroke=SOFT, width=0.2, radius=1.0)


# What spoils a photo: words and picture (a field 24 x 20 mm).
SPOILERS: tuple[tuple[str, Callable[[Page], None]], ...] = (
    ("Blur: hold still, tap to focus", blur),
    ("Digital zoom", zoom),
    ("Ultra-wide lens (0.5×)", wide),
    ("Cropping, filters, editing", crop),
    ("Flash glare on a sheet", glare),
    ("Plants across an edge", plant),
    ("Screenshots, chat copies", screenshot),
)
