"""A camera profile: interior of a camera with covariance, the key it belongs to, and its small text file (TOML).

The principal point is kept in the frame of the stored picture, before any turn: the Exif orientation says how a
phone was held, and the principal point turns with it. k1 and k2 are OpenCV's, of the ideal coordinates x / z.
"""

from __future__ import annotations

import hashlib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vision.errors import VisionError
from vision.photo.exif import ExifFacts
from vision.request import Array

FORMAT = "secondtape-lens/1"
UNKNOWNS = ("log_focal", "cx", "cy", "k1", "k2")
LARGEST_BYTES = 100_000  # of a profile, which is a text of a few dozen lines
SAME_FOCAL = 0.02  # Exif writes the focal length to two or three digits
SAME_SHAPE = 0.003  # sides of a resized picture are rounded to whole pixels: 2 px of 700
# Guesses, with their effect: focusing from 1 m to 5 m moves a phone's lens by f (1/1 m - 1/5 m) = 0.5 % of f, and a
# stabilised lens stands a little elsewhere in every photo. They bound what a profile can give, about 2 mm a metre of
# depth; without them a profile would be believed better than one lens repeats.
U_LOG_FOCUS, U_CENTRE_MOVES = 0.003, 0.0015

_ROOT = {"format", "camera", "interior", "made"}
_CAMERA = {"make", "model", "lens", "focal_mm", "focal35_mm", "size_px"}
_INTERIOR = {"focal_px", "centre_px", "k1", "k2", "covariance"}


class ProfileError(VisionError, ValueError):
    """A profile that cannot be used; one line a fault, each with its key and the remedy."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        super().__init__("; ".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class LensKey:
    """What a profile belongs to, as Exif writes it; size_px (width, height) of the stored picture."""

    make: str
    model: str
    lens: str
    focal_mm: float | None
    focal35_mm: float | None
    size_px: tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False)
class LensProfile:
    """Interior of a camera: focal length px, principal point px of the stored picture, k1, k2.

    `covariance` (5, 5) is of (log focal, cx, cy, k1, k2); `made` holds how it was found, for people.
    """

    key: LensKey
    focal_px: float
    cx: float
    cy: float
    k1: float
    k2: float
    covariance: Array
    made: Mapping[str, float | int | str]


def key_of(exif: ExifFacts, stored_px: tuple[int, int]) -> LensKey:
    """Return the key of a photo from its Exif facts and the size of the stored picture."""
    return LensKey(exif.make or "", exif.model or "", exif.lens or "", exif.focal_mm, exif.focal35_mm, stored_px)


def mismatch(profile: LensKey, photo: LensKey, digital_zoom: float = 1.0) -> str | None:
    """Return why a profile does not apply to a photo, as half a sentence; None where it applies.

    Notes
    -----
    A photo of another size applies when it is the whole picture made smaller or larger: same shape, same focal
    length. Where neither says its focal length the size must be the same, because a crop could not be told.
    """
    if digital_zoom > 1.0:
        return "the photo was zoomed"
    named = _named_apart(profile, photo) or _focal_apart(profile, photo)
    if named is not None:
        return named
    (w, h), (pw, ph) = photo.size_px, profile.size_px
    if (w, h) == (pw, ph):
        return None
    if abs(math.log(w * ph / (h * pw))) > SAME_SHAPE:
        return (
            f"the picture is {w} x {h} px, the profile is of {pw} x {ph} px: another shape, so it was cropped or turned"
        )
    told = profile.focal_mm is not None or profile.focal35_mm is not None
    return None if told else f"the picture is {w} x {h} px, the profile is of {pw} x {ph} px"


def _named_apart(profile: LensKey, photo: LensKey) -> str | None:
    for name, a, b in (("make", profile.make, photo.make), ("model", profile.model, photo.model)):
        if a.casefold() != b.casefold():
            return (
                f"the {name} is {b!r} in the photo, {a!r} in the profile" if b else f"the photo does not say its {name}"
            )
    if profile.lens and photo.lens and profile.lens.casefold() != photo.lens.casefold():
        return f"the lens is {photo.lens!r} in the photo, {profile.lens!r} in the profile"
    return None


def _focal_apart(profile: LensKey, photo: LensKey) -> str | None:
    for what, f, g in (
        ("focal length", profile.focal_mm, photo.focal_mm),
        ("35 mm equivalent", profile.focal35_mm, photo.focal35_mm),
    ):
        if f is not None and g is None:
            return f"the photo does not say its {what}"
        if f is not None and g is not None and abs(math.log(f / g)) > SAME_FOCAL:
            return f"the {what} is {g:g} mm in the photo, {f:g} mm in the profile"
    return None


def read_profile(path: Path) -> tuple[LensProfile, str]:
    """Return the profile of a file and the SHA-256 of its bytes.

    Raises
    ------
    ProfileError : the file is missing, no TOML, or its values cannot be; all faults at once.
    """
    name = path.name
    try:
        if not path.is_file():
            raise ProfileError((f"{name}: no such file; check the name, or make one with `secondtape lens`",))
        if path.stat().st_size > LARGEST_BYTES:
            raise ProfileError((f"{name}: over 100 kB, not a camera profile; make one with `secondtape lens`",))
        data = path.read_bytes()
        table = tomllib.loads(data.decode("utf-8"))
    except OSError as error:
        raise ProfileError((f"{name}: cannot be read ({error.strerror}); copy it there again",)) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ProfileError(
            (f"{name}: not a text file in TOML ({_plain(error)}); make it anew with `secondtape lens`",)
        ) from None
    return _checked(table, name), hashlib.sha256(data).hexdigest()


def written(profile: LensProfile) -> str:
    """Return the profile as TOML text, which `read_profile` gives back to 1e-9 of each value.

    Every float is written with `repr`, so that the text is the same on any machine.
    """
    k = profile.key
    lines = [
        "# Camera profile, made by `secondtape lens`. Lay it beside the job, or in a folder `lenses` there;",
        "# it applies to photos of the same camera, lens, focal length and picture shape only.",
        f'format = "{FORMAT}"',
        "",
        "[camera]",
        f"make = {_quoted(k.make)}",
        f"model = {_quoted(k.model)}",
        f"lens = {_quoted(k.lens)}",
        *([f"focal_mm = {float(k.focal_mm)!r}"] if k.focal_mm is not None else []),
        *([f"focal35_mm = {float(k.focal35_mm)!r}"] if k.focal35_mm is not None else []),
        f"size_px = [{k.size_px[0]}, {k.size_px[1]}]  # of the stored picture",
        "",
        "[interior]",
        f"focal_px = {float(profile.focal_px)!r}",
        f"centre_px = [{float(profile.cx)!r}, {float(profile.cy)!r}]",
        f"k1 = {float(profile.k1)!r}",
        f"k2 = {float(profile.k2)!r}",
        "# of log focal_px, centre_px (2), k1, k2",
        "covariance = [",
        *("  [" + ", ".join(repr(float(v)) for v in row) + "]," for row in profile.covariance),
        "]",
        "",
        "[made]",
        *(f"{key} = {_quoted(v) if isinstance(v, str) else repr(v)}" for key, v in profile.made.items()),
        "",
    ]
    return "\n".join(lines)


def _plain(error: Exception) -> str:
    return "".join(c for c in str(error) if c.isprintable())[:120]


def _quoted(text: str) -> str:
    """Return a TOML basic string; what is not printable was taken out when the Exif was read."""
    safe = "".join(c for c in text if c.isprintable())
    return '"' + safe.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _checked(table: dict[str, Any], name: str) -> LensProfile:
    faults: list[str] = []
    if table.get("format") != FORMAT:
        raise ProfileError((f'{name}: format: must be "{FORMAT}"; make the profile with `secondtape lens`',))
    camera, interior = _table(table, "camera", faults), _table(table, "interior", faults)
    for where, keys, known in (("", table, _ROOT), ("camera.", camera, _CAMERA), ("interior.", interior, _INTERIOR)):
        faults += [
            f"{where}{_plain_key(k)}: not known here; allowed: {', '.join(sorted(known))}"
            for k in keys
            if k not in known
        ]
    size = _numbers(camera, "camera.size_px", (2,), faults, 100, 100_000)
    optional = {
        k: float(_numbers(camera, f"camera.{k}", (), faults, 0.1, 2000)) if k in camera else None
        for k in ("focal_mm", "focal35_mm")
    }
    text = {k: camera.get(k, "") for k in ("make", "model", "lens")}
    faults += [f"camera.{k}: must be text in quotes" for k, v in text.items() if not isinstance(v, str)]
    focal = _numbers(interior, "interior.focal_px", (), faults, 10, 1e6)
    centre = _numbers(interior, "interior.centre_px", (2,), faults, -1e5, 1e5)
    k1 = _numbers(interior, "interior.k1", (), faults, -2, 2)
    k2 = _numbers(interior, "interior.k2", (), faults, -5, 5)
    covariance = _numbers(interior, "interior.covariance", (5, 5), faults, -1e8, 1e8)
    if not faults and not _is_covariance(covariance):
        faults.append(
            "interior.covariance: must be symmetric and positive; make the profile anew with `secondtape lens`"
        )
    if not faults and not (0.3 < (centre[0] + 0.5) / size[0] < 0.7 and 0.3 < (centre[1] + 0.5) / size[1] < 0.7):
        faults.append(
            "interior.centre_px: lies far from the middle of size_px; was the profile made from cropped photos?"
        )
    if faults:
        raise ProfileError(tuple(f"{name}: {fault}" for fault in faults))
    made = table.get("made", {})
    key = LensKey(
        text["make"],
        text["model"],
        text["lens"],
        optional["focal_mm"],
        optional["focal35_mm"],
        (int(size[0]), int(size[1])),
    )
    kept = {str(k): v for k, v in made.items() if isinstance(v, str | int | float)} if isinstance(made, dict) else {}
    covariance.setflags(write=False)
    return LensProfile(key, float(focal), float(centre[0]), float(centre[1]), float(k1), float(k2), covariance, kept)


def _table(table: dict[str, Any], key: str, faults: list[str]) -> dict[str, Any]:
    value = table.get(key)
    if isinstance(value, dict):
        return value
    faults.append(f"[{key}]: missing; make the profile with `secondtape lens`")
    return {}


def _plain_key(key: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in key)[:40]


def _numbers(
    table: dict[str, Any], key: str, shape: tuple[int, ...], faults: list[str], low: float, high: float
) -> Array:
    """Return the numbers of a key as an array of `shape`; NaN and a fault where they are missing or absurd."""
    value = table.get(key.rpartition(".")[2])
    flat = np.full(shape, np.nan)
    wanted = {(): "a number", (2,): "two numbers", (5, 5): "five rows of five numbers"}[shape]
    try:
        found = np.array(value, float) if _all_numbers(value) else flat
    except (ValueError, OverflowError):  # a whole number may have any length
        found = flat
    if found.shape != shape or not np.isfinite(found).all():
        faults.append(f"{key}: must be {wanted}")
        return flat
    if found.min() < low or found.max() > high:
        faults.append(f"{key}: must be {wanted} from {low:g} to {high:g}")
    return found


def _all_numbers(value: object) -> bool:
    if isinstance(value, list):
        return bool(value) and all(_all_numbers(v) for v in value)
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_covariance(c: Array) -> bool:
    """Return whether (5, 5) is symmetric and positive definite, whatever the units of its rows."""
    if not np.allclose(c, c.T, rtol=1e-6, atol=0) or (np.diag(c) <= 0).any():
        return False
    s = np.sqrt(np.diag(c))
    return bool(np.linalg.eigvalsh(c / np.outer(s, s)).min() > 1e-12)
