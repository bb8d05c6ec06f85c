"""Photos of sheets -> views for a camera profile -> the profile, with what was left out and why."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from vision.errors import PhotoError
from vision.lens.interior import LensFit, View, calibrate
from vision.lens.profile import LensKey, LensProfile, key_of, mismatch
from vision.photo.exif import focal_prior
from vision.photo.reading import Photo, read_photo
from vision.priors import camera_prior
from vision.request import Array, CheckBar
from vision.sheets import markers
from vision.solving.solve import solve_sheets

Progress = Callable[[str], None]
# A profile less certain than this says less than Exif itself (u 3 %), and one above the second is called weak: guesses.
USELESS_U_LOG, WEAK_U_LOG = 0.015, 0.004
GRID = 8  # cells a side for how much of the picture the sheets covered


@dataclass(frozen=True, slots=True, eq=False)
class LensFound:
    """A profile, the fit behind it, and how good it is.

    `coverage` 0..1 is the share of the picture that the sheets of all photos covered; `u_corner_px` the standard
    uncertainty of where a ray near the picture's corner falls.
    """

    profile: LensProfile
    fit: LensFit
    coverage: float
    u_corner_px: float

    @property
    def weak(self) -> bool:
        """Whether the photos were too few or too alike for a good profile."""
        return float(np.sqrt(self.fit.covariance[0, 0])) > WEAK_U_LOG


@dataclass(frozen=True, slots=True)
class LensNotFound:
    """Why there is no profile, and which photos were left out with the reason."""

    why: str
    left_out: tuple[tuple[str, str], ...]
    unreadable: bool = False


def profile_from_photos(paths: Sequence[Path], progress: Progress | None = None) -> LensFound | LensNotFound:
    """Return a camera profile from photos of the printed sheets, or why there is none.

    Notes
    -----
    All photos must come from one camera at one focal length and picture size: the first key with the most photos is
    taken, the others are left out and named.
    """
    left_out: list[tuple[str, str]] = []
    found: list[tuple[LensKey, View, Array, tuple[int, int]]] = []
    unreadable = 0
    for path in paths:
        if progress is not None:
            progress(f"looking at {path.name}")
        try:
            seen = _view(read_photo(path))
        except PhotoError as error:
            left_out.append((path.name, str(error)))
            unreadable += 1
            continue
        if isinstance(seen, str):
            left_out.append((path.name, seen))
        else:
            found.append(seen)
    if not found:
        why = "none of the photos can be used"
        return LensNotFound(why, tuple(left_out), unreadable=unreadable == len(paths))
    keys = [key for key, *_ in found]
    key = max(keys, key=lambda k: sum(mismatch(k, other) is None for other in keys))
    alike = []
    for other, view, outline, _ in found:
        says = mismatch(key, other) or (None if other.size_px == key.size_px else "another picture size")
        if says is None:
            alike.append((view, outline))
        else:
            left_out.append((view.name, says + "; a profile needs photos of one lens at one size"))
    fit = calibrate([view for view, _ in alike], key.size_px)
    if isinstance(fit, str):
        return LensNotFound(fit, tuple(left_out))
    u_log = float(np.sqrt(fit.covariance[0, 0]))
    left_out += fit.left_out
    if u_log > USELESS_U_LOG:
        why = (
            f"the photos are too alike: the focal length would be known to {200 * u_log:.1f} % only; take some with "
            "the sheets tilted by 30 to 45 degrees to each side, up and down, and some with the camera turned"
        )
        return LensNotFound(why, tuple(left_out))
    made: dict[str, float | int | str] = {
        "photos": len(fit.used),
        "rms_px": round(float(np.sqrt((fit.rms_px**2).mean())), 3),
        "u_focal_percent": round(100 * u_log, 3),
    }
    profile = LensProfile(key, fit.focal_px, fit.cx, fit.cy, fit.k1, fit.k2, fit.covariance, made)
    used = [outline for view, outline in alike if view.name in fit.used]
    return LensFound(
        profile, LensFit(*_values(fit), tuple(left_out)), _coverage(used, key.size_px), _u_corner(fit, key.size_px)
    )


def _values(fit: LensFit) -> tuple[float, float, float, float, float, Array, tuple[str, ...], Array]:
    return fit.focal_px, fit.cx, fit.cy, fit.k1, fit.k2, fit.covariance, fit.used, fit.rms_px


def _view(photo: Photo) -> tuple[LensKey, View, Array, tuple[int, int]] | str:
    """Return key, view, outlines (R, 4, 2) px of the stored picture and its size; or why the photo is of no use."""
    if photo.turned is None:
        return "the picture is mirrored; use the photo as the camera wrote it"
    if photo.exif.digital_zoom > 1.0:
        return "digital zoom was used; take it again at 1x"
    stored = np.ascontiguousarray(np.rot90(photo.rgb, photo.turned // 90))  # anticlockwise: back to the sensor's frame
    size = (stored.shape[1], stored.shape[0])
    grey = cv2.cvtColor(stored, cv2.COLOR_RGB2GRAY)
    sightings = [s for s in markers.find_sheets(grey) if s.markers >= 3 and len(s.saddles_px) >= 4]
    if not sightings:
        return "no printed sheet was found in it; show at least one whole sheet, well lit"
    focal = focal_prior(photo.exif, size)
    prior = camera_prior(focal.focal_px, focal.u_log, size, known=focal.source != "none")
    solved = solve_sheets(grey, sightings, prior, CheckBar(), "render")
    view = View(photo.path.name, solved.adjusted.state, solved.blocks, solved.names)
    return key_of(photo.exif, size), view, np.stack(solved.outlines_px), size


def _coverage(outlines: Sequence[Array], size_px: tuple[int, int]) -> float:
    """Return the share of the picture's cells whose middle lay within some sheet."""
    grid = (np.stack(np.meshgrid(np.arange(GRID), np.arange(GRID)), -1).reshape(-1, 2) + 0.5) / GRID * size_px
    hit = np.zeros(len(grid), bool)
    for quad in (q for outline in outlines for q in outline):
        hit |= np.array(
            [cv2.pointPolygonTest(quad.astype(np.float32), (float(x), float(y)), False) >= 0 for x, y in grid]
        )
    return float(hit.mean())


def _u_corner(fit: LensFit, size_px: tuple[int, int]) -> float:
    """Return the largest standard uncertainty, px, of a ray's image 90 % of the way to the corners."""
    worst = 0.0
    for sx in (-1, 1):
        for sy in (-1, 1):
            x = (0.45 * sx * size_px[0]) / fit.focal_px
            y = (0.45 * sy * size_px[1]) / fit.focal_px
            r2 = x * x + y * y
            g = 1 + r2 * (fit.k1 + r2 * fit.k2)
            f = fit.focal_px
            a = np.array(
                [[f * g * x, 1, 0, f * r2 * x, f * r2 * r2 * x], [f * g * y, 0, 1, f * r2 * y, f * r2 * r2 * y]]
            )
            worst = max(worst, float(np.sqrt(np.linalg.eigvalsh(a @ fit.covariance @ a.T).max())))
    return worst
