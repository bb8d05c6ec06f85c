"""Pictures saved without Exif, whole or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from PIL import Image

JPEG_QUALITY = 88


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
