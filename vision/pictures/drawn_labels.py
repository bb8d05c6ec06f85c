"""Labels drawn on a picture where `vision.pictures.labels` finds room: box, mark, text and leader."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.pictures.drawn_lines import resampled
from vision.pictures.labels import Box, Wanted, leader, placed
from vision.pictures.looks import HALO, LOOKS, Look
from vision.request import Array

Font = ImageFont.FreeTypeFont | ImageFont.ImageFont
TEXT_PART = 0.0145  # text height over the long side; read on a phone and on a page: common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Text:
    """A label: text, kind, and the line it belongs to, None for the top left corner."""

    text: str
    kind: str
    line_px: Array | None


def with_labels(
    picture: Image.Image,
    texts: Sequence[Text],
    avoid_px: Array,
    font_file: Path | None,
    text_part: float = TEXT_PART,
    keep_off: Sequence[Box] = (),
    telling_px: Array | None = None,
) -> Image.Image:
    """Draw the labels where they fit, smaller where they must be.

    Off the boxes `keep_off`, and off the points `telling_px` (N, 2) that people are to look at, if there is room.
    """
    size = max(picture.size) * text_part
    kept = [text for text in texts if _shown(text)]
    while kept:
        font = font_of(round(size), font_file)
        pad = max(3, round(size / 4))
        wanted = [Wanted(_box_size(text, font, pad), _home(text, picture.size)) for text in kept]
        boxes = placed(wanted, picture.size, avoid_px, keep_off=keep_off, reach_px=pad, telling_px=telling_px)
        if boxes is not None:
            for text, want, box in zip(kept, wanted, boxes, strict=True):
                _label(picture, text, want, box, font, pad)
            break
        if size * 0.85 >= 10:
            size *= 0.85
        else:
            kept.pop()
    return picture


def box_about(outline: Array) -> Box:
    """Return the box x0, y0, x1, y1 px about a reference (4, 2) px and the rim of paper beyond its pattern."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    rim = 0.12 * (high - low)
    (x0, y0), (x1, y1) = np.floor(low - rim).astype(int).tolist(), np.ceil(high + rim).astype(int).tolist()
    return x0, y0, x1, y1


def font_of(size_px: int, font_file: Path | None) -> Font:
    """Return a TrueType font of a size, or Pillow's own without a file."""
    return ImageFont.truetype(font_file, size_px) if font_file else ImageFont.load_default(size_px)


def _home(text: Text, picture_px: tuple[int, int]) -> Array:
    """Return the line beside which the text belongs, cut to the picture."""
    if text.line_px is None:
        return np.zeros((2, 2))
    return np.clip(resampled(text.line_px, 8.0), 0.0, np.array(picture_px, np.float64))


def _shown(text: Text) -> str:
    parts = (part.strip() for part in text.text.replace("\n", "|").split("|"))
    return "\n".join(part for part in parts if part)


def _box_size(text: Text, font: Font, pad: int) -> tuple[int, int]:
    draw = ImageDraw.Draw(Image.new("L", (1, 1)))
    left, top, right, bottom = draw.multiline_textbbox((0, 0), _shown(text), font=font, spacing=pad)
    mark = min(int(bottom - top), 5 * pad) if LOOKS.get(text.kind, LOOKS["none"]).mark else 0
    return int(right - left) + mark + 3 * pad, int(bottom - top) + 2 * pad


def _label(picture: Image.Image, text: Text, want: Wanted, box: Box, font: Font, pad: int) -> None:
    """Draw one label: dark box with the colour of its kind, mark, light text, leader where it stands away."""
    draw = ImageDraw.Draw(picture)
    look = LOOKS.get(text.kind, LOOKS["none"])
    stroke = max(2, pad // 3)
    away = None if text.line_px is None else leader(want.line_px, box, pad)
    if away is not None:
        edge, nearest = away
        draw.line([*edge, *nearest], fill=HALO, width=2 * stroke + 1)
        draw.line([*edge, *nearest], fill=look.colour, width=stroke)
        draw.circle(tuple(nearest), 2 * stroke, fill=look.colour, outline=HALO)
    draw.rounded_rectangle(
        (box[0], box[1], box[2] - 1, box[3] - 1), radius=pad, fill=look.box, outline=look.colour, width=stroke
    )
    mark = min(box[3] - box[1] - 2 * pad, 5 * pad) if look.mark else 0
    if mark:
        _mark(draw, look, (box[0] + 1.2 * pad, (box[1] + box[3] - mark) / 2), mark, stroke + 1)
    at = (box[0] + 1.5 * pad + mark, box[1] + pad)
    left, top, *_ = draw.multiline_textbbox((0, 0), _shown(text), font=font, spacing=pad)
    draw.multiline_text((at[0] - left, at[1] - top), _shown(text), font=font, fill=(255, 255, 255), spacing=pad)


def _mark(draw: ImageDraw.ImageDraw, look: Look, corner: tuple[float, float], size: float, width: int) -> None:
    """Draw a tick, a cross or a ring in a square of the given size."""
    unit = np.array(
        {
            "tick": [[0.05, 0.55], [0.35, 0.85], [0.85, 0.2]],
            "cross": [[0.1, 0.1], [0.85, 0.9]],
            "ring": [[0.1, 0.15], [0.8, 0.85]],
        }[look.mark]
    )
    points = [tuple(p) for p in np.array(corner) + unit * size * 0.85]
    colour = (255, 255, 255) if look.mark == "cross" else look.colour
    if look.mark == "ring":
        draw.ellipse([*points[0], *points[1]], outline=colour, width=width)
        return
    draw.line(points, fill=colour, width=width, joint="curve")
    if look.mark == "cross":
        draw.line([points[0][0], points[1][1], points[1][0], points[0][1]], fill=colour, width=width)
