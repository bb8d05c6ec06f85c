"""The wall plane seen square on and true to scale, with scale bars in millimetres and inches."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

MAX_PIXELS, USUAL_PIXELS = 12_000_000, 5_000_000
MARGIN_PART = 0.05  # of the longer extent, on each side
MM_PER_INCH = 25.4  # exactly, by definition
BARS_MM = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
BARS_INCH = (1, 2, 4, 6, 12, 24, 36, 60, 120)
OUTSIDE = (238, 238, 238)
_ROWS = 8  # rows between exact ones: a projective map bends by less than 0.01 px over 8 px


def rectified_view(
    photo_rgb: Pixels,
    to_photo: Callable[[Array], Array],
    extent_mm: tuple[float, float, float, float],
    mm_per_px: float | None = None,
) -> Image.Image:
    """Return the wall plane true to scale, with a margin around the extent and a strip of scale bars below.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
        Upright photo.
    to_photo : callable
        Maps points of the wall (N, 2) mm to photo pixels (N, 2); not finite where it has none.
    extent_mm : tuple of float
        x0, y0, x1, y1 of what must be in view.
    mm_per_px : float, optional
        Scale of the picture; without it that of the photo in the middle of the extent, with at most 5 MP.
        Coarser where the picture would have more than 12 MP.

    Returns
    -------
    PIL.Image.Image
        RGB. `info["mm_per_px"]` is its scale and `info["origin_mm"]` the wall point of its pixel (0, 0).

    Raises
    ------
    ValueError
        The extent or the scale is empty or not finite.
    """
    x0, y0, x1, y1 = extent_mm
    if not (np.isfinite(extent_mm).all() and x1 > x0 and y1 > y0):
        raise ValueError(f"extent_mm must be x0 < x1, y0 < y1 and finite, not {extent_mm}")
    margin = MARGIN_PART * max(x1 - x0, y1 - y0)
    origin = (float(x0 - margin), float(y0 - margin))
    wall_mm = (float(x1 - x0 + 2 * margin), float(y1 - y0 + 2 * margin))
    photo_px_per_mm = _photo_scale(to_photo, ((x0 + x1) / 2, (y0 + y1) / 2), min(wall_mm) / 100)
    pitch = 1.0 / photo_px_per_mm if mm_per_px is None else mm_per_px
    if not (np.isfinite(pitch) and pitch > 0):
        raise ValueError(f"mm_per_px must be positive, not {pitch}")
    most = USUAL_PIXELS if mm_per_px is None else MAX_PIXELS
    pitch = max(pitch, _finest(wall_mm, most))
    size = (max(1, math.floor(wall_mm[0] / pitch)), max(1, math.floor(wall_mm[1] / pitch)))
    picture = _warped(photo_rgb, to_photo, origin, pitch, size, photo_px_per_mm * pitch)
    image = _with_bars(picture, pitch)
    image.info.update(mm_per_px=pitch, origin_mm=origin)
    return image


def _finest(wall_mm: tuple[float, float], most_px: int) -> float:
    """Return the pitch at which the wall and the strip of `_with_bars` below it have most_px pixels."""
    width, height = wall_mm
    strip = 7 * min(max(width, height) / 55, width / 12)
    return math.sqrt(width * (height + strip) * 1.02 / most_px)


def _photo_scale(to_photo: Callable[[Array], Array], at_mm: tuple[float, float], step_mm: float) -> float:
    """Return photo px per mm of the wall about a point: the root of the map's local change of area."""
    steps = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]) * step_mm
    px = to_photo(np.array(at_mm) + steps)
    along_x, along_y = (px[0] - px[1]) / (2 * step_mm), (px[2] - px[3]) / (2 * step_mm)
    area = abs(float(along_x[0] * along_y[1] - along_x[1] * along_y[0]))
    if not (math.isfinite(area) and area > 0):
        raise ValueError("the middle of extent_mm has no place in the photo")
    return math.sqrt(area)


def _warped(
    photo_rgb: Pixels,
    to_photo: Callable[[Array], Array],
    origin_mm: tuple[float, float],
    pitch: float,
    size: tuple[int, int],
    photo_px_per_px: float,
) -> Pixels:
    """Return the wall (H, W, 3), by bands; a finer photo is shrunk first, against aliasing."""
    shrink = max(1, int(photo_px_per_px))
    source = photo_rgb
    if shrink > 1:
        small = (max(1, photo_rgb.shape[1] // shrink), max(1, photo_rgb.shape[0] // shrink))
        source = np.asarray(cv2.resize(photo_rgb, small, interpolation=cv2.INTER_AREA), np.uint8)
    ratio = np.array([source.shape[1] / photo_rgb.shape[1], source.shape[0] / photo_rgb.shape[0]])
    width, height = size
    x_mm = origin_mm[0] + np.arange(width) * pitch
    picture = np.empty((height, width, 3), np.uint8)
    band = 64 * _ROWS
    for top in range(0, height, band):
        below = min(top + band, height)
        exact = np.arange(top, below + _ROWS, _ROWS)
        grid = np.stack(np.meshgrid(x_mm, origin_mm[1] + exact * pitch), axis=-1).reshape(-1, 2)
        px = to_photo(grid).reshape(len(exact), width, 2)
        px = np.where(np.isfinite(px) & (np.abs(px) < 1e6), px, -1e4)
        row, part = np.divmod(np.arange(below - top), _ROWS)
        t = (part / _ROWS)[:, None, None]
        between = px[row] * (1 - t) + px[row + 1] * t
        maps = ((between + 0.5) * ratio - 0.5).astype(np.float32)
        cv2.remap(
            source,
            np.ascontiguousarray(maps[..., 0]),
            np.ascontiguousarray(maps[..., 1]),
            cv2.INTER_LINEAR,
            dst=picture[top:below],
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=OUTSIDE,
        )
    return picture


def _with_bars(picture: Pixels, pitch: float) -> Image.Image:
    """Return the picture with a white strip below that holds a bar in mm and one in inches."""
    height, width = picture.shape[:2]
    text = max(11, round(min(max(width, height) / 55, width / 12)))
    strip = 7 * text
    image = Image.new("RGB", (width, height + strip), (255, 255, 255))
    image.paste(Image.fromarray(picture), (0, 0))
    draw, font = ImageDraw.Draw(image), ImageFont.load_default(text)
    left = text
    for number, (choices, unit_mm, unit) in enumerate(((BARS_MM, 1.0, "mm"), (BARS_INCH, MM_PER_INCH, "in"))):
        fitting = [n for n in choices if n * unit_mm / pitch <= 0.6 * width] or [choices[0]]
        length, parts = fitting[-1], 5 if unit == "mm" else (4 if fitting[-1] > 2 else 2)
        top = height + text + number * 3 * text
        ends = left + np.arange(parts + 1) * length * unit_mm / pitch / parts
        for k in range(parts):
            box = (ends[k], top, ends[k + 1], top + text * 0.7)
            draw.rectangle(box, fill=(0, 0, 0) if k % 2 == 0 else (255, 255, 255), outline=(0, 0, 0), width=1)
        draw.text((left, top + text * 0.9), "0", fill=(0, 0, 0), font=font)
        draw.text((ends[-1], top + text * 0.9), f"{length} {unit}", fill=(0, 0, 0), font=font, anchor="ma")
    return image
