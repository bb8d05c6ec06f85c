"""What was taken for the sill, where nobody pointed at it, checked against where the jambs end.

The step of colour along a jamb goes on down to the sill's top, and no further. A line that it runs past lies within the
reveal (a faint sill, the foot of the frame); one far below its end is another edge of the sill or of the wall.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.camera import Camera, back_project, project
from vision.photo.upright_rgb import Pixels
from vision.request import Array, Side
from vision.sides.search import SILL_FALL
from vision.stations import Line
from vision.strips.profiles import Strip, cut_strip

ABOVE_MM, BELOW_MM = 450.0, 90.0  # of the jamb above and of its run below the sill's line
MOST_OF_JAMB = 0.7  # above the sill, where the jamb shows its own step
NEAR_MM = 15.0  # the jamb's own step is learnt further up; its median holds though the jamb end within
BESIDE_PX, WINDOW_PX = 1.0, 6.0  # from where to where beside the jamb its step is read
# A joint beside bricks on edge goes on in line with a jamb, but is no wider than JOINT_MM (10 mm are usual: common
# practice, no source): FURTHER_PX beyond it, and beyond the first window, only the jamb itself goes on.
JOINT_MM, FURTHER_PX = 12.0, 8.0
PLACES_MM, AROUND_MM = np.arange(-60.0, 81.0, 4.0), 6.0
# Share of the step, and over how many places (28 mm), below which it has ended; above ANOTHER a sill's end begins, or
# its shadow (a guess).
GONE, GONE_FOR, ANOTHER = 0.3, 7, 2.5
LEAST_STEP = 0.02  # in the root of linear light
# Against flush sills that were taken rightly jambs ended 5 mm above (median of 119, practice and own renderings without
# corners given); of 280 sills of all kinds, none had both beyond JUST_MM below and their middle beyond PAST_MM, 2 both
# further than SHORT_MM above where a sill's top that falls steeply ends. Of 13 wrong by over 8 mm 5 had the one, 3 the
# other. Of 378 answers without corners (own renderings) one had a jamb that went on and on while the other seemed to
# end, and its sill was 84 mm too high.
USUAL_MM, JUST_MM, PAST_MM, SHORT_MM = -5.0, 2.0, 6.0, 15.0


def sill_misplaced(
    rgb: Pixels, camera: Camera, lines: Mapping[Side, Line], z_mm: Mapping[Side, float], inward_mm: float
) -> float | None:
    """Return how far outward in mm the sill more likely lies by the ends of both jambs; None where they agree with it.

    0: it is elsewhere, they do not tell where.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright.
    lines : the four sides as taken, each in its plane z_mm.
    inward_mm : how far inward of the sill the camera stands.
    """
    ends = [end for side in ("left", "right") if (end := _end_mm(rgb, camera, lines, z_mm, side)) is not None]
    if len(ends) < 2:
        return None
    out = max((z_mm["left"] + z_mm["right"]) / 2 - z_mm["sill"], 0.0)
    before = z_mm["sill"] - float(camera.centre_mm()[2])
    foot = out * max(inward_mm, 0.0) / before
    low, high = min(ends), max(ends)
    seen = (low + high) / 2 if high < PLACES_MM[-1] else low  # a jamb that goes on and on tells no place
    if low > JUST_MM and seen > PAST_MM:
        return seen - USUAL_MM if seen < PLACES_MM[-1] else 0.0
    if high < -(foot + SILL_FALL * out + SHORT_MM) or high >= PLACES_MM[-1]:
        return 0.0
    return None


def _end_mm(
    rgb: Pixels, camera: Camera, lines: Mapping[Side, Line], z_mm: Mapping[Side, float], side: Side
) -> float | None:
    """Return how far below the sill's line a jamb's step ends, mm in the jamb's plane; None where that is not seen."""
    jamb, sill = lines[side], lines["sill"]
    along = np.linalg.solve(np.column_stack([jamb.direction, -sill.direction]), sill.origin - jamb.origin)[1]
    corner_px = project(camera, np.array([[*(sill.origin + along * sill.direction), z_mm["sill"]]]))
    corner = float((back_project(camera, corner_px, z_mm[side])[0] - jamb.origin) @ jamb.direction)
    above = min(ABOVE_MM, MOST_OF_JAMB * jamb.length)
    ends = jamb.origin + np.array([[corner - above], [corner + BELOW_MM]]) * jamb.direction
    cut = cut_strip(rgb, camera, side, ends, z_mm[side], WINDOW_PX + 3, WINDOW_PX + 3)
    if cut is None:
        return None
    end = _step_ends_mm(cut, BESIDE_PX, WINDOW_PX, above)
    if end is None or end < PLACES_MM[-1]:
        return end
    joint = max(WINDOW_PX, JOINT_MM / cut.mm_per_px)
    wider = cut_strip(rgb, camera, side, ends, z_mm[side], joint + FURTHER_PX + 3, WINDOW_PX + 3)
    further = None if wider is None else _step_ends_mm(wider, joint, joint + FURTHER_PX, above)
    # where further in it ends, what goes on is a joint; at the line, or above at the frame's foot, that tells nothing
    return end if further is None else None if further < JUST_MM else further


def _step_ends_mm(strip: Strip, near_px: float, far_px: float, above_mm: float) -> float | None:
    """Return how far below the line the step ends between what is outside and, so far inside, within the jamb.

    None where none is seen.
    """
    light, at_px = np.sqrt(np.maximum(strip.colour.astype(float), 0.0)), strip.v_mm / strip.mm_per_px
    outer, inner = (at_px > BESIDE_PX) & (at_px < WINDOW_PX), (at_px < -near_px) & (at_px > -far_px)
    step, u = light[:, outer].mean(axis=1) - light[:, inner].mean(axis=1), strip.u_mm - above_mm
    known = np.median(step[u < -NEAR_MM], axis=0)
    size = float(np.linalg.norm(known))
    share = step @ known / max(size, 1e-9) ** 2
    around = np.array([float(np.median(share[np.abs(u - p) < AROUND_MM])) for p in PLACES_MM])
    return None if size < LEAST_STEP else _last_mm(around)


def _last_mm(share: Array) -> float | None:
    """Return the place mm where a step's share (N,) at `PLACES_MM` is gone for good; NaN is out of view."""
    over = (share < GONE) | (share > ANOTHER)
    gone = np.convolve(over, np.ones(GONE_FOR), "valid") >= GONE_FOR
    if not gone.any():
        return float(PLACES_MM[-1]) if np.isfinite(share).all() else None
    first = int(gone.argmax())
    if first == 0 or share[first] > ANOTHER:
        return float(PLACES_MM[first])
    before, after = share[first - 1], share[first]
    pace = float(PLACES_MM[1] - PLACES_MM[0])
    return float(PLACES_MM[first - 1] + pace * (before - GONE) / max(before - after, 1e-6))
