"""Traced sides -> lines to measure between, curves to draw, candidates, faces and warnings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from vision.camera import Camera, back_project, project
from vision.errors import RequestError
from vision.measures import Measured
from vision.request import NINE, SIDE_WORD, SIDES, Array, Candidate, Face, Side, Wall, Warning_
from vision.sides.finding import SHORT_MM, FailedSide
from vision.sides.roughness import believed, believed_units, roughness_mm
from vision.sides.tracing import BY_STEPS_NAME, POINTED_NAME, UNSEEN_NAME, SideTrace
from vision.stations import SideLine

# guess: how far the light shifts the seen edge of an arris rounded by 1 to 3 mm. Photographs of rounded arrises with
# known truth show 0.5 mm rms on masonry and trim and 1.2 mm on render, sharp ones 0.15 mm; what is seen of a round
# has been corrected for already.
U_CHOICE_MM: Mapping[Wall, float] = {"masonry": 0.4, "render": 0.6, "siding": 0.35, "panel": 0.35}
# guess: of it what is left where that of a usual arris is stated, since arrises are chipped and stained too
UNTOLD = 0.5
AMBIGUOUS_BELOW = 0.9  # weight of the best candidate


def side_lines(
    camera: Camera,
    traces: Mapping[Side, SideTrace | FailedSide],
    wall: Wall,
) -> tuple[dict[Side, SideLine], dict[Side, tuple[tuple[float, float, str], ...]], dict[str, Array], list[Warning_]]:
    """Return by side the lines to measure between, the candidates and the curves to draw; and warnings.

    Candidates are (weight, shift outward mm, name), curves (N, 2) px. Warnings are on sides that
    were not found, are hidden, or are not the only line there.
    """
    lines: dict[Side, SideLine] = {}
    listed: dict[Side, tuple[tuple[float, float, str], ...]] = {}
    drawn: dict[str, Array] = {}
    warned: list[Warning_] = []
    for side in (s for s in SIDES if s in traces):  # a part of the opening has fewer
        t = traces[side]
        if isinstance(t, FailedSide):
            raise RequestError(
                "edge-hidden",
                f"the {SIDE_WORD[side]} was not found near the corners given: {t.reason}; point at its corners more "
                "closely, or take a photo that shows it",
            )
        lines[side], drawn[side] = _line_and_curve(camera, side, t, wall, roughness_mm(side, traces))
        listed[side] = tuple((c.weight, c.shift_mm, c.name) for c in t.candidates)
        warned += _warnings(side, t)
    return lines, listed, drawn, warned


def _line_and_curve(camera: Camera, side: Side, t: SideTrace, wall: Wall, rough_mm: float) -> tuple[SideLine, Array]:
    """Return the line to measure between, and the curve (N, 2) px to draw, its ends where nothing was traced."""
    half = max(float(np.abs(t.s_mm).max()) if len(t.s_mm) else 0.0, 100.0)
    local, u_local, scatter = believed(t, rough_mm)
    units = believed_units(t, rough_mm)
    ends = t.origin_mm + np.array([[-half], [half]]) * t.direction
    ends_px = project(camera, np.column_stack([ends, np.full(2, t.depth_mm)]))
    line = SideLine(
        side,
        ends_px,
        t.depth_mm,
        t.s_mm + half,
        local,
        t.cov_offset_slope,
        u_local,
        scatter,
        _choice_mm(t, wall),
        wall == "masonry",
        None if units is None else replace(units, ends_mm=units.ends_mm + half),
        t.arris_with_mm2,
    )
    if not len(t.s_mm):
        return line, ends_px
    curve = t.origin_mm + t.s_mm[:, None] * t.direction + local[:, None] * _outward(side, t.direction)
    return line, project(camera, np.column_stack([curve, np.full(len(curve), t.depth_mm)]))


def _outward(side: Side, direction: Array) -> Array:
    """Return the unit vector (2,) across a side that runs in a direction (2,), out of the opening."""
    across = (
        np.array([-direction[1], direction[0]]) if side in {"head", "sill"} else np.array([direction[1], -direction[0]])
    )
    return across * (-1.0 if side in {"head", "left"} else 1.0)


def _warnings(side: Side, t: SideTrace) -> list[Warning_]:
    """Return what is to be said of a side that is hidden, or where another line could be it."""
    warned = []
    if t.hidden:
        pointed = t.candidates[0].name == POINTED_NAME
        warned.append(Warning_("edge-hidden", _hidden(side, t.coverage, pointed=pointed), side))
    if t.candidates and t.candidates[0].weight < AMBIGUOUS_BELOW:
        what = "a line beside the one drawn could as well be" if t.hidden else "more than one line could be"
        says = f"{what} the {SIDE_WORD[side]}; look at the picture and point at the right one"
        warned.append(Warning_("edge-ambiguous", says, side))
    return warned


def refuse_short(camera: Camera, clicked: Mapping[Side, SideLine]) -> None:
    """Raise RequestError where corners that stand as clicked lie closer on the wall than those of a traced side may."""
    for side, line in clicked.items():
        ends_mm = back_project(camera, line.ends_px, line.depth_mm)
        if np.hypot(*(ends_mm[1] - ends_mm[0])) < SHORT_MM:
            raise RequestError(
                "corners-too-close",
                f"the corners of the {SIDE_WORD[side]} are less than {SHORT_MM:.0f} mm apart: point at each corner "
                "where it is in the photo",
            )


def _choice_mm(trace: SideTrace, wall: Wall) -> float:
    """Return the standard uncertainty mm of where a tape touches behind the edge that is seen."""
    if trace.u_arris_mm is None:
        return U_CHOICE_MM[wall]
    return float(np.hypot(trace.u_arris_mm, UNTOLD * U_CHOICE_MM[wall]))


def _hidden(side: Side, coverage: float, *, pointed: bool) -> str:
    if pointed:
        return (
            f"no clear line shows the {SIDE_WORD[side]}; it is taken where its corners are, with the uncertainty of a "
            "rough click: look at the picture and point exactly at its two corners"
        )
    if coverage == 0:
        return (
            f"no clear line shows the {SIDE_WORD[side]}; it is placed by what lies about it, with the uncertainty "
            "stated: look at the picture and point at its line if it is off"
        )
    return (
        f"the {SIDE_WORD[side]} is seen over {100 * coverage:.0f} % of its length only; clear what hides it or point "
        "at its line"
    )


def rivals_px(
    camera: Camera,
    sides: Mapping[Side, SideLine],
    listed: Mapping[Side, tuple[tuple[float, float, str], ...]],
) -> tuple[tuple[Side, float, Array], ...]:
    """Return where the other lines of each side run in the photo: side, shift outward in mm, ends (2, 2) px."""
    ends = {s: back_project(camera, line.ends_px, line.depth_mm) for s, line in sides.items()}
    middle = np.mean([e.mean(0) for e in ends.values()], axis=0) if ends else np.zeros(2)
    found: list[tuple[Side, float, Array]] = []
    for side, (a, b) in ends.items():
        across = np.array([b[1] - a[1], a[0] - b[0]]) / max(float(np.linalg.norm(b - a)), 1e-9)
        across *= 1.0 if float(across @ (a - middle)) > 0 else -1.0
        for _, shift, _ in listed.get(side, ()):
            if shift != 0:
                moved = np.stack([a, b]) + shift * across
                found.append((side, shift, project(camera, np.column_stack([moved, np.full(2, sides[side].depth_mm)]))))
    return tuple(found)


def _named(c: Candidate) -> str:
    """Return a line beside a side in words; people read them in the explanations of readings."""
    what = {UNSEEN_NAME: "its front arris, itself not seen,", BY_STEPS_NAME: "its edge by the mean of its steps,"}
    way = "further out" if c.shift_mm > 0 else "further in"
    return f"{SIDE_WORD[c.side]}, {what.get(c.name, 'the line')} {abs(c.shift_mm):.0f} mm {way}"


def faces_of(result: Measured, candidates: tuple[Candidate, ...], depth: Mapping[Side, float]) -> tuple[Face, ...]:
    """Return the opening as it would measure to each other line seen beside a side (frame, trim, foot of a sill)."""
    u = float(np.median(np.sqrt(np.diag(result.cov_mm2)[:8])))
    faces = []
    for c in candidates:
        if c.shift_mm != 0:
            nine = result.values_mm + c.shift_nine_mm
            moved = {n: float(v) for n, v, d in zip(NINE, nine, c.shift_nine_mm, strict=True) if abs(d) > 0.05}
            faces.append(Face(_named(c), moved, u, -depth[c.side]))
    return tuple(faces)
