"""Exif facts of a photo as checked values, and the prior of the focal length that follows from them.

Tags: Exif 2.3 / CIPA DC-008, numbers as in Pillow's tables. Nothing in a photo's Exif is trusted: what is
absurd becomes None with a note, and garbage never stops a photo.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from PIL import ExifTags, Image

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)  # 43.2666; equivalence is by the diagonal: CIPA DCG-001
# Guess: integer rounding is +-2.1 % at 24 mm (sd 1.2 %), habits of makers (width rule -3.9 %, 35 rule -1.1 %)
# the rest. It is what one sheet leans on; with two sheets it hardly matters.
U_LOG_KNOWN = 0.03
# Guess: main cameras of phones are 24 to 28 mm, some 13 mm or 50 mm and more; wide on purpose.
PHONE_FOCAL35_MM, U_LOG_UNKNOWN = 28.0, 0.35
# From fisheye to long telephoto; outside is a typing slip or garbage.
FOCAL35_RANGE_MM, FOCAL_RANGE_MM, ZOOM_RANGE = (5.0, 1200.0), (0.5, 1200.0), (1.0, 200.0)
# Guess: rounding and habits of makers (above) come to 5 %; farther off one of the two is of something else.
FOCAL35_APART = 1.15
# Guess: no cut that anybody makes unsaid is so small; a point left out makes ten times.
FOCAL35_ABSURD = 2.5
ISO_RANGE, EXPOSURE_RANGE_S = (1.0, 1e7), (1e-6, 3600.0)
# Sensors of phones are 4:3, of larger cameras 3:2; other pictures are cut from them in the camera, about the middle.
SENSOR_SHAPES = (4 / 3, 3 / 2)
SHAPE_TOLERANCE = 0.015  # so small a cut moves the middle by less than the principal point's own prior
PANORAMA_RENDERED = 6  # value of CustomRendered that phones write for panoramas (from memory; no standard)

_TAKEN = re.compile(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"[+-]\d\d:\d\d")


@dataclass(frozen=True, slots=True)
class ExifFacts:
    """What the camera wrote, checked; orientation as stored (1 where none or invalid), taken as ISO 8601.

    `coded_px` is the size (width, height) that the camera says it wrote, before any turn; another size than
    that of the file points to cropping or resizing. `panorama`: the camera says that it joined several views.
    """

    make: str | None = None
    model: str | None = None
    lens: str | None = None
    focal_mm: float | None = None
    focal35_mm: float | None = None
    digital_zoom: float = 1.0
    orientation: int = 1
    taken: str | None = None
    coded_px: tuple[int, int] | None = None
    iso: float | None = None
    exposure_s: float | None = None
    panorama: bool = False


@dataclass(frozen=True, slots=True)
class FocalPrior:
    """Prior of the focal length: value in px, standard deviation of its logarithm, its source."""

    focal_px: float
    u_log: float
    source: str


def orientation_of(image: Image.Image) -> int:
    """Return the Exif (or XMP) orientation 1 to 8 of an opened picture; 1 where none or invalid."""
    try:
        value = image.getexif().get(ExifTags.Base.Orientation, 1)
        return int(value) if value in range(1, 9) else 1
    except Exception:  # whatever a parser makes of garbage
        return 1


def read_exif(image: Image.Image, orientation: int) -> tuple[ExifFacts, tuple[str, ...]]:
    """Return the facts of an opened picture and notes on what was ignored; never raises.

    Parameters
    ----------
    image : PIL.Image.Image
        Picture whose Exif is read.
    orientation : int
        Orientation as stored, read before the decoder could take it out.
    """
    notes: list[str] = []
    try:
        base = dict(image.getexif())
        tags: dict[int, object] = base | dict(image.getexif().get_ifd(ExifTags.IFD.Exif))
    except Exception:  # whatever a parser makes of garbage
        return ExifFacts(orientation=orientation), ("the Exif data are damaged and were ignored",)
    focal35 = _number(tags.get(ExifTags.Base.FocalLengthIn35mmFilm), FOCAL35_RANGE_MM, "35 mm equivalent", notes)
    zoom = _number(tags.get(ExifTags.Base.DigitalZoomRatio), ZOOM_RANGE, "digital zoom ratio", notes) or 1.0
    if zoom > 1.0:
        notes.append(f"digital zoom {zoom:.3g} times: the focal length of the Exif data is less certain")
    facts = ExifFacts(
        make=_text(tags.get(ExifTags.Base.Make)),
        model=_text(tags.get(ExifTags.Base.Model)),
        lens=_text(tags.get(ExifTags.Base.LensModel)),
        focal_mm=_number(tags.get(ExifTags.Base.FocalLength), FOCAL_RANGE_MM, "focal length", notes),
        focal35_mm=focal35,
        digital_zoom=zoom,
        orientation=orientation,
        taken=_taken(tags),
        coded_px=_coded_px(tags),
        iso=_number(_first(tags.get(ExifTags.Base.ISOSpeedRatings)), ISO_RANGE, "ISO speed", notes),
        exposure_s=_number(tags.get(ExifTags.Base.ExposureTime), EXPOSURE_RANGE_S, "exposure time", notes),
        panorama=_is_panorama(image, tags),
    )
    return facts, tuple(notes)


def focal_prior(exif: ExifFacts, size_px: tuple[int, int], focal35_override: float | None = None) -> FocalPrior:
    """Return the prior of the focal length in pixels of a photo that was not cropped.

    Parameters
    ----------
    exif : ExifFacts
        Facts of the photo.
    size_px : tuple of int
        Width and height of the picture in which the focal length is wanted, px.
    focal35_override : float, optional
        35 mm equivalent in mm given by the person; it comes before the Exif data, unless they deny it: then the prior
        sits half-way and spans both.

    Returns
    -------
    FocalPrior
        f_px = f35 * diagonal_px / 43.2666 (equivalence by the diagonal, CIPA DCG-001).

    Notes
    -----
    Whether the 35 mm equivalent already holds the digital zoom differs between makers: with a zoom z the
    prior sits half-way, at f35 * sqrt(z), and spans both readings. A picture of another shape than a sensor's was cut
    from one: whether the 35 mm equivalent is of the whole sensor or of the cut differs too, with the same answer.

    Examples
    --------
    >>> round(focal_prior(ExifFacts(focal35_mm=24.0), (4032, 3024)).focal_px, 2)
    2795.69
    """
    px_per_mm = math.hypot(*size_px) / FULL_FRAME_DIAGONAL_MM
    if focal35_override is not None:
        half_log_apart = math.log(focal35_override / _told_beside(exif, size_px, focal35_override)) / 2
        u_log = math.hypot(U_LOG_KNOWN, half_log_apart)
        return FocalPrior(focal35_override * math.exp(-half_log_apart) * px_per_mm, u_log, "given")
    if exif.focal35_mm is not None:
        half_log_zoom = math.log(exif.digital_zoom) / 2
        half_log_cut = math.log(_whole_sensor(size_px)) / 2
        focal35_mm = exif.focal35_mm * math.exp(half_log_zoom + half_log_cut)
        u_log = math.hypot(U_LOG_KNOWN, half_log_zoom, half_log_cut)
        return FocalPrior(focal35_mm * px_per_mm, u_log, "exif")
    return FocalPrior(PHONE_FOCAL35_MM * px_per_mm, U_LOG_UNKNOWN, "none")


def focal35_contradicted(exif: ExifFacts, size_px: tuple[int, int], given_mm: float | None) -> tuple[str, bool] | None:
    """Return what is wrong with a 35 mm equivalent that a person gave and Exif denies, and whether beyond belief.

    None where both may be right.

    Parameters
    ----------
    size_px : width and height of the picture, px.
    given_mm : what the person gave; None: nothing.

    Notes
    -----
    Digital zoom and a cut, where Exif tells of them, make the equivalent longer: all from Exif's own figure to what
    they make of it may be meant. A picture of the shape that the camera wrote counts as whole, or only made smaller.
    """
    if given_mm is None or (told_mm := _told_beside(exif, size_px, given_mm)) == given_mm:
        return None
    absurd = abs(math.log(given_mm / told_mm)) > math.log(FOCAL35_ABSURD)
    both = "one of them is wrong" if absurd else "both are held possible, and sizes are less sure for it"
    says = (
        f"focal35 is given as {given_mm:g} mm in 35 mm terms, but the camera wrote {exif.focal35_mm:g} mm in 35 mm "
        f"terms into the photo (Exif): {both}; leave focal35 out, or send the photo as the camera wrote it"
    )
    return says, absurd


def _told_beside(exif: ExifFacts, size_px: tuple[int, int], given_mm: float) -> float:
    """Return the equivalent mm by Exif that is nearest to the given one; that itself where Exif does not deny it."""
    told_mm = exif.focal35_mm
    if told_mm is None:
        return given_mm
    longest_mm = told_mm * exif.digital_zoom * max(_whole_sensor(size_px), _cut_from(exif.coded_px, size_px))
    if told_mm / FOCAL35_APART <= given_mm <= longest_mm * FOCAL35_APART:
        return given_mm
    return told_mm if given_mm < told_mm else longest_mm


def _cut_from(whole_px: tuple[int, int] | None, size_px: tuple[int, int]) -> float:
    """Return the diagonal of what the camera wrote over the picture's own, where its shape was cut; else 1."""
    if whole_px is None:
        return 1.0
    shapes = [max(px) / min(px) for px in (whole_px, size_px)]
    cut = abs(math.log(shapes[0] / shapes[1])) > SHAPE_TOLERANCE
    return max(1.0, math.hypot(*whole_px) / math.hypot(*size_px)) if cut else 1.0


def _whole_sensor(size_px: tuple[int, int]) -> float:
    """Return the diagonal of the 4:3 sensor that the picture was cut from, over the picture's own; 1: not cut."""
    long, short = max(size_px), min(size_px)
    shape = long / short
    if any(abs(math.log(shape / s)) < SHAPE_TOLERANCE for s in SENSOR_SHAPES):
        return 1.0
    sensor = math.hypot(long, long * 3 / 4) if shape > 4 / 3 else math.hypot(short, short * 4 / 3)
    return sensor / math.hypot(long, short)


def _first(value: object) -> object:
    return value[0] if isinstance(value, tuple) and value else value


def _is_panorama(image: Image.Image, tags: dict[int, object]) -> bool:
    """Return whether the file says that it is a panorama: XMP of photo spheres, or CustomRendered."""
    xmp = image.info.get("xmp", b"")
    text = xmp if isinstance(xmp, bytes) else str(xmp).encode("utf-8", "replace")
    joined = b"GPano:ProjectionType" in text or b"GPano:UsePanoramaViewer" in text
    return joined or tags.get(ExifTags.Base.CustomRendered) == PANORAMA_RENDERED


def _number(value: object, allowed: tuple[float, float], what: str, notes: list[str]) -> float | None:
    """Return value as a float within allowed, else None; 0 means 'unknown' and is not worth a note."""
    if value is None:
        return None
    try:
        number = float(value)  # type: ignore[arg-type]  # int or rational; anything else raises
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        number = math.nan
    if number == 0.0:
        return None
    if allowed[0] <= number <= allowed[1]:
        return number
    notes.append(f"{what} of the Exif data is not believable and was ignored")
    return None


def _text(value: object) -> str | None:
    """Return printable text of at most 80 characters, None where nothing is left."""
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    if not isinstance(value, str):
        return None
    shown = "".join(c for c in value.split("\0")[0] if c.isprintable()).strip()
    return shown[:80] or None


def _taken(tags: dict[int, object]) -> str | None:
    """Return the time of the exposure as ISO 8601; without OffsetTimeOriginal it has no zone."""
    found = _TAKEN.fullmatch(_text(tags.get(ExifTags.Base.DateTimeOriginal)) or "")
    if found is None:
        return None
    year, month, day, hour, minute, second = found.groups()
    if not ("01" <= month <= "12" and "01" <= day <= "31" and hour < "24" and minute < "60" and second <= "60"):
        return None
    zone = _text(tags.get(ExifTags.Base.OffsetTimeOriginal)) or ""
    return f"{year}-{month}-{day}T{hour}:{minute}:{second}" + (zone if _OFFSET.fullmatch(zone) else "")


def _coded_px(tags: dict[int, object]) -> tuple[int, int] | None:
    width, height = tags.get(ExifTags.Base.ExifImageWidth), tags.get(ExifTags.Base.ExifImageHeight)
    if isinstance(width, int) and isinstance(height, int) and width > 0 and height > 0:
        return width, height
    return None
