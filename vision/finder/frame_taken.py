"""A side taken at the frame behind it, where nobody pointed at the side.

A reveal in the wall's own colour ends at the frame, whose line is then the outermost clear one. Head and jambs share
the frame's depth (`vision.faces.reveal`): where two of them show it, no frame is seen where it belongs behind a side
taken at the frame, and one is where that side was taken. Nor do the frame's members (rebate, bead, sash) run there,
which are alike all around: they run as far behind the side as elsewhere behind the frame.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.faces.reveal import SHARED, Beside, bell, log_evidence, reveal_of
from vision.request import Side, Wall

SHIFTS_MM = np.arange(8.0, 61.0, 3.0)
# Log odds for a side further out, where the depth shared by the others finds no frame behind it as taken. One line
# seen where it is missed brings 4.1 by itself (a frame may not show); a jamb at the frame of a reveal without a line
# 5.3 to 5.5, and the two that were wrong on 140 photos without corners (practice, own renderings) 5.4 and 7.2.
TELLING = 4.6
# Members lie so far within the frame, alike to so much (sd); one that is missed may be hidden (guesses). It takes three
# to tell. In 405 photos of own renderings and practice four sides had been taken at the frame, log odds 7.0 to 15.8; of
# 1161 others three had more than 6.5.
WITHIN_MM, U_MEMBER_MM, MEMBER_MISSED, MEMBER_SEEN = (6.0, 75.0), 1.2, 0.3, 5.0
MEMBERS_TELL = 6.5
# A frame so near inward of the side is where the side was taken, one so near to where it is due is there (guesses).
# Where both are one place, or the camera stands beyond the jamb and sees no reveal, nothing is told.
AT_SIDE_MM, AT_DUE_MM, FURTHEST_MM, PLACE_MM = 5.0, 6.0, 12.0, 0.5


def taken_for_frame(beside: Mapping[Side, Beside], wall: Wall) -> dict[Side, float]:
    """Return sides that seem to have been taken at the frame: how far outward in mm the edge likely lies, 0: not told.

    Parameters
    ----------
    beside : what is seen beside the sides as taken (`vision.faces.reveal.look_beside`).
    wall : its kind.
    """
    reveal = reveal_of((beside,), wall)
    lacking = [s for s in SHARED if s not in reveal.lines and beside[s].foot_mm(reveal.z_mm) > beside[s].least_mm]
    found: dict[Side, float] = {s: 0.0 for s in SHARED if _members_say_frame(beside, s, wall) > MEMBERS_TELL}
    if not lacking or len(lacking) == len(SHARED):
        return found
    as_taken = log_evidence(beside, wall)
    for side in lacking:
        moved = [{**beside, side: beside[side].from_further_out(float(by))} for by in SHIFTS_MM]
        gain = np.array([log_evidence(m, wall) for m in moved]) - as_taken
        if gain.max() > TELLING:
            found[side] = float(SHIFTS_MM[gain.argmax()])
    return found


def _members_say_frame(beside: Mapping[Side, Beside], side: Side, wall: Wall) -> float:
    """Return the log odds for a side having been taken at the frame, by how the frame's members run behind it."""
    others = tuple(s for s in SHARED if s != side)
    reveal = reveal_of((beside,), wall, others)
    due = float(beside[side].foot_mm(reveal.z_mm)) + reveal.joint_mm
    within = [(x.inward_mm - f.inward_mm, x.real) for s, f in reveal.lines.items() for x in beside[s].lines]
    members = np.array([m for m in within if WITHIN_MM[0] < m[0] < WITHIN_MM[1]])
    own = np.array([(x.inward_mm, x.real) for x in beside[side].lines])
    if not len(members) or not len(own) or due < AT_SIDE_MM + AT_DUE_MM:
        return 0.0
    frame = np.arange(-AT_DUE_MM, due + FURTHEST_MM, PLACE_MM)
    off = own[:, 0] - members[:, :1] - frame[:, None, None]
    hit = (own[:, 1] * bell(off / U_MEMBER_MM)).max(axis=-1)
    fits = (members[:, 1] * np.log(MEMBER_MISSED + MEMBER_SEEN * hit)).sum(axis=-1)
    return float(fits[frame <= AT_SIDE_MM].max() - fits[frame > due - AT_DUE_MM].max())
