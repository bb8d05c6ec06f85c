"""The inner edge of a trim: a flat band of one width left and right, between the wall's pattern and the opening."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from vision.finder.side_steps import Steps
from vision.request import Side

TRIM_MM, WIDEST_MM, ALIKE_MM = 45.0, 230.0, 8.0  # a trim is at least and at most so wide, and alike on both sides
BORDER_MM = 22.0  # how far a region's border stands from its line
JAMBS: tuple[Side, Side] = ("left", "right")
ABOUT_MM = 60.0  # where the strongest step is looked for that an edge is compared with
# Guesses: the edge is seen by at least such a share of the strongest step about it, on one side more clearly.
FAINT, CLEAR = 0.06, 0.15
SAME_MM = 8.0  # lines nearer than this are one
NOT_ALIKE = "no trim of one width is seen left and right"
SURE_LAB = 12.0  # guess: a step of this size is a real line


def trim_jambs(lines: Mapping[Side, Steps], *, again: bool = False) -> dict[Side, tuple[float, float]] | str:
    """Return offset and tilt mm of the inner edges of the trim left and right, or what leaves them open.

    The region unlike the wall ends at the trim's outer side where the wall's courses end, or at its inner one where the
    trim has the wall's colour and nothing tells its courses. `again`: the lines were looked for along those edges.
    """
    left, right = lines["left"], lines["right"]
    if again:
        found: dict[Side, int | None] = {s: lines[s].nearest(0.0, SAME_MM) for s in JAMBS}
        return {s: _placed(lines[s], n) for s, n in found.items() if n is not None}
    best: tuple[float, _Edge, _Edge] | None = None
    edges = {s: _edges(lines[s]) for s in JAMBS}
    for a in edges["left"]:
        for b in edges["right"]:
            if a.within != b.within or abs(a.wide - b.wide) > ALIKE_MM or max(a.clear, b.clear) < CLEAR:
                continue
            out = float(left.at[a.number] + right.at[b.number])
            if best is None or out > best[0]:
                best = out, a, b
    if best is None:
        return _by_the_other(lines, edges)
    for side, edge in ((left, best[1]), (right, best[2])):
        if ((side.at > side.at[edge.number] + SAME_MM) & (side.at < -TRIM_MM) & (side.size > SURE_LAB)).any():
            return _by_the_other(lines, edges)
    return {"left": _placed(left, best[1].number), "right": _placed(right, best[2].number)}


def _placed(side: Steps, number: int) -> tuple[float, float]:
    return float(side.at[number]), float(side.tilt[number])


@dataclass(frozen=True, slots=True)
class _Edge:
    """What could be the inner edge of a trim: number, outer edge and width mm, if the region holds it, how clear."""

    number: int
    outer: float
    wide: float
    within: bool
    clear: float


def _edges(side: Steps) -> list[_Edge]:
    out = []
    outers = [float(o) for o in side.at]
    if side.nearest(0.0, BORDER_MM) is None:
        outers.append(0.0)  # the region ends there, though no step of colour is seen
    for i, inner in enumerate(side.at):
        clear = float(side.size[i]) / side.strongest(inner - ABOUT_MM, inner + ABOUT_MM)
        if clear < FAINT:
            continue
        for outer in outers:
            wide = float(outer - inner)
            if TRIM_MM < wide < WIDEST_MM and (abs(outer) < BORDER_MM or abs(inner) < BORDER_MM):
                out.append(_Edge(i, outer, wide, abs(outer) < BORDER_MM, clear))
    return out


def _by_the_other(
    lines: Mapping[Side, Steps], edges: Mapping[Side, list[_Edge]]
) -> dict[Side, tuple[float, float]] | str:
    """Return the edge of the narrower trim and, at the same width, the other's, which shows none there.

    A reveal that the sun shines into is as bright as the trim beside it: the first step behind is the frame's.
    """
    # a trim may show a shadow beside its outer edge: widths are told from the same one on both sides
    border = {s: lines[s].nearest(0.0, BORDER_MM) for s in JAMBS}
    outer = {s: 0.0 if n is None else float(lines[s].at[n]) for s, n in border.items()}
    like = {s: [e for e in edges[s] if e.within and e.outer == outer[s]] for s in JAMBS}
    clear = [(e.wide, s, e) for s in JAMBS for e in like[s] if e.clear >= CLEAR]
    if not clear:
        return NOT_ALIKE
    wide, side, edge = min(clear, key=lambda c: c[:2])
    other: Side = "right" if side == "left" else "left"
    if not any(e.wide > wide for e in like[other]):
        return NOT_ALIKE
    n = border[other]
    tilt = 0.0 if n is None else float(lines[other].tilt[n])
    return {side: _placed(lines[side], edge.number), other: (outer[other] - wide, tilt)}
