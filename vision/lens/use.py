"""Which camera profile applies to a photo, and the camera's prior that follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vision.lens.profile import U_CENTRE_MOVES, U_LOG_FOCUS, LensProfile, ProfileError, key_of, mismatch, read_profile
from vision.photo.reading import Photo
from vision.priors import CameraPrior
from vision.request import Array, LensUse, PhotoRequest, Warning_

ANEW = "the measure stands on the photo's own data; make a profile of this camera with `secondtape lens`"


@dataclass(frozen=True, slots=True, eq=False)
class LensChoice:
    """The prior that a profile gives, None where none applies; the profiles looked at; warnings."""

    prior: CameraPrior | None
    uses: tuple[LensUse, ...]
    warnings: tuple[Warning_, ...]


def choose_lens(asked: PhotoRequest, picture: Photo) -> LensChoice:
    """Return what the profiles that are named or lie in reach give for a photo.

    Notes
    -----
    A named profile stands alone: where it does not apply that is said. Of those in reach, the one whose key matches
    applies; two different ones that match are a doubt that only a person can settle.
    """
    named = asked.lens is not None
    paths = (asked.lens,) if asked.lens is not None else asked.lenses
    warned: list[Warning_] = []
    uses: list[LensUse] = []
    fitting: dict[str, LensProfile] = {}
    for path in paths:
        try:
            profile, sha256 = read_profile(path)
        except ProfileError as error:
            warned.append(Warning_("lens-not-used", f"{'; '.join(error.faults)}; {ANEW}"))
            continue
        why = _why_not(profile, picture)
        if why is not None and named:
            warned.append(Warning_("lens-not-used", f"{path.name} is not used for this photo: {why}; {ANEW}"))
        if why is None:
            fitting.setdefault(sha256, profile)
        if why is None or named:
            uses.append(LensUse(path, sha256, why is None, why or ""))
    if len(fitting) > 1:
        names = _listed([u.path for u in uses])
        says = f"{names} all fit this photo, none is used: name one, or take the others away"
        warned.append(Warning_("lens-not-used", says))
        return LensChoice(
            None, tuple(LensUse(u.path, u.sha256, False, "another fits as well") for u in uses), (*warned,)
        )
    prior = next((profile_prior(p, picture.size_px, picture.turned) for p in fitting.values()), None)
    return LensChoice(prior, tuple(uses), tuple(warned))


def profile_prior(profile: LensProfile, size_px: tuple[int, int], turned: int | None) -> CameraPrior:
    """Return the camera's prior, with full covariance, in the upright picture of `size_px` (width, height).

    Parameters
    ----------
    turned : degrees clockwise from the stored picture to the upright one; None: mirrored, how is not known.

    Notes
    -----
    To the profile's covariance come what one lens does from photo to photo: it focuses, and its stabiliser moves it.
    """
    quarter = (turned or 0) // 90 % 4
    stored = size_px if quarter % 2 == 0 else size_px[::-1]
    s = max(stored) / max(profile.key.size_px)
    scale = np.diag([1, s, s, 1, 1])
    long = U_CENTRE_MOVES * max(stored)
    cov = scale @ profile.covariance @ scale + np.diag([U_LOG_FOCUS**2, long**2, long**2, 0, 0])
    x, y = (profile.cx + 0.5) * s - 0.5, (profile.cy + 0.5) * s - 0.5
    w, h = stored
    middle = np.array([(w - 1) / 2, (h - 1) / 2])
    off = np.array([x, y]) - middle
    if turned is None:  # mirrored about an axis that is not known: the principal point lies to either side
        cov[1:3, 1:3] += np.diag(off**2)
        off = np.zeros(2)
    c, sn = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter]
    turn = np.array([[c, -sn], [sn, c]], float)  # clockwise with y down
    off = turn @ off
    whole = np.eye(5)
    whole[1:3, 1:3] = turn
    cov = whole @ cov @ whole.T
    u = np.sqrt(np.diag(cov))
    cx, cy = off + (np.array(size_px) - 1) / 2
    return CameraPrior(
        profile.focal_px * s,
        float(u[0]),
        float(cx),
        float(cy),
        float(u[1:3].max()),
        float(u[3]),
        float(u[4]),
        profile.k1,
        profile.k2,
        _read_only(cov),
    )


def _read_only(a: Array) -> Array:
    a.setflags(write=False)
    return a


def _why_not(profile: LensProfile, picture: Photo) -> str | None:
    """Return why a profile does not apply to a photo; None where it does."""
    w, h = picture.size_px
    sizes = [(w, h), (h, w)] if picture.turned is None else [(w, h) if picture.turned % 180 == 0 else (h, w)]
    whys = [mismatch(profile.key, key_of(picture.exif, size), picture.exif.digital_zoom) for size in sizes]
    return None if None in whys else whys[0]


def _listed(paths: Sequence[Path]) -> str:
    names = sorted(p.name for p in paths)
    return ", ".join(names[:-1]) + " and " + names[-1]
