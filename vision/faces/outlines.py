"""Whole outlines nested in and about an opening: a frame, what lies further in it, a trim's outer edge, a sill's lines.

The frame's depth and its lines at head and jambs come from `face_reveal`; further outlines run within it at one
breadth on all sides, as frames have; a trim's outer edge runs outside of the edge at one breadth, in its plane.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.faces.lines import FaceLine
from vision.faces.reveal import FURTHER_MM, SHARED, U_JOINT_MM, Beside, Reveal, bell, reveal_of
from vision.request import SIDES, Side, Wall

# Guesses.
LEAST_JOINT_MM = 1.5  # a frame nearer to the edge than this is no other face to a tape
STEPS_MM = (20.0, FURTHER_MM)  # how far within a frame its own lines are looked for
MOST_STEPS, GROOVE_MM, ALONE_MM = 2, 12.0, 15.0  # outlines within a frame; breadth of a groove; apart at least
ALIKE_MM = 2.5  # by how much a frame's faces differ in breadth
TRIM_MM = (35.0, 190.0)  # breadth of a trim board
PARTS_ALIKE = 0.4  # sd of the log of contrasts of boards of one paint
U_GROOVE_MM = 2.0  # a line within a frame is mostly a groove or a step with two edges
SINK_MM = 8.0  # how far a line further in may lie behind the frame
FALL = 0.09  # of a sill's top, to the outside: half of what is thought possible
LEAST_RISE_MM, PROJECTS_MM = 3.0, 3.0  # of a sill's top, as seen; how far a sill stands out that has a front of its own
LEAST_SHOWN = 1.6  # of four sides, each at most 1
LEAST_WEIGHT = 0.2  # of an outline that is reported

DepthBy = Literal["parallax", "edge"]


@dataclass(frozen=True, slots=True)
class SideAt:
    """Where a side of an outline is seen, in the plane of the edge: how far inward, its slope; `u_mm` of the place."""

    inward_mm: float
    slope: float
    u_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """An outline or, with one side, a line: its name, its sides as seen, their depth z (mm, into the wall).

    `to_edge`: further sides at which a tape goes to the opening's own edge.
    """

    name: str
    sides: Mapping[Side, SideAt]
    z_mm: float
    u_z_mm: float
    depth_by: DepthBy
    weight: float
    to_edge: frozenset[Side] = frozenset()


def nested_outlines(views: Sequence[Mapping[Side, Beside]], wall: Wall) -> tuple[Outline, ...]:
    """Return the outlines seen in and about an opening whose four sides were traced, the outermost first.

    Parameters
    ----------
    views : what is seen beside the four sides (`vision.faces.reveal.look_beside`), of one photo or more of the same
        opening: the outlines are those of the first, the frame's depth is found by all
    wall : its kind: only siding and panels carry a trim, and joints are seen unlike
    """
    found = trim_outline(views[0]) if wall in {"siding", "panel"} else ()
    found += frame_outlines(views[0], reveal_of(views, wall))
    return tuple(o for o in found if o.weight > LEAST_WEIGHT)


def frame_outlines(seen: Mapping[Side, Beside], reveal: Reveal) -> tuple[Outline, ...]:
    """Return the frame, up to two outlines further in, and the lines of the sill behind its front arris."""
    z = reveal.z_mm
    places = {s: seen[s].behind_mm(x.inward_mm, z) for s, x in reveal.lines.items()}
    if len(places) < 2:
        return ()
    joint = float(np.mean(list(places.values())))
    lines: dict[Side, FaceLine | None] = {s: reveal.lines.get(s) for s in SHARED}
    places |= {s: joint for s in SHARED if s not in places}
    places["sill"], lines["sill"] = _foot_of_frame(seen["sill"], z, joint)
    found = [_outline("frame", seen, lines, places, reveal, 0.0)] if joint > LEAST_JOINT_MM else []
    for step in _steps(seen, places, z):
        further = {s: places[s] + step for s in SIDES}
        near = {s: _nearest(seen[s], further[s], z) for s in SIDES}
        found.append(_outline(f"frame, {step:.0f} mm further in", seen, near, further, reveal, SINK_MM))
    return (*found, *_sill_lines(seen, places["sill"], lines["sill"], reveal))


def _outline(
    name: str,
    seen: Mapping[Side, Beside],
    lines: Mapping[Side, FaceLine | None],
    places_mm: Mapping[Side, float],
    reveal: Reveal,
    sink_mm: float,
) -> Outline:
    """Return an outline by its lines, or where none is seen by its place inward of the edge."""
    sides = {}
    u_line = U_GROOVE_MM if sink_mm else 0.0
    for s in SIDES:
        b, line = seen[s], lines[s]
        if line is not None:
            sides[s] = SideAt(line.inward_mm, line.slope, float(np.hypot(b.u_mm, u_line)))
        else:
            sides[s] = SideAt(b.seen_mm(places_mm[s], reveal.z_mm), 0.0, float(np.hypot(b.u_mm, U_JOINT_MM)))
    weight = reveal.weight * sum(x is not None for x in lines.values()) / len(SIDES)
    u_z = float(np.hypot(reveal.u_z_mm, sink_mm / 2))
    return Outline(name, sides, reveal.z_mm + sink_mm / 2, u_z, "parallax", weight)


def _nearest(b: Beside, place_mm: float, z_mm: float) -> FaceLine | None:
    near = [(abs(b.behind_mm(x.inward_mm, z_mm) - place_mm), x) for x in b.lines if x.real > 0.3]
    off, line = min(near, key=lambda p: p[0], default=(np.inf, None))
    return line if off < 2 * ALIKE_MM + b.u_mm else None


def _foot_of_frame(b: Beside, z_mm: float, joint_mm: float) -> tuple[float, FaceLine | None]:
    """Return how far inward of the sill's edge the frame's lowest line lies, and the line."""
    deep = z_mm - b.z_mm
    usual, u = joint_mm + FALL * deep, float(np.hypot(U_JOINT_MM, FALL * deep))
    best: tuple[float, float, FaceLine | None] = (0.05, usual, None)
    for x in b.lines:
        at = b.behind_mm(x.inward_mm, z_mm)
        value = x.real * min(x.contrast / 0.2, 1.0) * float(bell(np.array((at - usual) / u)))
        if value > best[0] and x.inward_mm > b.least_mm:
            best = (value, at, x)
    return best[1], best[2]


def _steps(seen: Mapping[Side, Beside], places_mm: Mapping[Side, float], z_mm: float) -> list[float]:
    """Return how far further in than the frame outlines lie that show on two sides or more.

    Of the two lines of a groove the outer one counts: there the frame's own breadth ends.
    """
    grid = np.arange(*STEPS_MM, 0.5)
    total = np.zeros(len(grid))
    for s, b in seen.items():
        u = float(np.hypot(ALIKE_MM, b.u_mm))
        at = np.array([b.behind_mm(x.inward_mm, z_mm) - places_mm[s] for x in b.lines])
        real = np.array([x.real * min(x.contrast / 0.1, 1.0) for x in b.lines])
        if len(at):
            total += (real * bell((at - grid[:, None]) / u)).max(axis=1)
    peaks = [i for i in range(1, len(grid) - 1) if total[i - 1] < total[i] >= total[i + 1] and total[i] > LEAST_SHOWN]
    found: list[float] = []
    for i in sorted(peaks, key=lambda k: -total[k]):
        if all(abs(grid[i] - f) > ALONE_MM for f in found) and len(found) < MOST_STEPS:
            groove = [k for k in peaks if 0 <= grid[i] - grid[k] < GROOVE_MM and total[k] > 0.7 * total[i]]
            found.append(float(grid[min(groove)]))
    return sorted(found)


def _sill_lines(
    seen: Mapping[Side, Beside], place_mm: float, line: FaceLine | None, reveal: Reveal
) -> tuple[Outline, ...]:
    """Return where a sill's top, on its way from the front arris to the frame, passes the wall and meets the frame."""
    b, z_wall = seen["sill"], (seen["left"].z_mm + seen["right"].z_mm) / 2
    if line is None or abs(place_mm) < LEAST_RISE_MM:
        return ()
    at = SideAt(line.inward_mm, line.slope, b.u_mm)
    found = [Outline("sill, at the frame", {"sill": at}, reveal.z_mm, reveal.u_z_mm, "parallax", reveal.weight)]
    out = (z_wall - b.z_mm) / (reveal.z_mm - b.z_mm)
    if z_wall - b.z_mm > PROJECTS_MM:
        at = SideAt(b.seen_mm(out * place_mm, z_wall), out * line.slope, float(np.hypot(b.u_mm, out * U_JOINT_MM)))
        found.append(Outline("sill, at the wall", {"sill": at}, z_wall, 0.0, "edge", reveal.weight))
    return tuple(found)


def trim_outline(seen: Mapping[Side, Beside]) -> tuple[Outline, ...]:
    """Return the outer edge of a trim whose boards are of one breadth at both jambs, in the plane of the edges.

    The head's board may be broader: it parts from the wall as those of the jambs do. Where no board runs below the
    sill, a tape goes from the head's board to the sill.
    """

    def outer(side: Side) -> list[FaceLine]:
        return [x for x in seen[side].lines if TRIM_MM[0] < -x.inward_mm < TRIM_MM[1] and x.real > 0.4]

    pairs = [
        (a.real * c.real * float(bell(np.array((a.inward_mm - c.inward_mm) / ALIKE_MM))), a, c)
        for a in outer("left")
        for c in outer("right")
    ]
    weight, left, right = max(pairs, key=lambda p: p[0], default=(0.0, None, None))
    if left is None or right is None:
        return ()
    found: dict[Side, FaceLine] = {"left": left, "right": right}
    breadth = -(left.inward_mm + right.inward_mm) / 2
    contrast = max(left.contrast, right.contrast)  # light from one side may take the other

    def like_jambs(x: FaceLine) -> float:
        return x.real * float(bell(np.array(np.log(x.contrast / contrast) / PARTS_ALIKE)))

    levels: tuple[Side, ...] = ("head", "sill")
    for side in levels:
        if near := [x for x in outer(side) if abs(-x.inward_mm - breadth) < ALIKE_MM]:
            found[side] = min(near, key=lambda x: abs(-x.inward_mm - breadth))
    if "head" not in found:
        likely, head = max(((like_jambs(x), x) for x in outer("head")), key=lambda p: p[0], default=(0.0, None))
        if head is not None and likely > LEAST_WEIGHT:
            found["head"] = head
    to_sill = "head" in found and "sill" not in found
    sides = {s: SideAt(x.inward_mm, x.slope, seen[s].u_mm) for s, x in found.items()}
    name = "trim, outer edge, down to the sill" if to_sill else "trim, outer edge"
    to_edge = frozenset[Side]({"sill"} if to_sill else ())
    return (Outline(name, sides, seen["left"].z_mm, 0.0, "edge", weight, to_edge),)
