"""A side taken at the frame behind it, where nobody pointed at the side.

A reveal in the wall's own colour ends at the frame, whose line is then the outermost clear one. Head and jambs share
the frame's depth (`vision.faces.reveal`): where two of them show it, no frame is seen where it belongs behind a side
taken at the frame, and one is where that side was taken.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.faces.reveal import SHARED, Beside, log_evidence, reveal_of
from vision.request import Side, Wall

SHIFTS_MM = np.arange(8.0, 61.0, 3.0)
# Log odds for a side further out, where the depth shared by the others finds no frame behind it as taken. One line
# seen where it is missed brings 4.1 by itself (a frame may not show); a jamb at the frame of a reveal without a line
# 5.3 to 5.5, and the two that were wrong on 140 photos without corners (practice, own renderings) 5.4 and 7.2.
TELLING = 4.6


def taken_for_frame(beside: Mapping[Side, Beside], wall: Wall) -> dict[Side, float]:
    """Return how far outward in mm the edge is likelier of sides that seem to have been taken at the frame.

    Parameters
    ----------
    beside : what is seen beside the sides as taken (`vision.faces.reveal.look_beside`).
    wall : its kind.
    """
    reveal = reveal_of((beside,), wall)
    lacking = [s for s in SHARED if s not in reveal.lines and beside[s].foot_mm(reveal.z_mm) > beside[s].least_mm]
    if not lacking or len(lacking) == len(SHARED):
        return {}
    as_taken = log_evidence(beside, wall)
    found: dict[Side, float] = {}
    for side in lacking:
        moved = [{**beside, side: beside[side].from_further_out(float(by))} for by in SHIFTS_MM]
        gain = np.array([log_evidence(m, wall) for m in moved]) - as_taken
        if gain.max() > TELLING:
            found[side] = float(SHIFTS_MM[gain.argmax()])
    return found
