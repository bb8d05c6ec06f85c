"""Whether a photo's own references, lines and Exif contradict a camera profile: another lens, a zoom, a cut picture.

A profile applies by what the file says of itself. A picture that was zoomed, or cut and made as large as the whole one
again, can say the same, and then bends every size by some per cent.
"""

from __future__ import annotations

import numpy as np
from scipy.special import chdtrc

from vision.adjustment import Adjusted, adjust
from vision.observations import PhotoState
from vision.priors import CameraPrior, camera_blocks
from vision.request import Array
from vision.solving.solved import Solved, but_camera

LEVEL = 0.001 / 2  # chance of either of two tests under which the profile is not that of the photo
INTERIOR, MIDDLE = slice(6, 9), slice(7, 9)  # among the unknowns: logarithm of the focal length, principal point


def contradicted(
    solved: Solved, profile: CameraPrior, own: CameraPrior, loose: CameraPrior
) -> tuple[str, Adjusted[PhotoState] | None] | None:
    """Return what a photo shows that a profile does not have, as half a sentence; None where both may be right.

    With it the adjustment as of a cut picture, where the middle of the lens is not that of the picture either.

    Parameters
    ----------
    solved : by references and lines, with what the photo's own file says of its lens.
    profile : the prior that the profile gives.
    own, loose : the camera's prior by the photo's file, and if the picture was cut.

    Notes
    -----
    Chi-square, of three, of the difference over the sum of both covariances: with the file's word, and without it.
    Distortion is left out: on a bare wall few lines tell it, and those of a window that is not quite straight bend it.
    """
    free = adjust([*but_camera(solved.blocks), *camera_blocks(loose)], solved.adjusted.state, near=True)
    known = np.array([np.log(profile.focal_px), profile.cx, profile.cy])
    assert profile.covariance is not None
    against = []
    for result in (solved.adjusted, free):
        apart = result.state.vector()[INTERIOR] - known
        covariance = result.covariance[INTERIOR, INTERIOR] + profile.covariance[:3, :3]
        against.append((_chance(apart, covariance), _said(apart, 2 * np.sqrt(np.diag(covariance)))))
    against = sorted(a for a in against if a[0] < LEVEL)
    if not against:
        return None
    aside = free.state.vector()[MIDDLE] - [own.cx, own.cy]
    cut = _chance(aside, free.covariance[MIDDLE, MIDDLE] + own.u_centre_px**2 * np.eye(2)) < LEVEL
    says = next(
        (said for _, said in against if said), "its lens has not both the profile's focal length and its middle"
    )
    return f"by what it shows {says}", free if cut else None


def _said(apart: Array, U95: Array) -> str:
    """Return a difference (3,) in words, by what is clearest of it; '' where each of it is within its U95 (3,)."""
    off, far = float(np.hypot(*apart[1:3])), float(U95[1:3].max())
    times = off / far, abs(float(apart[0] / U95[0]))
    if max(times) < 1:
        return ""
    if times[0] > times[1]:
        return f"the middle of its lens lies {off:.0f} px (U95 {far:.0f} px) from the profile's"
    longer = "longer" if apart[0] > 0 else "shorter"
    return f"its lens is {100 * abs(np.expm1(apart[0])):.0f} % {longer} (U95 {100 * U95[0]:.0f} %) than the profile's"


def _chance(apart: Array, covariance: Array) -> float:
    """Return how probable a difference (N,) of that covariance (N, N), or a larger one, is by chance."""
    return float(chdtrc(len(apart), float(apart @ np.linalg.solve(covariance, apart))))
