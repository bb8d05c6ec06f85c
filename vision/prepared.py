"""A photo made ready to be measured: read, turned upright by its sheets, its pixels and camera as asked."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.errors import RequestError
from vision.lens.use import ANEW, choose_lens
from vision.photo.exif import focal35_contradicted, focal_prior
from vision.photo.reading import Photo, at_read_size, read_photo
from vision.photo.upright_rgb import Pixels
from vision.priors import CameraPrior, camera_prior
from vision.quality.doubts import FileDoubts, file_doubts
from vision.request import Array, OpeningRequest, PhotoReport, PhotoRequest, Reference, Wall, Warning_
from vision.sheets import markers
from vision.wall.which_way_up import quarters_to_turn

SHEETS_TURNED = (
    "all sheets in the photo hang on their side or head; it was taken to be upright, as its camera says; if it is not, "
    "give turn = 90, 180 or 270"
)
# Why a camera profile is not that of a photo, and what stands in its place.
WrongLens = tuple[str, FileDoubts]


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A photo with its request at the size that was read, sheets seen, the camera's prior, report and warnings.

    `grey` (H, W) is the picture without colour, made once: many steps ask for it, and it takes a seventh of a decode.
    `own` is what the file says of its lens and cut where a profile stands in its place.
    """

    asked: PhotoRequest
    picture: Photo
    grey: Pixels
    sightings: tuple[markers.Sighting, ...]
    prior: CameraPrior
    reference: Reference
    report: PhotoReport
    own: FileDoubts | None = None

    @property
    def camera_key(self) -> tuple[object, ...] | None:
        """What Exif says of camera, lens, focal length and size: alike for photos by one camera; None: nothing."""
        e = self.picture.exif
        if e.make is None and e.model is None:
            return None
        size = tuple(sorted(self.picture.size_px))
        return (e.make, e.model, e.lens, e.focal_mm, e.focal35_mm, e.digital_zoom, self.asked.focal35_mm, size)


def prepare(request: OpeningRequest, photo: PhotoRequest) -> Prepared:
    """Return the photo read and upright.

    Raises
    ------
    PhotoError : the file cannot be read as a photo (`vision.errors`).
    RequestError : corners outside the photo, or a focal length that its Exif denies beyond belief.
    """
    picture = read_photo(photo.path, photo.turn)
    scaled = _at_read_size(photo, picture)
    reference = photo.reference or request.reference
    picture, grey, sightings, warned = _upright(picture, scaled, reference, request.wall)
    _all_inside(photo, picture)
    warned += _read_at_half(picture)
    lens = choose_lens(scaled, picture)
    warned += lens.warnings
    denied = focal35_contradicted(picture.exif, picture.size_px, photo.focal35_mm)
    if denied is not None and lens.prior is None:
        says, absurd = denied
        if absurd:
            raise RequestError("focal35-contradicted", says)
        warned.append(Warning_("focal35-contradicted", says))
    report = PhotoReport(
        photo.path,
        picture.sha256,
        picture.size_px,
        warnings=tuple(warned),
        lenses=lens.uses,
        reduced=picture.reduced,
        whole_px=picture.whole_px,
    )
    own = file_doubts(picture.exif, picture.whole_px, _prior(picture, scaled))
    doubts = own if lens.prior is None else file_doubts(picture.exif, picture.whole_px, lens.prior)
    report = replace(report, warnings=(*report.warnings, *doubts.warnings), error=doubts.refused)
    by_profile = None if lens.prior is None else own
    return Prepared(scaled, picture, grey, sightings, doubts.prior, reference, report, by_profile)


def without_lens(ready: Prepared, wrong: WrongLens | None) -> Prepared:
    """Return a photo made ready without the camera profile that applied to it, if that is `wrong`."""
    if wrong is None:
        return ready
    why, own = wrong
    names = [u.path.name for u in ready.report.lenses if u.applied]
    says = f"{names[0]} is not used for this photo: {why}; another lens, a zoom, or the picture was cut; {ANEW}"
    lenses = tuple(replace(u, applied=False, why=why) if u.applied else u for u in ready.report.lenses)
    warned = (*ready.report.warnings, Warning_("lens-not-used", says), *own.warnings)
    report = replace(ready.report, lenses=lenses, warnings=warned)
    return replace(ready, prior=own.prior, own=None, report=report)


def pointed_anew(ready: Prepared, photo: PhotoRequest) -> Prepared:
    """Return a photo made ready before with the corners of `photo`, which is alike but for them.

    Raises
    ------
    RequestError : corners outside the photo.
    """
    _all_inside(photo, ready.picture)
    return replace(ready, asked=_at_read_size(photo, ready.picture))


def _all_inside(photo: PhotoRequest, picture: Photo) -> None:
    if photo.corners_px is not None:
        _inside(photo.corners_px, picture.whole_px, part=True)
    for corners in photo.reference_corners_px:
        _inside(corners, picture.whole_px, part=False)
    _each_once(photo.reference_corners_px)


def _at_read_size(photo: PhotoRequest, picture: Photo) -> PhotoRequest:
    """Return the request with its pixels at the size that was read (photos above 60 MP come at half size).

    Corners that nobody gave cannot stand as clicked.
    """
    photo = replace(photo, trace=photo.trace or photo.corners_px is None)
    if picture.reduced == 1:
        return photo
    r = picture.reduced
    corners = None if photo.corners_px is None else at_read_size(photo.corners_px, r)
    return replace(
        photo,
        corners_px=corners,
        reference_corners_px=tuple(at_read_size(c, r) for c in photo.reference_corners_px),
        click_px=photo.click_px / r,
    )


def _read_at_half(picture: Photo) -> list[Warning_]:
    if picture.reduced == 1:
        return []
    (w, h), (read_w, read_h) = picture.whole_px, picture.size_px
    says = (
        f"the photo of {w} x {h} px, above 60 MP, was measured at half its size, {read_w} x {read_h} px: what it knows "
        "is stated for that, and corners and boxes are in pixels of the photo itself; if that is not sure enough, take "
        "the photo from nearer"
    )
    return [Warning_("half-size", says)]


def _upright(
    picture: Photo, photo: PhotoRequest, reference: Reference, wall: Wall
) -> tuple[Photo, Pixels, tuple[markers.Sighting, ...], list[Warning_]]:
    """Return the photo turned by itself where it seems to lie on its side, and neither corner nor person says which.

    Also its grey picture (H, W), the sheets in it, and what is to be said.
    """
    grey = _grey(picture.rgb)
    if reference.kind != "sheet":
        return picture, grey, (), []
    found = markers.find_sheets(grey)
    if photo.corners_px is not None or photo.turn:
        return picture, grey, found, []
    quarter, sure = quarters_to_turn(grey, found, wall, picture.exif)
    if not quarter:
        return picture, grey, found, [] if sure else [Warning_("sheets-turned", SHEETS_TURNED)]
    turned = np.ascontiguousarray(np.rot90(picture.rgb, quarter))
    turned.setflags(write=False)
    h, w = turned.shape[:2]
    whole = None if picture.turned is None else (picture.turned - 90 * quarter) % 360
    photo_px = picture.whole_px if quarter == 2 else (picture.whole_px[1], picture.whole_px[0])
    picture = replace(picture, rgb=turned, size_px=(w, h), turned=whole, whole_px=photo_px)
    says = (
        f"the photo was turned by {90 * quarter} degrees because its sheets lay on their side or head; see in the "
        "picture that it is upright, and if it is not, give turn = 90, 180 or 270, or the opening's corners"
    )
    grey = _grey(turned)
    return picture, grey, markers.find_sheets(grey), [Warning_("turned", says)]


def _grey(rgb: Pixels) -> Pixels:
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
    grey.setflags(write=False)
    return grey


def _each_once(quads: tuple[Array, ...]) -> None:
    """Raise where two references overlap: one thing pointed out twice is no second reference."""
    for i, quad in enumerate(quads):
        for other in quads[i + 1 :]:
            between = float(np.hypot(*(quad.mean(0) - other.mean(0))))
            if between < float(np.hypot(*(quad - quad.mean(0)).T).min()):
                x, y = quad.mean(0)
                raise RequestError(
                    "reference-twice",
                    f"the reference at {x:.0f},{y:.0f} px is pointed out twice; give the corners of each only once",
                )


def _inside(corners: Array, size: tuple[int, int], *, part: bool) -> None:
    """Raise where a corner lies outside the photo; NaN is a corner out of view where only a `part` is asked for."""
    seen = corners[~np.isnan(corners).all(axis=1)] if part else corners
    if len(seen) and (not np.isfinite(seen).all() or (seen < -0.5).any() or (seen > np.array(size) - 0.5).any()):
        what = "corner" if part else "reference corner"
        worst = seen[int(np.argmax(np.abs(seen - np.array(size) / 2).max(1)))]
        raise RequestError(
            "corners-outside",
            f"{what} {worst[0]:.0f},{worst[1]:.0f} lies outside the photo of {size[0]} x {size[1]} px; "
            "give corners in pixels of the upright photo",
        )


def _prior(picture: Photo, photo: PhotoRequest) -> CameraPrior:
    focal = focal_prior(picture.exif, picture.size_px, photo.focal35_mm)
    return camera_prior(focal.focal_px, focal.u_log, picture.size_px, known=focal.source != "none")
