"""A PDF page drawn in millimetres, x right and y down from the top left corner, with embedded fonts.

Vector only and without clock or random identifiers: the same drawing gives the same bytes.
"""

from __future__ import annotations

import io
import os
import re
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from reportlab import rl_config
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from sizing.errors import InputError, Problem

PaperName = Literal["letter", "a4"]
Point = tuple[float, float]
Colour = tuple[float, float, float]

# US Letter 8.5 x 11 in; A4 by ISO 216. A PDF point is 1/72 in (ISO 32000-1, 8.3.2.3).
PAPER_MM: dict[str, tuple[float, float]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
PT_PER_MM = 72.0 / 25.4
CAP_EM = 0.729  # cap height of the typeface in em, from its OS/2 table

REGULAR, BOLD = "SheetSans", "SheetSansBold"
_DATA = Path(__file__).parents[1] / "data"
BLACK: Colour = (0.0, 0.0, 0.0)
# A length as `sizing.units.format_length` writes it, with its unit or, in a fraction, without.
_LENGTH = re.compile(r"(?<!\d)\d{1,6} \d{1,3}/\d{1,4}(?: in\b)?|(?<![\d./])\d[\d./]{0,12} (?:in|mm)\b")
_JOINT = "\u00a0"

rl_config.useA85 = 0  # streams as bytes: as letters (ASCII85) they are a fourth longer


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """One page under the pen; all lengths in mm, y down."""

    canvas: Canvas
    width_mm: float
    height_mm: float

    def rectangles(self, boxes: Iterable[Sequence[float]], fill: Colour = BLACK) -> None:
        """Fill rectangles (x0, y0, x1, y1) as one path, so that no seam shows between neighbours."""
        path = self.canvas.beginPath()
        for x0, y0, x1, y1 in boxes:
            path.rect(x0, y0, x1 - x0, y1 - y0)
        self.canvas.setFillColorRGB(*fill)
        self.canvas.drawPath(path, stroke=0, fill=1)

    def shape(
        self,
        points: Sequence[Point],
        *,
        stroke: Colour | None = BLACK,
        fill: Colour | None = None,
        width: float = 0.3,
        closed: bool = False,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a chain of straight lines, `width` mm thick."""
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if closed or fill is not None:
            path.close()
        self._pen(stroke, fill, width, dash)
        self.canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))

    def box(
        self,
        x0: float,
        y0: float,
        x1: float,
        y1: float,
        *,
        stroke: Colour | None = BLACK,
        fill: Colour | None = None,
        width: float = 0.3,
        radius: float = 0.0,
    ) -> None:
        """Draw a rectangle, with rounded corners where `radius` mm is given."""
        self._pen(stroke, fill, width, ())
        has = {"stroke": int(stroke is not None), "fill": int(fill is not None)}
        if radius > 0:
            self.canvas.roundRect(x0, y0, x1 - x0, y1 - y0, radius, **has)
        else:
            self.canvas.rect(x0, y0, x1 - x0, y1 - y0, **has)

    def disc(
        self,
        x: float,
        y: float,
        radius: float,
        *,
        stroke: Colour | None = None,
        fill: Colour | None = BLACK,
        width: float = 0.3,
    ) -> None:
        """Draw a circle."""
        self._pen(stroke, fill, width, ())
        self.canvas.circle(x, y, radius, stroke=int(stroke is not None), fill=int(fill is not None))

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size_pt: float,
        *,
        bold: bool = False,
        colour: Colour = BLACK,
        align: Literal["left", "middle", "right"] = "left",
    ) -> float:
        """Set one line with its baseline at y; return its width in mm."""
        width = text_width_mm(words, size_pt, bold=bold)
        x -= {"left": 0.0, "middle": width / 2, "right": width}[align]
        with self.frame(x, y):
            self.canvas.scale(1.0 / PT_PER_MM, -1.0 / PT_PER_MM)  # text counts points, upward
            self.canvas.setFillColorRGB(*colour)
            self.canvas.setFont(BOLD if bold else REGULAR, size_pt)
            self.canvas.drawString(0, 0, words)
        return width

    def paragraph(
        self,
        x: float,
        y: float,
        words: str,
        size_pt: float,
        width_mm: float,
        *,
        bold: bool = False,
        colour: Colour = BLACK,
        align: Literal["left", "middle", "right"] = "left",
        leading: float = 1.32,
    ) -> float:
        """Set words broken at `width_mm`, first baseline at y; return the baseline that would come next."""
        for line in wrapped(words, size_pt, width_mm, bold=bold):
            self.text(x, y, line, size_pt, bold=bold, colour=colour, align=align)
            y += size_pt / PT_PER_MM * leading
        return y

    def picture(self, x: float, y: float, width: float, height: float, encoded: bytes) -> None:
        """Put a JPEG or PNG into a box with its top left corner at (x, y)."""
        with self.frame(x, y + height):
            self.canvas.scale(1.0, -1.0)  # pictures stand upward
            self.canvas.drawImage(ImageReader(io.BytesIO(encoded)), 0, 0, width, height)

    @contextmanager
    def frame(self, x: float, y: float, turn_deg: float = 0.0) -> Iterator[None]:
        """Move the origin to (x, y) and turn the axes clockwise as seen, for the block of a `with`."""
        self.canvas.saveState()
        self.canvas.translate(x, y)
        if turn_deg:
            self.canvas.rotate(turn_deg)
        yield
        self.canvas.restoreState()

    def _pen(self, stroke: Colour | None, fill: Colour | None, width: float, dash: tuple[float, ...]) -> None:
        if stroke is not None:
            self.canvas.setStrokeColorRGB(*stroke)
        if fill is not None:
            self.canvas.setFillColorRGB(*fill)
        self.canvas.setLineWidth(width)
        self.canvas.setDash(list(dash))


def text_width_mm(words: str, size_pt: float, *, bold: bool = False) -> float:
    """Return the width of a line in mm."""
    _load_fonts()
    return float(pdfmetrics.stringWidth(words, BOLD if bold else REGULAR, size_pt)) / PT_PER_MM


def wrapped(words: str, size_pt: float, width_mm: float, *, bold: bool = False) -> list[str]:
    """Return the words as lines no wider than `width_mm` (a single longer word stands alone).

    No line ends within a length: not within its number, nor between number and unit, unless it fits no line.
    """
    lines: list[str] = []
    line = ""
    together = _LENGTH.sub(lambda found: found[0].replace(" ", _JOINT), " ".join(words.split()))
    parts = [part.replace(_JOINT, " ") for part in together.split(" ")]
    whole = [p if text_width_mm(p, size_pt, bold=bold) <= width_mm else p.split() for p in parts if p]
    for word in (w for part in whole for w in ([part] if isinstance(part, str) else part)):
        longer = f"{line} {word}".strip()
        if line and text_width_mm(longer, size_pt, bold=bold) > width_mm:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


def fitted(words: str, size_pt: float, width_mm: float, *, least_pt: float = 6.0) -> tuple[str, float]:
    """Return words and size so that they fit: made smaller down to `least_pt`, then cut with an ellipsis."""
    # Control characters have no glyph; one odd character must not spoil the form.
    words = " ".join("".join(c if c.isprintable() else " " for c in words).split())
    while size_pt > least_pt and text_width_mm(words, size_pt) > width_mm:
        size_pt -= 0.5
    if text_width_mm(words, size_pt) <= width_mm:
        return words, size_pt
    while words and text_width_mm(words + "…", size_pt) > width_mm:
        words = words[:-1]
    return words.rstrip() + "…", size_pt


class Document:
    """PDF pages of one size, gathered in memory."""

    def __init__(self, paper: str, title: str) -> None:
        _load_fonts()
        self.width_mm, self.height_mm = PAPER_MM[paper]
        self._buffer = io.BytesIO()
        size_pt = (self.width_mm * PT_PER_MM, self.height_mm * PT_PER_MM)
        self._canvas = Canvas(
            self._buffer,
            pagesize=size_pt,
            invariant=1,
            pageCompression=1,
            initialFontName=REGULAR,  # type: ignore[arg-type]  # the stub takes the name for a number
        )
        self._canvas.setTitle(title)
        self._canvas.setAuthor("secondtape")
        self._canvas.setCreator("secondtape")
        # Asks the viewer's print dialogue to leave the size alone (ISO 32000-1, table 150).
        self._canvas.setViewerPreference("PrintScaling", "None")

    @contextmanager
    def page(self) -> Iterator[Page]:
        """Open the next page, in mm with y down."""
        self._canvas.saveState()
        self._canvas.translate(0, self.height_mm * PT_PER_MM)
        self._canvas.scale(PT_PER_MM, -PT_PER_MM)
        yield Page(self._canvas, self.width_mm, self.height_mm)
        self._canvas.restoreState()
        self._canvas.showPage()

    def to_bytes(self) -> bytes:
        """Return the finished file."""
        self._canvas.save()
        return self._buffer.getvalue()


def write_atomically(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    InputError
        When the folder cannot be written to; the message names it and the remedy.
    """
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(temporary).chmod(0o644)  # mkstemp's 0600 would keep colleagues from opening a shared file
        Path(temporary).replace(path)
        temporary = None
    except OSError as error:
        says = f"cannot be written ({error.strerror or error}). Name a folder that you may write to."
        raise InputError("cannot-write", [Problem(str(path), says)]) from error
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def _load_fonts() -> None:
    known = set(pdfmetrics.getRegisteredFontNames())
    for name, file in ((REGULAR, "DejaVuSans.ttf"), (BOLD, "DejaVuSans-Bold.ttf")):
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, str(_DATA / file)))
