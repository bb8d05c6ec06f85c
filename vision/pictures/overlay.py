"""Pictures for people: results drawn on the photo, and saving without Exif.

Colours are those of Okabe and Ito (2008), safe for the colour-blind; each verdict also has its own dashes and
mark, so that a grey print tells them apart too. Words are the caller's.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from vision.pictures.labels import Box, Wanted, leader, placed
from vision.pictures.rectified import rectified_view
from vision.request import PhotoReport

__all__ = [
    "LOOKS",
    "Text",
    "annotated_photo",
    "box_about",
    "draw_line",
    "rectified_view",
    "save_picture",
    "scaled",
    "with_labels",
]

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Colour = tuple[int, int, int]
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont

MAX_SIDE_PX, MIN_SIDE_PX = 2400, 1600  # small photos are enlarged, so that text does not hide the opening
TEXT_PART = 0.0145  # text height over the long side; read on a phone and on a page: common practice, no source
JPEG_QUALITY = 88


@dataclass(frozen=True, slots=True)
class _Look:
    """Colour, dashes (on, off in line widths; empty is solid), mark, box and weight of line of one kind."""

    colour: Colour
    dashes: tuple[float, ...] = ()
    mark: str = ""
    box: Colour = (20, 20, 20)
    weight: float = 1.0


LOOKS: Mapping[str, _Look] = {
    "agrees": _Look((0, 190, 140), mark="tick"),
    "differs": _Look((255, 110, 40), (7.0, 3.0), "cross", (140, 40, 0), 1.6),
    "unproven": _Look((240, 228, 66), (1.5, 2.5), "ring"),
    "none": _Look((225, 225, 225), (9.0, 2.5, 1.5, 2.5)),
    "reference": _Look((222, 140, 186)),
    "ordered": _Look((230, 159, 0), weight=1.6),
    "panel": _Look((230, 159, 0), (3.0, 2.0), weight=0.7),
    "hardware": _Look((255, 200, 90), (1.5, 1.5)),
    "room": _Look((225, 225, 225), (4.0, 4.0), weight=0.8),
    "opening": _Look((86, 180, 233)),
    "face": _Look((200, 200, 200), (1.0, 6.0), weight=0.5),
}
SIDE_COLOUR: Colour = (86, 180, 233)
HALO: Colour = (20, 20, 20)


def annotated_photo(
    photo_rgb: Pixels,
    report: PhotoReport,
    labels: Mapping[str, tuple[str, str]],
    font_file: Path | None = None,
    text_part: float = TEXT_PART,
) -> Image.Image:
    """Return the photo with sides as traced, stations with their labels, and references as found.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
        Upright photo in whose pixels the report's places are.
    report : PhotoReport
        `sides_px`, `stations_px`, `references_px` and, faintly, `faces_px` are drawn; places that are not finite are
        left out.
    labels : mapping of str to (text, kind)
        By measure: text, broken into lines at '|', and 'agrees', 'differs', 'unproven' or 'none'. Labels
        without a station in this photo stand at the top left.
    font_file : Path, optional
        TrueType font; without it Pillow's own, which has no fraction signs.
    text_part : float
        Height of the text over the long side.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 to 2400 px on its long side.

    Notes
    -----
    Labels never overlap each other; where they do not fit, the text is made smaller (down to 10 px), and what
    still does not fit is left out, the last of `labels` first.
    """
    height, width = photo_rgb.shape[:2]
    long = max(height, width)
    scale = min(MAX_SIDE_PX, max(MIN_SIDE_PX, long)) / long
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    canvas: Pixels = np.ascontiguousarray(cv2.resize(photo_rgb, size, interpolation=method), np.uint8)
    stroke = max(2, round(max(size) / 700))
    stations = {name: scaled(line, scale) for name, line in report.stations_px.items() if name in labels}
    stations = {name: line for name, line in stations.items() if len(line) == 2}
    sides = [scaled(side, scale) for side in report.sides_px.values()]
    references = [(name, scaled(outline, scale)) for name, outline in report.references_px]
    references = [(name, outline) for name, outline in references if len(outline) > 1]
    for _, outline in references:
        draw_line(canvas, np.vstack([outline, outline[:1]]), LOOKS["reference"].colour, stroke)
    faint = max(1, round(stroke * LOOKS["face"].weight))
    for face in (scaled(line, scale) for _, lines in report.faces_px for line in lines.values()):
        draw_line(canvas, face, LOOKS["face"].colour, faint, LOOKS["face"].dashes)
    for side in sides:
        draw_line(canvas, side, SIDE_COLOUR, stroke)
    for name, line in stations.items():
        _dimension(canvas, line, LOOKS.get(labels[name][1], LOOKS["none"]), stroke)
    lines = [*stations.values(), *sides, *(outline for _, outline in references)]
    avoid = np.vstack([_resampled(line, 8.0) for line in lines]) if lines else np.empty((0, 2))
    texts = [Text(*labels[name], line_px=stations.get(name)) for name in labels]
    texts += [Text(name, "reference", outline) for name, outline in references]
    return with_labels(
        Image.fromarray(canvas), texts, avoid, font_file, text_part, [box_about(o) for _, o in references]
    )


def save_picture(image: Image.Image, path: Path) -> None:
    """Write a picture without Exif or comments, whole or not at all: beside its place first, then renamed.

    Parameters
    ----------
    image : PIL.Image.Image
        Picture; transparency is dropped.
    path : Path
        Its suffix says the format (.jpg, .png, .webp); JPEG at quality 88.

    Raises
    ------
    OSError
        The place cannot be written; nothing is left behind.
    ValueError
        The suffix is of no picture format.
    """
    clean = image.convert("RGB")
    clean.info.clear()  # Pillow would write comments and profiles from here
    lossy = path.suffix.lower() in {".jpg", ".jpeg"}
    beside = path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}")
    try:
        if lossy:
            clean.save(beside, quality=JPEG_QUALITY)
        else:
            clean.save(beside)
        beside.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
        raise


@dataclass(frozen=True, slots=True, eq=False)
class Text:
    """A label: text, kind, and the line it belongs to, None for the top left corner."""

    text: str
    kind: str
    line_px: Array | None


def scaled(points_px: Array, scale: float) -> Array:
    """Return finite points (N, 2) of the scaled picture; pixel centres stay at integers."""
    points = np.asarray(points_px, np.float64).reshape(-1, 2)
    points = (points + 0.5) * scale - 0.5
    kept: Array = points[np.isfinite(points).all(axis=1) & (np.abs(points) < 1e5).all(axis=1)]
    return kept


def _resampled(line: Array, step_px: float) -> Array:
    """Return points every step_px along a polyline (M, 2)."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    if len(line) < 2 or length[-1] == 0.0:
        return line
    at = np.linspace(0.0, length[-1], max(2, int(min(length[-1] / step_px, 20_000)) + 1))
    return np.column_stack([np.interp(at, length, line[:, 0]), np.interp(at, length, line[:, 1])])


def draw_line(canvas: Pixels, line: Array, colour: Colour, stroke: int, dashes: Sequence[float] = ()) -> None:
    """Draw a polyline in place, with a dark halo, in dashes given in stroke widths."""
    if len(line) < 2:
        return
    pieces = [line]
    if dashes:
        fine = _resampled(line, 1.0)
        lengths = np.maximum(1, np.round(np.array(dashes) * stroke * 2).astype(int))
        on = np.repeat(np.arange(len(lengths)) % 2 == 0, lengths)
        shown = on[np.arange(len(fine)) % len(on)]
        starts = np.flatnonzero(np.diff(np.concatenate([[False], shown, [False]]).astype(int)))
        pieces = [fine[a:b] for a, b in zip(starts[::2], starts[1::2], strict=True) if b - a > 1]
    # cv2 takes sub-pixel places as integers with `shift` binary digits
    fixed = [np.round(piece * 16).astype(np.int32).reshape(-1, 1, 2) for piece in pieces]
    cv2.polylines(canvas, fixed, False, HALO, 2 * stroke + 1, cv2.LINE_AA, 4)
    cv2.polylines(canvas, fixed, False, colour, stroke, cv2.LINE_AA, 4)


def _dimension(canvas: Pixels, line: Array, look: _Look, stroke: int) -> None:
    """Draw a dimension line with a bar across each end."""
    stroke = round(stroke * look.weight)
    draw_line(canvas, line, look.colour, stroke, look.dashes)
    along = line[1] - line[0]
    length = float(np.linalg.norm(along))
    if length == 0.0:
        return
    across = np.array([-along[1], along[0]]) / length * 5 * stroke
    for end in line:
        draw_line(canvas, np.vstack([end - across, end + across]), look.colour, stroke)


def with_labels(
    picture: Image.Image,
    texts: Sequence[Text],
    avoid_px: Array,
    font_file: Path | None,
    text_part: float = TEXT_PART,
    keep_off: Sequence[Box] = (),
) -> Image.Image:
    """Draw the labels where they fit, smaller where they must be; off the boxes `keep_off` if there is room."""
    size = max(picture.size) * text_part
    kept = [text for text in texts if _shown(text)]
    while kept:
        font = _font(round(size), font_file)
        pad = max(3, round(size / 4))
        wanted = [Wanted(_box_size(text, font, pad), _home(text, picture.size)) for text in kept]
        boxes = placed(wanted, picture.size, avoid_px, keep_off=keep_off, reach_px=pad)
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
    """Return the box about a reference and the rim of paper beyond its pattern."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    rim = 0.12 * (high - low)
    (x0, y0), (x1, y1) = np.floor(low - rim).astype(int).tolist(), np.ceil(high + rim).astype(int).tolist()
    return x0, y0, x1, y1


def _font(size_px: int, font_file: Path | None) -> Font:
    return ImageFont.truetype(font_file, size_px) if font_file else ImageFont.load_default(size_px)


def _home(text: Text, picture_px: tuple[int, int]) -> Array:
    """Return the line beside which the text belongs, cut to the picture."""
    if text.line_px is None:
        return np.zeros((2, 2))
    return np.clip(_resampled(text.line_px, 8.0), 0.0, np.array(picture_px, np.float64))


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


def _mark(draw: ImageDraw.ImageDraw, look: _Look, corner: tuple[float, float], size: float, width: int) -> None:
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
