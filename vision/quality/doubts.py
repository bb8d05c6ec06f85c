"""What about a photo makes its measures worse than they could be, with the remedy; `effects` adds that on U95.

Two kinds. What the file says (size, Exif) loosens what is assumed of the camera before anything is solved; what the
solved photo shows (blur at the printed edges, pixels a millimetre, angle) is already in the residuals, and is said.
Thresholds are guesses from practice unless a source stands beside them; sound photos stay well below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment import adjust
from vision.camera import Camera
from vision.photo.exif import FULL_FRAME_DIAGONAL_MM, SHAPE_TOLERANCE, ExifFacts
from vision.priors import MAIN_LENS_F35_MM, CameraPrior, camera_blocks
from vision.quality.edge_blur import PrintedBlur
from vision.request import Array, Warning_
from vision.solving.solved import Solved, but_camera

# Shapes that cameras write themselves, cut about the middle: phones 4:3, 16:9, 1:1 and full screen, larger cameras 3:2,
# 5:4 and 6:5 sensors of machine vision. A free cut rarely meets one; 0.5 % is the rounding of a small picture.
OWN_SHAPES = (1.0, 1224 / 1024, 1.25, 1.6, 16 / 9, 2.0, 19 / 9, 19.5 / 9, 20 / 9)
OWN_TOLERANCE = 0.005
JOINED_SHAPE = 2.4  # no camera writes a single view so long: a panorama, or cut very hard
U_CENTRE_CUT = 0.12  # of the long side: a cut that takes a third off one side moves the middle by a sixth
LOG_CUT = 0.4  # a picture cut to two thirds of its diagonal
MANY_TIMES = 12.0  # 35 mm equivalent over focal length: a sensor of 3.6 mm, smaller than phones have
WIDE_SURE, LONGER_SURE = 2.0, 2.0  # standard deviations
STEEP_DEG = 42.0  # of the line of sight off the square; a view steeper than this is warned of (a guess)
FEW_PX_PER_MM = 0.3  # of the reference: a coarser photo is warned of (a guess)
BLUR_PX, BLUR_OF_REACH = 1.4, 0.47  # spread of edges, in px and over how far it was looked, that is warned of
MOTION_TIMES = 1.2  # sheets are sharp alike in both directions unless the camera moved
MANY_ISO, LONG_EXPOSURE_S = 1600.0, 1 / 25  # from these on the light was poor (guesses)
DARK_WHITE, NOISE_OF_CONTRAST = 0.08, 0.15  # white paper in linear light; noise of a pixel over black to white
# Guesses: how often a photo is cut whose Exif is whole, and one whose Exif is gone; 'cut' is taken from 10 % on.
P_CUT_TOLD, P_CUT_BARE, P_CUT_ODD, CUT_SHOWN, CUT_ROOM = 0.02, 0.15, 0.5, 1 / 9, 64.0
FOCAL = 6  # place of the logarithm of the focal length among the unknowns
WHOLE_PX = 4  # cameras write sizes in multiples of 8 or 16 (blocks of JPEG); a free cut rarely does


@dataclass(frozen=True, slots=True, eq=False)
class FileDoubts:
    """What the file itself makes doubtful: the prior loosened by it, warnings, and whether it is no single view."""

    prior: CameraPrior
    warnings: tuple[Warning_, ...]
    refused: Warning_ | None = None


def file_doubts(exif: ExifFacts, size_px: tuple[int, int], prior: CameraPrior) -> FileDoubts:
    """Return what size and Exif say against taking the photo as a camera wrote it, and the prior that remains."""
    if exif.panorama:
        return FileDoubts(
            prior,
            (),
            Warning_(
                "not-one-view",
                "the camera joined this picture from several views (panorama): no single view, so nothing can be "
                "measured in it; take one ordinary photo from farther away",
            ),
        )
    warned: list[Warning_] = []
    if prior.covariance is not None:  # a profile's key has been compared: whole picture, no zoom
        return FileDoubts(prior, ())
    if exif.digital_zoom > 1.0 or _too_long(exif):
        by = f" ({exif.digital_zoom:.2g} times)" if exif.digital_zoom > 1.0 else ""
        says = (
            f"digital zoom was used{by}, so the camera's own figures say less of the lens; go nearer and take the "
            "photo at 1x"
        )
        warned.append(Warning_("digital-zoom", says))
    shape = max(size_px) / min(size_px)
    cut = _cut(exif, size_px)
    if cut is not None:
        if shape > JOINED_SHAPE:
            warned.append(
                Warning_(
                    "not-one-view",
                    f"a picture {shape:.1f} times as long as high is joined from several views or cut hard; if it is "
                    "a panorama its measures are wrong: take one ordinary photo",
                )
            )
        warned.append(_cropped(cut))
        prior = cut_prior(prior, exif, size_px)
    return FileDoubts(prior, tuple(warned))


def cut_prior(prior: CameraPrior, exif: ExifFacts, size_px: tuple[int, int]) -> CameraPrior:
    """Return the prior of a picture that was cut: the optical centre may lie off the middle, the lens seem longer.

    Where Exif still tells the size that the camera wrote, the cut can have moved the middle by half of what is gone at
    most; the focal length lies between that of a picture cut only and that of one then made larger.
    """
    whole = exif.coded_px
    log_cut, u_centre = LOG_CUT, U_CENTRE_CUT * max(size_px)
    if whole is not None and _shapes_differ(whole, size_px) and max(whole) >= max(size_px):
        log_cut = float(np.log(np.hypot(*whole) / np.hypot(*size_px)))
        gone = max(max(whole) - max(size_px), min(whole) - min(size_px))
        u_centre = max(0.35 * gone, prior.u_centre_px)
    return replace(
        prior,
        focal_px=prior.focal_px * float(np.exp(log_cut / 2)),
        u_log_focal=float(np.hypot(prior.u_log_focal, log_cut / 2)),
        u_centre_px=u_centre,
    )


def shows_cut(solved: Solved, prior: CameraPrior, exif: ExifFacts, size_px: tuple[int, int]) -> bool:
    """Return whether the references fit a lens off the middle, or longer, so much better that the picture was cut.

    Notes
    -----
    The same observations are adjusted again with the camera of a cut picture: the middle loose, the focal length
    longer, never shorter; the gain is a chi-square of what was loosened. Two hypotheses are weighed by it (Bayes; the
    loose one pays for its room, about 64 times: 1.5 % of the long side where 12 % were possible, in two directions).
    """
    if prior.covariance is not None:
        return False
    loose = camera_blocks(cut_prior(prior, exif, size_px))
    again = adjust([*but_camera(solved.blocks), *loose], solved.adjusted.state, iterations=15, near=True)
    gain = adjust(solved.blocks, solved.adjusted.state, iterations=15, near=True).cost - again.cost
    told = exif.make is not None or exif.model is not None
    odd = max(size_px[0] % WHOLE_PX, size_px[1] % WHOLE_PX) > 0
    before = P_CUT_ODD if odd else P_CUT_TOLD if told else P_CUT_BARE
    return bool(gain > 2 * np.log(CUT_ROOM * CUT_SHOWN / before))


def cut_found(solved: Solved, prior: CameraPrior) -> Warning_:
    """Return the warning of a cut or zoom that the references show; `prior` is the camera's before it was loosened.

    Where the lens is longer rather than off the middle, the picture was zoomed, or cut about its middle.
    """
    camera = solved.adjusted.state.camera
    longer = float(np.log(camera.focal_px / prior.focal_px))
    off = float(np.hypot(camera.cx - prior.cx, camera.cy - prior.cy)) / prior.u_centre_px
    if longer / prior.u_log_focal < max(LONGER_SURE, off):
        return _cropped("the references do not fit a lens whose centre is in the middle of the picture")
    u = float(np.hypot(solved.adjusted.covariance[FOCAL, FOCAL] ** 0.5, prior.u_log_focal))
    says = (
        f"digital zoom was used, or the picture was cut about its middle: the references fit a lens "
        f"{100 * np.expm1(longer):.0f} % (U95 {200 * u:.0f} %) longer than the camera's own figures say; go nearer and "
        "take the photo at 1x, and send the whole of it"
    )
    return Warning_("digital-zoom", says)


def solved_doubts(
    camera: Camera,
    prior: CameraPrior,
    exif: ExifFacts,
    size_px: tuple[int, int],
    outlines_px: Sequence[Array],
    side_mm: float,
    blur: PrintedBlur | None,
    white: float = 1.0,
) -> list[Warning_]:
    """Return warnings on lens, pixels, blur and light of a solved photo.

    Parameters
    ----------
    outlines_px, side_mm : outline (4, 2) px of each reference, and the root of a reference's area in mm.
    blur : spread of the printed edges; None where none are seen, and then `white` is the paper's light (full: 1).
    """
    warned: list[Warning_] = []
    f35 = camera.focal_px * FULL_FRAME_DIAGONAL_MM / float(np.hypot(*size_px))
    if f35 * np.exp(WIDE_SURE * min(prior.u_log_focal, 0.1)) < MAIN_LENS_F35_MM:
        says = (
            f"an ultra-wide lens (about {f35:.0f} mm in 35 mm terms) bends lines more than is known of it; use the "
            "main lens (1x) from farther away, or make its profile with `secondtape lens`"
        )
        if prior.guessed:  # the file names no lens: bars about a photo make its field seem as wide
            says += "; if this is a screenshot, or has bars round it, send the photo's own file instead"
        warned.append(Warning_("wide-lens", says))
    px_per_mm = min(float(np.sqrt(_area(o))) / side_mm for o in outlines_px)
    if px_per_mm < FEW_PX_PER_MM:
        says = (
            f"a pixel covers about {1 / px_per_mm:.1f} mm of the wall; go nearer, or send the photo in its original "
            "size, not through a messenger"
        )
        warned.append(Warning_("too-few-pixels", says))
    warned += _sharpness(blur, px_per_mm)
    warned += _light(exif, blur, white)
    return warned


def slant_doubts(camera: Camera, corners_px: Array) -> list[Warning_]:
    """Return `steep` where the wall is seen at a slant amid the opening: corners (4, 2) px."""
    x, y = np.nanmean(corners_px, axis=0)
    ray = np.array([(x - camera.cx) / camera.focal_px, (y - camera.cy) / camera.focal_px, 1.0]) @ camera.rotation
    angle = float(np.degrees(np.arccos(min(1.0, abs(ray[2]) / float(np.linalg.norm(ray))))))
    if angle <= STEEP_DEG:
        return []
    says = f"the wall is seen at a slant of about {angle:.0f} degrees; stand more squarely in front of the opening"
    return [Warning_("steep", says)]


def _cropped(why: str) -> Warning_:
    return Warning_(
        "cropped",
        f"the picture was cut after it was taken ({why}), so the middle of the lens is not known; send the whole photo "
        "as the camera wrote it",
    )


def _cut(exif: ExifFacts, size_px: tuple[int, int]) -> str | None:
    """Return why the picture is not as the camera wrote it; None where nothing says so."""
    whole = exif.coded_px
    if whole is not None and _shapes_differ(whole, size_px):
        return f"the camera wrote {whole[0]} x {whole[1]} px, this is {size_px[0]} x {size_px[1]} px"
    if _edited(exif, size_px):
        return f"cameras do not write {size_px[0]} x {size_px[1]} px; if it was only made smaller, send the original"
    shape = max(size_px) / min(size_px)
    sensors = ((4 / 3, SHAPE_TOLERANCE), (3 / 2, SHAPE_TOLERANCE), *((s, OWN_TOLERANCE) for s in OWN_SHAPES))
    if any(abs(np.log(shape / s)) < tolerance for s, tolerance in sensors):
        return None
    return f"cameras do not write pictures of {size_px[0]} x {size_px[1]} px"


def _edited(exif: ExifFacts, size_px: tuple[int, int]) -> bool:
    """Return whether a photo with its Exif has a size that no camera writes: it went through a program since."""
    camera = exif.make is not None or exif.model is not None
    return camera and max(size_px[0] % WHOLE_PX, size_px[1] % WHOLE_PX) > 0


def _shapes_differ(a: tuple[int, int], b: tuple[int, int]) -> bool:
    shapes = [max(s) / min(s) for s in (a, b)]
    return bool(abs(np.log(shapes[0] / shapes[1])) > SHAPE_TOLERANCE)


def _too_long(exif: ExifFacts) -> bool:
    if exif.focal_mm is None or exif.focal35_mm is None:
        return False
    return exif.focal35_mm / exif.focal_mm > MANY_TIMES


def _area(outline: Array) -> float:
    x, y = outline.T
    return 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


def _sharpness(blur: PrintedBlur | None, px_per_mm: float) -> list[Warning_]:
    if blur is None:
        return []
    large, small = max(blur.spread_px), min(blur.spread_px)
    moved = large > MOTION_TIMES * small
    if not moved and large < min(BLUR_PX, BLUR_OF_REACH * blur.reach_px):
        return []
    why = "the camera moved while it was taken" if moved else "out of focus, or made larger afterwards"
    says = (
        f"edges are spread over about {2.56 * large:.1f} px, {2.56 * large / px_per_mm:.1f} mm on the wall: {why}; "
        "hold still or lean on something, tap on the wall to focus, and take it again"
    )
    return [Warning_("blurred", says)]


def _light(exif: ExifFacts, blur: PrintedBlur | None, white: float) -> list[Warning_]:
    whys = []
    if exif.iso is not None and exif.iso >= MANY_ISO:
        whys.append(f"ISO {exif.iso:.0f}")
    if exif.exposure_s is not None and exif.exposure_s > LONG_EXPOSURE_S:
        whys.append(f"an exposure of 1/{1 / exif.exposure_s:.0f} s")
    white = white if blur is None else blur.white
    if white < DARK_WHITE:
        whys.append(f"white paper at {100 * white:.0f} % of full light")
    if blur is not None and blur.noise > NOISE_OF_CONTRAST:
        whys.append(f"noise of {100 * blur.noise:.0f} % of black to white")
    if not whys:
        return []
    return [Warning_("low-light", f"there was little light ({', '.join(whys)}); take it again by daylight")]
