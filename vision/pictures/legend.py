"""What the kinds of line in a picture mean, in a strip below it, so that it covers nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from vision.pictures.drawn_labels import font_of
from vision.pictures.drawn_lines import Pixels, draw_line
from vision.pictures.looks import LOOKS

_GROUND = (20, 20, 20)
_SAMPLE_EM = 4.4  # a sample is long enough for the longest dashes


def with_legend(
    picture: Image.Image, words: Mapping[str, str], kinds: Sequence[str], font_file: Path | None, text_px: float
) -> Image.Image:
    """Return the picture with a strip below: a sample of each kind of line and what it is; itself without any.

    Parameters
    ----------
    picture : PIL.Image.Image
        RGB.
    words : mapping
        What a kind is, by its name in `looks.LOOKS`; the order is that of the strip.
    kinds : sequence of str
        Those that are drawn in the picture; others are left out.
    font_file : Path or None
        As of `vision.pictures.overlay.annotated_photo`.
    text_px : float
        Height of the text.
    """
    shown = [kind for kind in words if kind in kinds]
    if not shown:
        return picture
    font = font_of(max(10, round(text_px)), font_file)
    em = max(10, round(text_px))
    pen = ImageDraw.Draw(picture)
    sample = round(_SAMPLE_EM * em)
    rows: list[list[tuple[int, str]]] = [[]]
    x = em
    for kind in shown:
        wide = sample + em // 2 + int(pen.textlength(words[kind], font=font))
        if rows[-1] and x + wide > picture.width - em:
            rows.append([])
            x = em
        rows[-1].append((x, kind))
        x += wide + round(1.5 * em)
    line = round(1.6 * em)
    strip: Pixels = np.full((line * len(rows) + em, picture.width, 3), _GROUND, np.uint8)
    stroke = max(2, round(em / 9))
    places = [(x, round(em / 2 + line * (i + 0.5)), kind) for i, row in enumerate(rows) for x, kind in row]
    for x, y, kind in places:
        look = LOOKS[kind]
        ends = np.array([[x, y], [x + sample, y]], np.float64)
        draw_line(strip, ends, look.colour, max(1, round(stroke * look.weight)), look.dashes)
    below = Image.fromarray(strip)
    pen = ImageDraw.Draw(below)
    for x, y, kind in places:
        pen.text((x + sample + em // 2, y), words[kind], font=font, fill=(255, 255, 255), anchor="lm")
    whole = Image.new("RGB", (picture.width, picture.height + below.height))
    whole.paste(picture, (0, 0))
    whole.paste(below, (0, picture.height))
    return whole
