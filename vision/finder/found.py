"""Whether an opening that was found without corners was also traced without doubt, and where else to look."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Set
from dataclasses import replace

import numpy as np

from vision.camera import Camera, back_project, project
from vision.finder.side_steps import NORMAL
from vision.photo.upright_rgb import Pixels
from vision.request import ANOTHER_LINE, SIDE_WORD, SIDES, Array, Side, Wall, Warning_
from vision.sides.finding import FailedSide
from vision.sides.search import BARE_CLICK_PX
from vision.sides.tracing import HIDDEN_COVERAGE, UNSEEN_NAME, SideTrace, trace_sides
from vision.stations import ENDS, SideLine
from vision.strips.profiles import outward

MOVED_MM = 6.5  # the search places a side within about this
SILL_MOVED_MM = 14.0  # and a sill, which may fall or project
PROJECTING_MM = 70.0  # a sill's front may stand so far below the foot of the jambs in the picture
SEARCHED_MM = 8.0  # guess: standard deviation of a corner found on a grid of 5 mm
DISAGREE = 0.25  # guess: share of the way between search and trace that counts as standard uncertainty
UNSURE_MM = 7.0  # guess: how far off a line is that the trace took for none
MOSTLY = 0.5  # a line of less weight is not the one: another, perhaps out of reach, is likelier
ALIKE_MM = 3.0  # guess: rivals nearer than that say the same, and their spread is in the uncertainty
TEXTURE = 1.0  # a step no larger than those beside it is none, where nobody pointed at it
MOSTLY_UNSEEN = 0.75  # guess: the same of a side that no line shows, only what is about it
COVERED_MM = 12.0  # rivals that spread further than this cannot be left to the uncertainty


def doubt(
    camera: Camera,
    corners_px: Array,
    traces: Mapping[Side, SideTrace | FailedSide],
    believed: Set[Side] = frozenset(),
) -> Warning_ | None:
    """Return why a person must point at the corners all the same, or None.

    A side counts when it was traced over most of its length near where the search had put it, by a step that is more
    than the face beside it shows by chance, most of the evidence is for that line or others within `ALIKE_MM`, and what
    rivals it has spread little enough to be covered by its uncertainty (`spread`).

    Parameters
    ----------
    camera : adjusted camera.
    corners_px : (4, 2) px as found.
    traces : the sides as traced from them.
    believed : sides that may lie off where the search had put them.
    """
    of_sides = {s: _doubt_of(camera, corners_px, traces[s], s, anywhere=s in believed) for s in SIDES}
    said: dict[tuple[str, str], list[str]] = {}
    for side, words in of_sides.items():
        if words is not None:
            said.setdefault(words, []).append(f"the {SIDE_WORD[side]}")
    if not said:
        return None
    clauses = [f"{' and '.join(sides)} {words[len(sides) > 1]}" for words, sides in said.items()]
    return _ask(", and ".join(clauses), sum(len(sides) for sides in said.values()))


def moved_sides(camera: Camera, corners_px: Array, traces: Mapping[Side, SideTrace | FailedSide]) -> frozenset[Side]:
    """Return the sides that are in doubt for nothing but that they were traced off where the search had put them."""
    return frozenset(
        s
        for s in SIDES
        if _doubt_of(camera, corners_px, traces[s], s) is not None
        and _doubt_of(camera, corners_px, traces[s], s, anywhere=True) is None
    )


def _doubt_of(
    camera: Camera, corners_px: Array, trace: SideTrace | FailedSide, side: Side, *, anywhere: bool = False
) -> tuple[str, str] | None:
    """Return what is doubtful of a side, as said of one and of more than one."""
    if isinstance(trace, FailedSide):
        return "is not seen clearly", "are not seen clearly"
    unseen = trace.candidates[0].name == UNSEEN_NAME
    if trace.coverage < HIDDEN_COVERAGE and not unseen:  # a faint line: see `spread`
        return "is partly hidden", "are partly hidden"
    if trace.over_texture < TEXTURE:
        return (
            "shows no more than the face beside it does by chance",
            "show no more than faces beside them do by chance",
        )
    inner, outer = (SILL_MOVED_MM, PROJECTING_MM) if side == "sill" else (MOVED_MM, MOVED_MM)
    near = anywhere or -inner < _moved(camera, corners_px, trace) < outer
    alike = sum(c.weight for c in trace.candidates if abs(c.shift_mm) < ALIKE_MM)
    if not near or spread(trace) > COVERED_MM or alike < (MOSTLY_UNSEEN if unseen else MOSTLY):
        return "may be one of several lines", "may each be one of several lines"
    return None


def look_wider(
    rgb: Pixels,
    camera: Camera,
    corners_px: Array,
    traces: dict[Side, SideTrace | FailedSide],
    depth_mm: Mapping[Side, float],
    wall: Wall,
    sill_at: str,
    blur_px: tuple[float, float] | None = None,
) -> dict[Side, SideTrace | FailedSide]:
    """Return the sides; those in doubt are traced again, as far off as the search may have put them.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright.
    corners_px : (4, 2) px as found.
    traces : the sides as traced from them within a click's reach.
    depth_mm : z of the plane of each side.
    blur_px : as for `trace_sides`.
    """
    if doubt(camera, corners_px, traces) is None:
        return traces
    q = back_project(camera, corners_px, 0.0)
    mm = np.linalg.norm(q[2] - q[0]) / np.linalg.norm(corners_px[2] - corners_px[0])
    searched_px = max(SEARCHED_MM / float(mm), BARE_CLICK_PX)
    return trace_sides(rgb, camera, corners_px, searched_px, depth_mm, wall, sill_at, blur_px)


def further_out(
    camera: Camera, corners_px: Array, by_mm: Mapping[Side, float], depth_mm: Mapping[Side, float]
) -> Array:
    """Return corners (4, 2) px with sides moved outward by `by_mm`, each in its plane z."""
    moved = corners_px.copy()
    for side, by in by_mm.items():
        ends = list(ENDS[side])
        a, b = back_project(camera, moved[ends], depth_mm[side])
        across = by * outward(side, (b - a) / np.linalg.norm(b - a))
        moved[ends] = project(camera, np.column_stack([np.array([a, b]) + across, np.full(2, depth_mm[side])]))
    return moved


def elsewhere(sides: Collection[Side]) -> Warning_:
    """Return why a person must point at the corners: these sides seem to have been taken at other lines."""
    framed = [SIDE_WORD[s] for s in sides if s != "sill"]
    if not framed:
        return _ask("the jambs do not end at what was taken for the sill")
    return _ask(f"what was taken for the {' and the '.join(framed)} may be the frame behind it")


def spread(trace: SideTrace) -> float:
    """Return the standard uncertainty mm of the choice of line, by the weights: nobody pointed at one of them."""
    rivals = trace.candidates[1:]
    missing = max(0.0, 1.0 - ANOTHER_LINE - sum(c.weight for c in trace.candidates))
    return float(np.sqrt(sum(c.weight * c.shift_mm**2 for c in rivals) + missing * UNSURE_MM**2))


def widened(line: SideLine, trace: SideTrace | FailedSide, camera: Camera, corners_px: Array) -> SideLine:
    """Return the side with a larger `u_choice_mm`: nobody chose among its rivals, nor where it was to be traced.

    Added are the spread of the rivals, and a part of how far the trace lies off the corners (4, 2) px as found.
    """
    if isinstance(trace, FailedSide):
        return line
    moved = min(abs(_moved(camera, corners_px, trace)), SILL_MOVED_MM)
    u = np.sqrt(line.u_choice_mm**2 + spread(trace) ** 2 + (DISAGREE * moved) ** 2)
    return replace(line, u_choice_mm=float(u))


def _moved(camera: Camera, corners_px: Array, trace: SideTrace) -> float:
    """Return how far outward in mm the traced side lies from the line between the corners found."""
    a, b = back_project(camera, corners_px[list(ENDS[trace.side])], trace.depth_mm)
    along = (b - a) / np.linalg.norm(b - a)
    across = np.array([along[1], -along[0]])
    across *= np.sign(across @ np.array(NORMAL[trace.side]))
    return float((trace.origin_mm - a) @ across)


def _ask(reason: str, lines: int = 1) -> Warning_:
    which = "that line" if lines == 1 else "those lines"
    return Warning_(
        "corners-needed", f"the opening was found but {reason}; give its four corners roughly, or point at {which}"
    )
