"""Photo file -> upright RGB picture with hash and Exif facts; the only place that decodes photos.

Pixels of `Photo.rgb`: x right, y down, pixel centres at integers, the way up a person sees the photo. A photo
above 60 MP is read at half size: pixel (x, y) then covers the full-size pixels 2x, 2x + 1 and 2y, 2y + 1, so
that x_full = 2 x + 0.5.
"""

from __future__ import annotations

import hashlib
import io
import stat
import struct
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageFile

from vision.errors import PhotoError
from vision.photo.exif import ExifFacts, FocalPrior, focal_prior, orientation_of, read_exif
from vision.photo.upright_rgb import LYING, TURNED, TURNS, UPRIGHT, Pixels, as_rgb, pixels, turned

__all__ = ["ExifFacts", "FocalPrior", "Photo", "at_photo_size", "at_read_size", "focal_prior", "read_photo"]

# Limits of the contract, section Result.
MIN_BYTES, MAX_BYTES = 1_000, 150_000_000
MIN_PIXELS, MAX_PIXELS, HALF_ABOVE_PIXELS = 300_000, 250_000_000, 60_000_000
# Guess: no sheet and no opening could be told on less; the smallest photo within the limit at 4:3 has 474.
MIN_SIDE_PX = 200
# First bytes of the kinds that Pillow is asked to read; its driver of JPEG also takes MPO.
KINDS = (
    (b"\xff\xd8", "JPEG"),
    (b"\x89PNG", "PNG"),
    (b"II*\0", "TIFF"),
    (b"MM\0*", "TIFF"),
    (b"RIFF", "WEBP"),
)
# Brands of HEVC-coded still pictures: ISO/IEC 23008-12 annex B, in the file type box of ISO/IEC 14496-12.
HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
AVIF_BRANDS = (b"avif", b"avis")  # AV1 Image File Format, section 6

# Pillow's limits and Python's warning filters belong to the process: one photo at a time sets and restores
# them. It also keeps the memory to that of one decoder.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """An upright photo: rgb (H, W, 3) uint8 read-only, size_px (W, H) of rgb, reduced 1 or 2, notes.

    `whole_px` is the size (W, H) of the photo itself, upright, of which `reduced` px go into one of rgb.

    `turned` is by how many degrees clockwise rgb is turned from the picture as the sensor saw it; None: mirrored.
    """

    path: Path
    sha256: str
    rgb: Pixels
    size_px: tuple[int, int]
    exif: ExifFacts
    reduced: int
    notes: tuple[str, ...]
    turned: int | None = 0
    whole_px: tuple[int, int] = (0, 0)


def read_photo(path: Path, turn: int = 0) -> Photo:
    """Return the photo of a JPEG, MPO, PNG, HEIC, TIFF or WebP file, upright.

    Parameters
    ----------
    path : Path
        A regular file of 1 kB to 150 MB and 0.3 to 250 MP; of several frames the first is read.
    turn : {0, 90, 180, 270}
        Further turn in degrees clockwise, after the Exif orientation.

    Returns
    -------
    Photo
        Above 60 MP at half size, with a note.

    Raises
    ------
    PhotoError
        The file is missing, not a regular file, not readable, out of the limits, cut off, broken or no photo.
    ValueError
        `turn` is not a multiple of 90 degrees.

    Notes
    -----
    The file is read once; hash and picture are of the same bytes. Colours stay as stored (no ICC conversion),
    transparency is laid on white.
    """
    if turn % 90:
        raise ValueError(f"turn must be 0, 90, 180 or 270 degrees, not {turn}")
    data = _file_bytes(path)
    with _ONE_AT_A_TIME, _decoder_settings():
        image = _opened(data, path)
        reduced = _reduction(image.size, path)
        try:
            stored_orientation = orientation_of(image)
            whole_px = image.size
            drafted = reduced == 2 and _halved_by_decoder(image)
            image.load()
            whole_px = whole_px if drafted else image.size  # TIFF and HEIF come turned
            exif, notes = read_exif(image, stored_orientation)
            # TIFF and HEIF come turned, and then no longer hold the orientation of the file.
            upright = UPRIGHT.get(orientation_of(image))
            image = as_rgb(image)
            if reduced == 2 and not drafted:
                image = image.reduce(2)
            steps = (upright, TURNS.get(turn % 360))
            image = turned(image, *steps)
            if sum(step in LYING for step in steps) == 1:
                whole_px = (whole_px[1], whole_px[0])
            rgb = pixels(image)
        except Exception as error:
            raise _broken(path, error) from error
    if reduced == 2:
        notes = (*notes, "above 60 MP: read and measured at half size")
    rgb.flags.writeable = False
    size_px = (rgb.shape[1], rgb.shape[0])
    held = TURNED.get(stored_orientation)
    from_sensor = None if held is None else (held + turn) % 360
    return Photo(path, hashlib.sha256(data).hexdigest(), rgb, size_px, exif, reduced, notes, from_sensor, whole_px)


def at_read_size(points_px: ArrayLike, reduced: int) -> NDArray[np.float64]:
    """Return points (..., 2) px of the photo, or single coordinates, in pixels of the size that was read.

    Examples
    --------
    >>> at_read_size([0.5, 2.5], 2).tolist()
    [0.0, 1.0]
    """
    return (np.asarray(points_px, np.float64) + 0.5) / reduced - 0.5


def at_photo_size(points_px: ArrayLike, reduced: int) -> NDArray[np.float64]:
    """Return points (..., 2) px of the size that was read, or single coordinates, in pixels of the photo.

    Examples
    --------
    >>> at_photo_size([0.0, 1.0], 2).tolist()
    [0.5, 2.5]
    """
    return (np.asarray(points_px, np.float64) + 0.5) * reduced - 0.5


def _shown(path: Path) -> str:
    """Return the path on one line whatever its name holds."""
    return "".join(c if c.isprintable() else "?" for c in str(path))


def _file_bytes(path: Path) -> bytes:
    """Return all bytes of a regular file within the limits; never opens a pipe or a device."""
    name = _shown(path)
    try:
        found = path.stat()
        kind, size = stat.S_IFMT(found.st_mode), found.st_size
        data = path.read_bytes() if kind == stat.S_IFREG and size <= MAX_BYTES else b""
    except FileNotFoundError:
        code, says = "photo-missing", "no such file; check the name, or copy the photo there"
        raise PhotoError(code, f"{name}: {says}") from None
    except PermissionError:
        code, says = "photo-unreadable", "may not be read; give yourself the right to read it"
        raise PhotoError(code, f"{name}: {says}") from None
    except (OSError, ValueError, MemoryError) as error:
        why = getattr(error, "strerror", None) or str(error) or type(error).__name__
        raise PhotoError("photo-unreadable", f"{name}: cannot be read ({why}); copy the photo again") from None
    if kind == stat.S_IFDIR:
        raise PhotoError("photo-not-a-file", f"{name}: a folder, not a photo; name the photo file in it")
    if kind != stat.S_IFREG:
        raise PhotoError("photo-not-a-file", f"{name}: not a regular file; copy the photo itself there")
    if size > MAX_BYTES:
        raise PhotoError("photo-too-large", f"{name}: {size / 1e6:.1f} MB, at most 150 MB; save it as JPEG")
    if not data:
        raise PhotoError("photo-empty", f"{name}: the file is empty; copy the photo from the phone again")
    if len(data) < MIN_BYTES:
        says = f"{len(data)} bytes cannot be a photo; copy it from the phone again"
        raise PhotoError("photo-too-small", f"{name}: {says}")
    return data


@contextmanager
def _decoder_settings() -> Iterator[None]:
    """Set Pillow's pixel limit and strictness for one photo, keep its warnings in, and restore all."""
    before = Image.MAX_IMAGE_PIXELS, ImageFile.LOAD_TRUNCATED_IMAGES
    Image.MAX_IMAGE_PIXELS, ImageFile.LOAD_TRUNCATED_IMAGES = MAX_PIXELS, False
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        Image.MAX_IMAGE_PIXELS, ImageFile.LOAD_TRUNCATED_IMAGES = before


def _opened(data: bytes, path: Path) -> Image.Image:
    """Return the picture with its header read, not yet decoded."""
    if data[4:8] == b"ftyp" and data[8:12] in AVIF_BRANDS:  # it names the brands of HEIF too
        says = f"{_shown(path)}: AVIF is no kind that is read here; save the photo as JPEG, PNG, HEIC, TIFF or WebP"
        raise PhotoError("photo-format", says)
    if data[4:8] == b"ftyp" and any(brand in data[8:64] for brand in HEIF_BRANDS):
        return _opened_heif(data, path)
    kind = next((kind for first, kind in KINDS if data.startswith(first)), None)
    if kind is None or (kind == "WEBP" and data[8:12] != b"WEBP"):
        says = f"{_shown(path)}: not a photo of a kind that is read here; give JPEG, PNG, HEIC, TIFF or WebP"
        raise PhotoError("photo-format", says)
    if kind == "JPEG" and not _jpeg_ends(data):
        raise _cut_off(path)
    try:
        return Image.open(io.BytesIO(data), formats=(kind,))
    except Image.DecompressionBombError:
        raise PhotoError("photo-size", f"{_shown(path)}: more than 250 MP; save a smaller copy") from None
    except Exception as error:
        raise _broken(path, error) from error


def _opened_heif(data: bytes, path: Path) -> Image.Image:
    """Return a HEIF picture by way of pillow_heif, which is optional and is not registered with Pillow."""
    try:
        from pillow_heif import HeifImageFile
    except ImportError:
        says = f"{_shown(path)}: HEIC needs the extra `heic`: pip install 'secondtape[heic]', or save it as JPEG"
        raise PhotoError("heic-extra-missing", says) from None
    try:
        image: Image.Image = HeifImageFile(io.BytesIO(data))  # type: ignore[no-untyped-call]
    except Exception as error:
        raise _broken(path, error) from error
    return image


def _jpeg_ends(data: bytes) -> bool:
    """Return whether the first picture of a JPEG has its end marker: a cut file padded with zeros has none.

    ITU-T T.81 annex B: segments carry their length up to start of scan; in coded data 0xFF is always stuffed,
    so that 0xFFD9 is the end. A file whose segments cannot be walked is left to the decoder.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker == 0xDA:
            return data.rfind(b"\xff\xd9", at) >= 0
        at += 2 + int(struct.unpack_from(">H", data, at + 2)[0])
    return at + 4 <= len(data)


def _reduction(size_px: tuple[int, int], path: Path) -> int:
    """Return 1, or 2 where the photo is to be read at half size; checks the header's size before decoding."""
    width, height = size_px
    said = f"{_shown(path)}: {width} x {height} pixels"
    if width * height > MAX_PIXELS:
        raise PhotoError("photo-size", f"{said}, more than 250 MP; save a smaller copy")
    if width * height < MIN_PIXELS:
        raise PhotoError("photo-size", f"{said}, less than 0.3 MP; send the photo in its original size")
    if min(size_px) < MIN_SIDE_PX:
        says = f"{said}, less than {MIN_SIDE_PX} on a side: a strip, not a photo; send the whole photo"
        raise PhotoError("photo-too-small", says)
    return 2 if width * height > HALF_ABOVE_PIXELS else 1


def _halved_by_decoder(image: Image.Image) -> bool:
    """Ask a JPEG's decoder for half size; return whether it will do so."""
    full_px = image.size
    if image.format in {"JPEG", "MPO"}:
        image.draft(None, (max(1, full_px[0] // 2), max(1, full_px[1] // 2)))
    return image.size != full_px


def _cut_off(path: Path) -> PhotoError:
    says = f"{_shown(path)}: the photo is cut off before its end; copy it from the phone again"
    return PhotoError("photo-truncated", says)


def _broken(path: Path, error: Exception) -> PhotoError:
    """Return what a decoder's complaint means for the person."""
    if isinstance(error, MemoryError):
        return PhotoError("photo-size", f"{_shown(path)}: does not fit in memory; save a smaller copy")
    if "truncated" in str(error).lower():
        return _cut_off(path)
    says = f"{_shown(path)}: the photo is damaged and cannot be decoded; copy it from the phone again"
    return PhotoError("photo-damaged", says)
