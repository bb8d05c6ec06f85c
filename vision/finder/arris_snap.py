"""From the border of what is unlike the wall to the lines that a tape would touch.

A reveal may have the wall's colours, lit like the wall: the region then ends at the frame. What helps: along the whole
side the colour steps at the arris; courses of the wall go on beyond the corners, edges end there; and both jambs of the
frame stand equally deep, so each arris is seen f * depth / D outside the frame, where f is the distance of that side
from the camera's foot on the wall and D the camera's distance (similar triangles).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from vision.finder.jamb_rows import Rows, jamb_rows
from vision.finder.outline import Jambs
from vision.finder.side_steps import Steps, moved_ends, steps_along
from vision.finder.trim_steps import trim_jambs
from vision.finder.wall_mask import PITCH_MM, Mask, WallView
from vision.request import Array, Side

REVEAL_MM = 220.0  # no frame stands deeper behind the edge
WITHIN_MM = 45.0  # how far inside of its border a region may yet hold the edge
PLACE_MM = 2.5  # how well lines are placed
SEEN_MM = 6.0  # a reveal narrower than this in the picture is not told from none
LEAST_FOOT_MM = 100.0  # a jamb nearly before the camera shows no reveal
OWN_MM, FARTHEST_MM = 8.0, 40.0  # lines so near to where the frame is due are it; an arris is led so far at most
NO_FRAME, SAME_COLOUR = 0.3, 0.35  # guesses: less fit is none; steps so much alike are of one frame
FAINT_LAB, FAINT_STEP = 8.0, 2.5  # guess: a line of this size is real as often as not
SLACK_MM = 10.0  # guess: so far off may be where the wall seems to end
INSET = 0.08  # jambs are looked for without the ends of their rows
TOP_MM = 26.0  # guess: as much of a sill's top is seen where it shows no step against the wall
ALIKE = 0.45  # guess: a line of such a share of the strongest step is as clear
LEVEL_MM, FOOT_MM = 12.0, 8.0  # how far from where the jambs end their step the line of head or sill is
UNSURE = 1.0  # rows by which the ends must beat all others
ROUNDS = 3
JAMBS: tuple[Side, Side] = ("left", "right")


def snap(
    view: WallView,
    found: Jambs,
    foot: Array,
    distance_mm: float,
    other: Mask,
    *,
    trimmed: bool,
    out_mm: float = 0.0,
) -> Array | str:
    """Return the corners (4, 2) px of the opening about a pair of borders, or what leaves them open.

    Parameters
    ----------
    view : the rectified wall.
    found : borders of the region unlike the wall.
    foot : (2,) px, foot of the camera on the wall.
    distance_mm : camera to wall.
    other : (H, W) pixels whose colour is unlike the wall's.
    trimmed : the edge is the inner side of a trim.
    out_mm : how far the sill's edge stands out in front of the jambs'.
    """
    first = _snapped(view, found, found.rows, foot, distance_mm, other, trimmed, out_mm)
    if not isinstance(first, str) or found.filled is None:
        return first
    # the rows where the region's border was straight may be few of the jambs', or a lintel's
    again = _snapped(view, found, found.filled, foot, distance_mm, other, trimmed, out_mm)
    return first if isinstance(again, str) else again


def _snapped(
    view: WallView,
    found: Jambs,
    about: tuple[float, float],
    foot: Array,
    distance_mm: float,
    other: Mask,
    trimmed: bool,
    out_mm: float,
) -> Array | str:
    """Return what `snap` does, beginning with the jambs between two rows."""
    jambs, rows = replace(found, rows=about), None
    if trimmed:  # courses may stop, or seem to, elsewhere than the trim does
        rows = jamb_rows(view, other, found.left, found.right, about)
        jambs = jambs if rows is None else replace(found, rows=(rows.top, rows.bottom))
    for k in range(ROUNDS):
        ends = {s: _ends(jambs, s) for s in JAMBS}
        lines = {s: steps_along(view, ends[s], foot, s) for s in JAMBS}
        chosen = trim_jambs(lines, again=k > 0) if trimmed else _plain(lines, distance_mm)
        if isinstance(chosen, str):
            return chosen
        moved = {s: moved_ends(ends[s], s, *chosen[s]) if s in chosen else ends[s] for s in JAMBS}
        left, right = (np.polyfit(moved[s][:, 1], moved[s][:, 0], 1) for s in JAMBS)
        rows = jamb_rows(view, other, left, right, jambs.rows)
        if rows is None or rows.bottom - rows.top < 100.0 / PITCH_MM:
            return "its jambs do not stand out from the wall"
        jambs = Jambs(left, right, (rows.top, rows.bottom))
    middle = 0.5 * (found.rows[0] + found.rows[1])  # where that border was seen
    for of_region, jamb, out in ((found.left, jambs.left, -1.0), (found.right, jambs.right, 1.0)):
        at = float(np.polyval(jamb, middle))
        led = out * (at - float(np.polyval(of_region, middle))) * PITCH_MM
        if led > _seen_of_reveal(out * (at - foot[0]) * PITCH_MM, distance_mm):
            return "its jambs lie far outside of where the wall seems to end"
    return "its jambs are not seen" if rows is None else _levels(view, jambs, rows, foot, distance_mm, other, out_mm)


def _seen_of_reveal(foot_mm: float, distance_mm: float) -> float:
    """Return how much is seen at most, in mm, of the reveal of a jamb that far outward of the camera's foot."""
    return max(foot_mm, 0.0) * REVEAL_MM / distance_mm + SLACK_MM


def _ends(jambs: Jambs, side: Side) -> Array:
    """Return the ends (2, 2) px of a jamb, upper first, without the parts next to head and sill."""
    top, bottom = jambs.rows
    y = np.array([top + INSET * (bottom - top), bottom - INSET * (bottom - top)])
    return np.column_stack([np.polyval(jambs.left if side == "left" else jambs.right, y), y])


def _levels(
    view: WallView,
    jambs: Jambs,
    rows: Rows,
    foot: Array,
    distance_mm: float,
    other: Mask,
    out_mm: float,
) -> Array | str:
    """Return the corners (4, 2) px where the jambs meet head and sill, or what leaves them open."""
    for k, name in enumerate(("head", "sill")):
        if not rows.seen[k]:
            return f"its {name} is outside the photo"
        if rows.margin[k] < UNSURE:
            return f"the {name} cannot be told where the jambs end"
    corners = replace(jambs, rows=rows.shown).corners()
    wall = np.asarray(1 - other, np.uint8)
    sides: dict[Side, Array] = {"head": corners[[0, 1]], "sill": corners[[3, 2]]}
    for s, ends in sides.items():
        lines = steps_along(view, ends, foot, s, wall)
        if s == "head":
            best = lines.outermost(-LEVEL_MM, LEVEL_MM, ALIKE * lines.strongest(-LEVEL_MM, LEVEL_MM))
        elif rows.shown[1] - rows.bottom <= 1:  # the top may look like the frame, the arris lies before it
            best = lines.outermost(-FOOT_MM, TOP_MM, FAINT_LAB)
        else:
            best = lines.nearest(0.0, FOOT_MM)
        if best is not None:
            sides[s] = moved_ends(ends, s, float(lines.at[best]), float(lines.tilt[best]))
    below = float(sides["sill"][:, 1].mean() - foot[1])
    sides["sill"] = sides["sill"] + np.array([0.0, max(below, 0.0) * out_mm / (distance_mm - out_mm)])
    return np.array(
        [
            _meet(jambs.left, sides["head"]),
            _meet(jambs.right, sides["head"]),
            _meet(jambs.right, sides["sill"]),
            _meet(jambs.left, sides["sill"]),
        ]
    )


def _meet(jamb: Array, level: Array) -> Array:
    """Return where a jamb, column = polynomial(row), meets the line through two points (2, 2)."""
    (x0, y0), (x1, y1) = level
    rise = (y1 - y0) / (x1 - x0)
    y = (y0 + rise * (jamb[1] - x0)) / (1 - rise * jamb[0])
    return np.array([np.polyval(jamb, y), y])


def _plain(lines: Mapping[Side, Steps], distance: float) -> dict[Side, tuple[float, float]] | str:
    """Return offset and tilt mm of the jambs of an opening without trim: outermost real lines, one frame behind both.

    Each line weighs by how surely it is real and those outside of it are not, each pair by how well two lines inside
    of it stand equally deep, as a frame does.
    """
    weight: dict[Side, Array] = {}
    for s in JAMBS:
        side = lines[s]
        reach = _seen_of_reveal(side.foot, distance)
        near = (side.at > -WITHIN_MM) & (side.at < reach)
        if not near.any():
            return f"no line runs along the {s} jamb where it must be"
        real = np.where(near, 1 / (1 + np.exp(-(side.size - FAINT_LAB) / FAINT_STEP)), 0.0)
        outside = side.at[None] > side.at[:, None]
        weight[s] = real * np.prod(np.where(outside, 1 - real[None], 1.0), axis=1)
    likely = {s: [int(i) for i in np.flatnonzero(weight[s] > 0)] for s in JAMBS}
    _, i, k = max(
        (float(weight["left"][i] * weight["right"][k]) * (0.1 + _one_frame(lines, i, k, distance)), i, k)
        for i in likely["left"]
        for k in likely["right"]
    )
    number: dict[Side, int] = {"left": i, "right": k}
    chosen = {s: (float(lines[s].at[n]), float(lines[s].tilt[n])) for s, n in number.items()}
    if _one_frame(lines, i, k, distance) < NO_FRAME:
        for s, other in (JAMBS, JAMBS[::-1]):
            ahead = _ahead(lines[s], number[s], lines[other], number[other], distance)
            if ahead > SEEN_MM:  # that reveal looks like the wall: the trace must find its arris there
                chosen[other] = (chosen[other][0] + ahead, chosen[other][1])
                break
    return chosen


def _ahead(side: Steps, arris: int, other: Steps, line: int, distance: float) -> float:
    """Return how far outside a line of the other jamb its arris must be, 0 unless that line is this one's frame."""
    foot, there = side.foot + float(side.at[arris]), other.foot + float(other.at[line])
    if min(foot, there) < LEAST_FOOT_MM:
        return 0.0
    gap = side.at[arris] - side.at
    behind = (gap > SEEN_MM) & (gap < 0.5 * foot)
    depth = np.where(behind, gap * distance / np.maximum(foot - gap, 1.0), np.inf)
    unlike = np.linalg.norm(side.colour - other.colour[line], axis=1) / float(other.size[line])
    frames = np.flatnonzero((depth < REVEAL_MM) & (unlike < SAME_COLOUR))
    if not len(frames) or unlike[arris] < 2 * SAME_COLOUR:
        return 0.0
    behind_it = float(depth[frames[np.argmin(unlike[frames])]])
    own = other.at[line] - other.at
    if (np.abs(own - there * behind_it / (distance + behind_it)) < OWN_MM).any():  # it has a frame of its own
        return 0.0
    ahead = there * behind_it / distance
    return ahead if ahead < FARTHEST_MM else 0.0


def _one_frame(lines: Mapping[Side, Steps], left: int, right: int, distance: float) -> float:
    """Return how well lines inside two jambs stand equally deep behind them, 1 at best; one half: not to be told."""
    depths, us = [], []
    for side, number in ((lines["left"], left), (lines["right"], right)):
        foot = side.foot + float(side.at[number])
        if foot < LEAST_FOOT_MM:
            return 0.5
        gap = side.at[number] - side.at
        gap = gap[(gap > SEEN_MM) & (gap < 0.5 * foot)]
        depths.append(gap * distance / (foot - gap))
        us.append(PLACE_MM * distance / foot)
    x, y = (d[d < REVEAL_MM] for d in depths)
    return float(np.exp(-0.5 * ((x[:, None] - y) / float(np.hypot(us[0], us[1]))) ** 2).max(initial=0.0))
