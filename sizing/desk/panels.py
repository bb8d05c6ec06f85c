"""The write-in panels of the sheets in a photo, straightened, enlarged and sharpened, and whether they are written on.

Works in the desk's child. What is said goes with the picture, as its comment: the page shows both.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sizing.desk.worker import Say

PER_MM = 8.0
# Place of the panel below the pattern, and of its fields, mm (sizing.printed.sheets); names above the writing.
TOP_MM, BOTTOM_MM, LABEL_MM = 4.2, 13.5, 3.0
FIELDS_MM = (("job", 14.0, 66.0), ("opening", 66.0, 100.0), ("date", 100.0, 134.0), ("name", 134.0, 180.0))
# Guesses: a stroke is thinner than so much, and darker than the paper about it by such a share; lines longer than so
# much are printed ones; writing covers such a share of a field at least (a date of six digits covers 4 %).
STROKE_MM, DARKER, PRINTED_MM, WRITTEN = 2.5, 0.12, 12.0, 0.015
# Writing of 5 mm with fewer px a millimetre than this is a blur: seven rows of dots make a letter.
LEGIBLE_PX_PER_MM = 1.4


def panel_task(path: Path, *, say: Say) -> dict[str, bytes]:
    """Return the panels of all sheets in a photo, one above the other, as `{"panel": JPEG}`; empty without a sheet."""
    import cv2
    from PIL import Image

    from sizing.messages.intake import panel_says
    from vision.photo.reading import read_photo
    from vision.sheets.markers import find_sheets
    from vision.sheets.sheet import LETTERS

    cv2.setNumThreads(1)
    rgb = read_photo(path).rgb
    strips, said = [], []
    for sheet in sorted(find_sheets(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)), key=lambda s: s.letter):
        strip = straightened(rgb, sheet.homography)
        scale = px_per_mm(sheet.homography)
        said.append(panel_says(LETTERS[sheet.letter], written_fields(strip), legible=scale >= LEGIBLE_PX_PER_MM))
        strips.append(_sharpened(strip))
    if not strips:
        return {"panel": b""}
    stream = io.BytesIO()
    image = Image.fromarray(np.vstack(strips))
    image.save(stream, "JPEG", quality=88, comment=" ".join(said).encode())
    return {"panel": stream.getvalue()}


def says_of(jpeg: bytes) -> str:
    """Return what `panel_task` said of the panels in its picture, empty where nothing is."""
    from PIL import Image

    with Image.open(io.BytesIO(jpeg), formats=("JPEG",)) as image:
        comment = image.info.get("comment", b"")
    return comment.decode("ascii", "replace") if isinstance(comment, bytes) else ""


def straightened(rgb: NDArray[np.uint8], homography: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Return the strip (H, W, 3) about a sheet's panel with 3 mm about it; `homography` maps mm of the sheet to px."""
    import cv2

    from vision.sheets.sheet import HEIGHT_MM, WIDTH_MM

    left, top, right, bottom = -3.0, HEIGHT_MM + TOP_MM - 3.0, WIDTH_MM + 3.0, HEIGHT_MM + BOTTOM_MM + 3.0
    place = np.array([[PER_MM, 0, -left * PER_MM], [0, PER_MM, -top * PER_MM], [0, 0, 1]])
    size = (round((right - left) * PER_MM), round((bottom - top) * PER_MM))
    return np.asarray(cv2.warpPerspective(rgb, place @ np.linalg.inv(homography), size, flags=cv2.INTER_LANCZOS4))


def px_per_mm(homography: NDArray[np.float64]) -> float:
    """Return how many px of the photo a millimetre of the panel spans, along the page, where it spans fewer."""
    from vision.sheets.markers import apply_homography
    from vision.sheets.sheet import HEIGHT_MM, WIDTH_MM

    x, y = WIDTH_MM / 2, HEIGHT_MM + (TOP_MM + BOTTOM_MM) / 2
    a, b, c = apply_homography(homography, np.array([[x, y], [x + 1, y], [x, y + 1]]))
    return float(min(np.hypot(*(b - a)), np.hypot(*(c - a))))


def written_fields(strip: NDArray[np.uint8]) -> tuple[str, ...]:
    """Return the fields of a straightened strip in which something is written: thin, darker than the paper, no line."""
    import cv2

    grey = cv2.cvtColor(strip, cv2.COLOR_RGB2GRAY)
    wide = round(STROKE_MM * PER_MM)
    closed = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((wide, wide), np.uint8))
    ink = np.asarray((closed.astype(float) - grey) > DARKER * np.maximum(closed, 1), np.uint8)
    long = round(PRINTED_MM * PER_MM)
    for shape, slant in (((1, long), (5, 1)), ((min(long, round(7.5 * PER_MM)), 1), (1, 5))):
        lines = cv2.morphologyEx(cv2.dilate(ink, np.ones(slant, np.uint8)), cv2.MORPH_OPEN, np.ones(shape, np.uint8))
        ink[cv2.dilate(lines, np.ones((5, 5), np.uint8)) > 0] = 0
    top, bottom = round((3.0 + LABEL_MM) * PER_MM), round((3.0 + BOTTOM_MM - TOP_MM - 0.6) * PER_MM)
    found = []
    for name, left, right in FIELDS_MM:
        part = ink[top:bottom, round((3.0 + left + 1.0) * PER_MM) : round((3.0 + right - 1.0) * PER_MM)]
        if part.size and float(part.mean()) > WRITTEN:
            found.append(name)
    return tuple(found)


def _sharpened(strip: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the strip with its paper white, its ink dark and its edges sharper, to be read by people only."""
    import cv2

    low, high = np.percentile(strip, [0.5, 97])
    spread = np.clip((strip.astype(np.float32) - low) * (255 / max(high - low, 40)), 0, 255)
    soft = cv2.GaussianBlur(spread, (0, 0), 0.35 * PER_MM)
    return np.asarray(np.clip(spread + 1.2 * (spread - soft), 0, 255), np.uint8)
