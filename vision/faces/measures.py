"""Outlines about an opening as faces: what a tape taken to them would read, how sure that is, where to draw them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.camera import Camera, project
from vision.faces.outlines import Outline, SideAt
from vision.measures import Measured
from vision.request import NINE, PARTS, SIDES, Array, Face, Side
from vision.stations import ENDS, Line, SideLine, corners, lines_of, nine_of, shifted, stations

# what the photo's uncertainty holds of its own edges, and a face does not share
_OWN = ("edge_trace", "edge_choice", "station")
_NEEDS: tuple[frozenset[Side], ...] = (
    *[frozenset[Side]({"left", "right"})] * 3,
    *[frozenset[Side]({"head", "sill"})] * 3,
    *[frozenset[Side](SIDES)] * 3,
)


def faces_of_outlines(
    outlines: Sequence[Outline], camera: Camera, sides: Mapping[Side, SideLine], measured: Measured
) -> tuple[Face, ...]:
    """Return outlines with the measures that a tape taken to them would find.

    Parameters
    ----------
    outlines : as `vision.faces.outlines.nested_outlines` gives them
    camera : as solved
    sides : the four sides of the opening, that the outlines' places are told against
    measured : the opening's own measures

    Notes
    -----
    Of a line only what it changes is measured, between it and the edges. What a face has beyond the uncertainty of the
    photo's own measures stands in `modes_mm`: one for each of its sides, one for its depth (JCGM 100, 5.1.3).
    """
    edges = lines_of(camera, sides, {s: sides[s].depth_mm for s in SIDES})
    shared = measured.budget_mm.copy()
    shared[:, [PARTS.index(p) for p in _OWN]] = 0.0
    u_shared = np.sqrt((shared**2).sum(axis=1))
    made = [_parallel(o, edges) if o.depth_by == "parallax" else o for o in outlines]
    return tuple(_face(o, camera, sides, edges, measured.values_mm, u_shared) for o in made)


def _parallel(outline: Outline, edges: Mapping[Side, Line]) -> Outline:
    """Return a frame with its opposite sides parallel, as frames are made: of two slopes that differ one is misread."""
    turned = dict(outline.sides)
    pairs: tuple[tuple[Side, Side], ...] = (("left", "right"), ("head", "sill"))
    for pair in pairs:
        if not all(s in turned for s in pair):
            continue
        one, other = (shifted(edges[s], -turned[s].inward_mm, -turned[s].slope).direction for s in pair)
        by = float(one[0] * other[1] - one[1] * other[0]) / 2  # what the first turns by, and the other back
        for s, turn in zip(pair, (by, -by), strict=True):
            across = np.array([-edges[s].direction[1], edges[s].direction[0]])
            turned[s] = replace(turned[s], slope=turned[s].slope - float(edges[s].normal @ across) * turn)
    return replace(outline, sides=turned)


def _face(
    outline: Outline,
    camera: Camera,
    sides: Mapping[Side, SideLine],
    edges: Mapping[Side, Line],
    own_mm: Array,
    u_shared_mm: Array,
) -> Face:
    def nine(places: Mapping[Side, SideAt], z_mm: float) -> tuple[Array, Mapping[Side, Line], Mapping[Side, float]]:
        depth = {s: z_mm if s in places else sides[s].depth_mm for s in SIDES}
        seen = {s: _seen(sides[s], edges[s], camera, places[s]) if s in places else sides[s] for s in SIDES}
        lines = lines_of(camera, seen, depth)
        return nine_of(lines, dict.fromkeys(stations(lines), (0.0, 0.0))), lines, depth

    at, lines, depth = nine(outline.sides, outline.z_mm)
    if len(outline.sides) == 1:  # the rest of the opening is the edge as it is, local departures and all
        none, _, _ = nine({}, outline.z_mm)
        at = own_mm + at - none
        told = np.abs(at - own_mm) > 0.05
    else:
        told = np.array([needs <= outline.to_edge | set(outline.sides) for needs in _NEEDS])
    moved = [
        nine({**outline.sides, s: replace(a, inward_mm=a.inward_mm + a.u_mm)}, outline.z_mm)[0]
        for s, a in outline.sides.items()
    ]
    base = nine(outline.sides, outline.z_mm)[0]
    if outline.u_z_mm > 0:
        moved.append(nine(outline.sides, outline.z_mm + outline.u_z_mm)[0])
    modes = np.array([m - base for m in moved])
    u = np.sqrt(u_shared_mm**2 + (modes**2).sum(axis=0))
    names = [n for n, t in zip(NINE, told, strict=True) if t]
    rows = np.flatnonzero(told)
    ends = corners(lines)
    return Face(
        outline.name,
        {n: float(at[i]) for n, i in zip(names, rows, strict=True)},
        float(np.median(u[rows])) if len(rows) else float(np.median(u)),
        -outline.z_mm,
        "outline" if len(outline.sides) > 1 else "line",
        outline.u_z_mm,
        outline.depth_by,
        outline.weight,
        {n: float(u[i]) for n, i in zip(names, rows, strict=True)},
        tuple({n: float(mode[i]) for n, i in zip(names, rows, strict=True)} for mode in modes),
        {s: project(camera, np.column_stack([ends[list(ENDS[s])], np.full(2, depth[s])])) for s in outline.sides},
    )


def _seen(side: SideLine, edge: Line, camera: Camera, at: SideAt) -> SideLine:
    """Return a side of an outline where it is seen, as a straight side."""
    line = shifted(edge, -at.inward_mm, -at.slope)
    ends = np.stack([line.origin, line.origin + line.length * line.direction])
    px = project(camera, np.column_stack([ends, np.full(2, side.depth_mm)]))
    none = np.zeros(0)
    return SideLine(side.side, px, side.depth_mm, none, none, np.zeros((2, 2)), 0.0, 0.0, 0.0, ragged=False)


def reanchored(faces: Sequence[Face], own_mm: Array, joint_mm: Array) -> tuple[Face, ...]:
    """Return the faces of one photo against measures (9,) of several photos instead of its own."""
    by = dict(zip(NINE, (joint_mm - own_mm).tolist(), strict=True))
    return tuple(replace(f, measures_mm={n: v + by[n] for n, v in f.measures_mm.items()}) for f in faces)
