"""A decoded picture as upright RGB of 8 bits: turned as its Exif orientation says, transparency laid on white."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Pixels = NDArray[np.uint8]

# Exif standard, tag 0x0112 (Orientation): what turns the stored picture upright, and degrees clockwise to it; mirrored
# ones have none.
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
TURNED = {1: 0, 3: 180, 6: 90, 8: 270}
# Pillow counts counter-clockwise, `turn` clockwise.
TURNS = {90: Image.Transpose.ROTATE_270, 180: Image.Transpose.ROTATE_180, 270: Image.Transpose.ROTATE_90}
# What lays an upright picture down.
LYING = {Image.Transpose.TRANSPOSE, Image.Transpose.TRANSVERSE, Image.Transpose.ROTATE_90, Image.Transpose.ROTATE_270}


def turned(image: Image.Image, *steps: Image.Transpose | None) -> Image.Image:
    """Return the picture after the steps, None being none."""
    for step in steps:
        if step is not None:
            image = image.transpose(step)
    return image


def pixels(image: Image.Image) -> Pixels:
    """Return an RGB picture as (H, W, 3); strips of about 1 MB stay in the cache, which halves the time."""
    width, height = image.size
    rgb = np.empty((height, width, 3), np.uint8)
    rows = max(1, (1 << 20) // (4 * width))
    for top in range(0, height, rows):
        below = min(top + rows, height)
        rgb[top:below] = np.asarray(image.crop((0, top, width, below)))
    return rgb


def as_rgb(image: Image.Image) -> Image.Image:
    """Return the picture as RGB: deep grey scaled to 8 bits, transparency on white."""
    if image.mode == "RGB":
        return image
    if image.mode.startswith(("I", "F")):
        return Image.fromarray(_to_8_bits(np.asarray(image), image.mode)).convert("RGB")
    if image.has_transparency_data:
        rgba = image.convert("RGBA")
        white = Image.new("RGB", image.size, (255, 255, 255))
        white.paste(rgba, mask=rgba.getchannel("A"))
        return white
    return image.convert("RGB")


def _to_8_bits(grey: NDArray[np.generic], mode: str) -> Pixels:
    """Return grey (H, W) as uint8: I;16 by its range, I and F by the least usual range that holds them."""
    if mode.startswith("I;16"):
        return (grey.astype(np.uint16) >> 8).astype(np.uint8)
    values = np.nan_to_num(grey.astype(np.float32), nan=0.0, posinf=0.0, neginf=0.0)
    top = float(values.max(initial=0.0))
    full = next((r for r in (1.0, 255.0, 65535.0) if top <= r and (mode == "F" or r > 1)), max(top, 1.0))
    scaled: Pixels = np.clip(values * (255.0 / full) + 0.5, 0, 255).astype(np.uint8)
    return scaled
