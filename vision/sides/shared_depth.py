"""Rival lines of head and jambs checked against the one depth of the frame behind them.

Seen from where the camera stands, reveal's foot and frame lie beside a side's true edge as that depth says, which the
other sides tell; beside a wrong line they do not. Evidence for an edge without difference in brightness, such as a
sunlit reveal in the trim's colour.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.faces.reveal import SHARED, log_evidence, look_beside
from vision.request import Array, Side, Wall
from vision.stations import Line

# Lines beside a side taken for the edge in its place, 720 on own renderings and practice: the depth preferred the true
# edge in 86 of 100, by a log factor of 2.4 at the median; the other one by more than 2 in 7, by more than 4 in 1.
MOST_LOG_FACTOR = 4.0
TELLING_MM = 3.0  # nearer lines it does not tell apart


def log_factors(
    rgb: NDArray[np.uint8],
    camera: Camera,
    lines: Mapping[Side, Line],
    z_mm: Mapping[Side, float],
    rivals_mm: Mapping[Side, Array],
    sure: Sequence[Side],
    wall: Wall,
) -> dict[Side, Array]:
    """Return log Bayes factors (N,) of the rival lines of unsure sides against the best of each.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright
    lines : the four sides as taken, each in its own plane z_mm
    rivals_mm : of unsure sides, how far outward of the line taken each rival (N,) lies; head and jambs only
    sure : head and jambs whose lines are not in doubt; without any there is no evidence

    Notes
    -----
    A product of independent likelihoods over all depths, each side's lines as in `vision.faces.reveal`; bounded, since
    its priors are guesses. Rivals within `TELLING_MM` of the line taken share its factor.
    """
    told = [s for s in SHARED if s in sure]
    if not told or not rivals_mm:
        return {}
    seen = look_beside(rgb, camera, lines, z_mm, wall)
    factors: dict[Side, Array] = {}
    for side, shifts in rivals_mm.items():

        def evidence(by_mm: float, side: Side = side) -> float:
            return log_evidence({**seen, side: seen[side].from_further_out(by_mm)}, wall, [*told, side])

        taken = evidence(0.0)
        found = np.array([taken if abs(s) < TELLING_MM else evidence(float(s)) for s in shifts])
        factors[side] = np.maximum(found - found.max(), -MOST_LOG_FACTOR)
    return factors
