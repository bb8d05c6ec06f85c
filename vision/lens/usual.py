"""A photo whose file says nothing of its lens: most likely by the main camera of a phone, and perhaps by any other.

The prior of the focal length is then a mixture, narrow about such cameras and wide for all others. What the references
say by themselves is one normal observation of its logarithm; both components are weighed by it (Bayes), and the
posterior's mean and variance (law of total variance) are put back into the adjustment as one observation.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment import adjust
from vision.photo.exif import FULL_FRAME_DIAGONAL_MM
from vision.priors import CameraPrior, camera_blocks
from vision.solving.solved import Solved, but_camera

# Guesses: nine of ten photos with a printed sheet that come without Exif were taken as the guide asks, by
# the main camera of a phone, 35 mm equivalent 24 to 28 mm. Of photos without sheets nothing of the kind is known.
SHARE, USUAL_F35_MM, U_LOG_USUAL = 0.9, 26.0, 0.08
# Where the references alone leave the focal length looser than this they would not show another lens (13 mm is 0.7
# shorter, in logarithm), and the wide prior stays.
TELLING_U_LOG = 0.5
LOG_FOCAL = 6  # its place among the unknowns


def with_usual_lens(solved: Solved, prior: CameraPrior, size_px: tuple[int, int]) -> Solved:
    """Return a photo of sheets solved again with what is known of phones; as it is where file or person name a lens."""
    if not prior.guessed or prior.covariance is not None:
        return solved
    seen = _without_prior(solved, prior)
    if seen is None or seen[1] > TELLING_U_LOG:
        return solved
    usual = float(np.log(USUAL_F35_MM * np.hypot(*size_px) / FULL_FRAME_DIAGONAL_MM))
    mean, u = mixed(seen, ((SHARE, usual, U_LOG_USUAL), (1 - SHARE, float(np.log(prior.focal_px)), prior.u_log_focal)))
    room = u**-2 - seen[1] ** -2
    if room <= prior.u_log_focal**-2:
        return solved
    as_prior = (mean / u**2 - seen[0] / seen[1] ** 2) / room
    known = replace(prior, focal_px=float(np.exp(as_prior)), u_log_focal=float(room**-0.5))
    blocks = (*camera_blocks(known), *but_camera(solved.blocks))
    return replace(solved, adjusted=adjust(blocks, solved.adjusted.state, near=True), blocks=blocks)


def mixed(seen: tuple[float, float], components: tuple[tuple[float, float, float], ...]) -> tuple[float, float]:
    """Return mean and standard deviation of a normal observation under a prior of several normals.

    Parameters
    ----------
    seen : observed value and its standard uncertainty.
    components : weight, mean and standard deviation of each.
    """
    value, u = seen
    w, m, s = np.array(components).T
    apart = s**2 + u**2
    weight = w / np.sqrt(apart) * np.exp(-0.5 * ((value - m) ** 2 / apart - ((value - m) ** 2 / apart).min()))
    weight = weight / weight.sum()
    variance = 1 / (1 / u**2 + 1 / s**2)
    means = variance * (value / u**2 + m / s**2)
    mean = float(weight @ means)
    return mean, float(np.sqrt(weight @ (variance + (means - mean) ** 2)))


def _without_prior(solved: Solved, prior: CameraPrior) -> tuple[float, float] | None:
    """Return the logarithm of the focal length and its u as all but its own prior say; None: nothing but the prior."""
    known = 1 / float(solved.adjusted.covariance[LOG_FOCAL, LOG_FOCAL])
    own = prior.u_log_focal**-2
    if known <= 1.001 * own:
        return None
    at = float(np.log(solved.adjusted.state.camera.focal_px))
    return (at * known - float(np.log(prior.focal_px)) * own) / (known - own), (known - own) ** -0.5
