"""What was taken for a sill, head or jamb where nobody pointed at it, checked against where its neighbours end.

The step of colour along a jamb goes on down to the sill's top and up to the head's arris, that along a head to both
jambs, and no further. A line that it runs past lies within the reveal (a faint sill, the frame); a sill far below the
ends of the jambs is another edge of the sill or of the wall.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set

import numpy as np

from vision.camera import Camera, back_project, project
from vision.photo.upright_rgb import Pixels
from vision.request import SIDES, Array, Side
from vision.sides.search import SILL_FALL
from vision.stations import Line
from vision.strips.profiles import Strip, cut_strip

WITHIN_MM, BEYOND_MM = 450.0, 90.0  # of a neighbour within the line, and of its run beyond
MOST_OF_SIDE = 0.7  # of the neighbour, where it shows its own step
NEAR_MM = 15.0  # that is learnt further within; its median holds though the neighbour end before
BESIDE_PX, WINDOW_PX = 1.0, 6.0  # from where to where beside the neighbour its step is read
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
# One past the sill, the other so much shorter: no one sill. 2 of 374 answers (own renderings), one 44 mm too high.
UNLIKE_MM = 60.0
# Against heads that were taken rightly they ended 2.5 mm above (median; 95 of 100 by 0 to 3.5). Both further up than 6
# mm had one head of 450 that was, and two that were taken at the frame's top, 20 and 29 mm too low. So they must end
# PAST_MM beyond that; where one goes on and on (a joint of the bricks above in line with it), the other SHORT_MM.
ABOVE_HEAD_MM = 2.5
# Of 363 jambs taken rightly, heads ended 1 mm before (median); beyond PAST_JAMB_MM ended one, and 18 (of brick) went on
# and on. Of 7 taken at the frame 5 had them end there (a sixth went on and on), 0 to 4 mm short of the true jamb.
PAST_JAMB_MM, SHORT_OF_JAMB_MM = 10.0, 1.0
# A side at which its neighbours end, so near to where they do at sides taken rightly, is believed. Of 55 sides in doubt
# only for being traced off where they had been found (own renderings), 8 wrong by over 4 mm, 37 are met, 1 wrong.
MET_MM, MET_JAMB_MM = 4.0, 5.0


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
    return _sill_off_mm(ends_mm(rgb, camera, lines, z_mm, "sill"), camera, z_mm, inward_mm)


def _sill_off_mm(ends: Sequence[float], camera: Camera, z_mm: Mapping[Side, float], inward_mm: float) -> float | None:
    """Return what `sill_misplaced` does, by where the jambs end."""
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
    return 0.0 if high > PAST_MM and high - low > UNLIKE_MM else None


def head_misplaced(rgb: Pixels, camera: Camera, lines: Mapping[Side, Line], z_mm: Mapping[Side, float]) -> float | None:
    """Return how far outward in mm the head more likely lies by the ends of both jambs; None where they agree with it.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright.
    lines : the four sides as taken, each in its plane z_mm.
    """
    ends = ends_mm(rgb, camera, lines, z_mm, "head")
    if len(ends) < 2 or min(ends) >= PLACES_MM[-1]:
        return None
    goes_on = max(ends) >= PLACES_MM[-1]
    past = (min(ends) if goes_on else sum(ends) / 2) - ABOVE_HEAD_MM
    return past if min(ends) - ABOVE_HEAD_MM > (SHORT_MM if goes_on else PAST_MM) else None


def jambs_misplaced(
    rgb: Pixels, camera: Camera, lines: Mapping[Side, Line], z_mm: Mapping[Side, float]
) -> dict[Side, float]:
    """Return the jambs that the head runs past, and how far outward in mm they more likely lie.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright.
    lines : the four sides as taken, each in its plane z_mm.
    """
    jambs: tuple[Side, Side] = ("left", "right")
    ends = {jamb: _end_mm(rgb, camera, lines, z_mm, "head", jamb) for jamb in jambs}
    return {
        j: end + SHORT_OF_JAMB_MM for j, end in ends.items() if end is not None and PAST_JAMB_MM < end < PLACES_MM[-1]
    }


def met_sides(
    rgb: Pixels,
    camera: Camera,
    lines: Mapping[Side, Line],
    z_mm: Mapping[Side, float],
    inward_mm: float,
    doubted: Set[Side],
) -> frozenset[Side]:
    """Return those of the sides in doubt at which neighbours end that are in none, or no longer.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright.
    lines : the four sides as taken, each in its plane z_mm.
    inward_mm : as of `sill_misplaced`.
    doubted : sides.
    """
    jambs: tuple[Side, Side] = ("left", "right")
    sure = set(SIDES) - doubted

    def met(at: Side, usual: float, within: float) -> bool:
        ends = ends_mm(rgb, camera, lines, z_mm, at)
        return len(ends) == 2 and all(abs(end - usual) < within for end in ends)

    if "head" in doubted and sure & set(jambs) and met("head", ABOVE_HEAD_MM, MET_MM):
        sure.add("head")
    for jamb in jambs:
        end = _end_mm(rgb, camera, lines, z_mm, "head", jamb) if jamb in doubted and "head" in sure else None
        if end is not None and abs(end + SHORT_OF_JAMB_MM) < MET_JAMB_MM:
            sure.add(jamb)
    if "sill" in doubted and sure >= set(jambs):
        ends = ends_mm(rgb, camera, lines, z_mm, "sill")
        alike = len(ends) == 2 and abs(ends[0] - ends[1]) < MET_JAMB_MM
        if alike and _sill_off_mm(ends, camera, z_mm, inward_mm) is None:
            sure.add("sill")
    return frozenset(sure & doubted)


def ends_mm(
    rgb: Pixels, camera: Camera, lines: Mapping[Side, Line], z_mm: Mapping[Side, float], at: Side
) -> list[float]:
    """Return how far beyond the line of head or sill the steps of the jambs end, of those that are seen to."""
    jambs: tuple[Side, Side] = ("left", "right")
    return [end for side in jambs if (end := _end_mm(rgb, camera, lines, z_mm, side, at)) is not None]


def _end_mm(
    rgb: Pixels, camera: Camera, lines: Mapping[Side, Line], z_mm: Mapping[Side, float], side: Side, at: Side
) -> float | None:
    """Return how far beyond the line of `at` the step of its neighbour `side` ends, mm in that one's plane.

    None where that is not seen.
    """
    run, across = lines[side], lines[at]
    along = np.linalg.solve(np.column_stack([run.direction, -across.direction]), across.origin - run.origin)[1]
    corner_px = project(camera, np.array([[*(across.origin + along * across.direction), z_mm[at]]]))
    corner = float((back_project(camera, corner_px, z_mm[side])[0] - run.origin) @ run.direction)
    within = min(WITHIN_MM, MOST_OF_SIDE * run.length)
    beyond = 1.0 if at in {"sill", "right"} else -1.0  # jambs run down, heads to the right
    reach = np.sort([corner - beyond * within, corner + beyond * BEYOND_MM])
    ends = run.origin + reach[:, None] * run.direction
    cut = cut_strip(rgb, camera, side, ends, z_mm[side], WINDOW_PX + 3, WINDOW_PX + 3)
    if cut is None:
        return None
    past = beyond * (reach[0] + cut.u_mm - corner)
    end = _step_ends_mm(cut, past, BESIDE_PX, WINDOW_PX)
    if end is None or end < PLACES_MM[-1] or at != "sill":  # a head's other jamb is asked besides
        return end
    joint = max(WINDOW_PX, JOINT_MM / cut.mm_per_px)
    wider = cut_strip(rgb, camera, side, ends, z_mm[side], joint + FURTHER_PX + 3, WINDOW_PX + 3)
    further = None if wider is None else _step_ends_mm(wider, past, joint, joint + FURTHER_PX)
    # where further in it ends, what goes on is a joint; at the line or before it, at the frame, that tells nothing
    return end if further is None else None if further < JUST_MM else further


def _step_ends_mm(strip: Strip, past_mm: Array, near_px: float, far_px: float) -> float | None:
    """Return how far past the line the step ends between what is outside and, so far inside, within.

    `past_mm` (U,) is where the rows of the strip lie. None where no step is seen.
    """
    light, at_px = np.sqrt(np.maximum(strip.colour.astype(float), 0.0)), strip.v_mm / strip.mm_per_px
    outer, inner = (at_px > BESIDE_PX) & (at_px < WINDOW_PX), (at_px < -near_px) & (at_px > -far_px)
    step = light[:, outer].mean(axis=1) - light[:, inner].mean(axis=1)
    known = np.median(step[past_mm < -NEAR_MM], axis=0)
    size = float(np.linalg.norm(known))
    share = step @ known / max(size, 1e-9) ** 2
    around = np.array([float(np.median(share[np.abs(past_mm - p) < AROUND_MM])) for p in PLACES_MM])
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
