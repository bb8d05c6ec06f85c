"""The inner edge of a trim: a flat band of one width left and right, between the wall's pattern and the opening."""

from __future__ import annotations

from collections.abc import Mapping

from vision.finder.side_steps import Steps
from vision.request import Side

TRIM_MM, WIDEST_MM, ALIKE_MM = 45.0, 230.0, 5.0  # a trim is at least and at most so wide, and alike on both sides
BORDER_MM = 22.0  # how far a region's border stands from its line
JAMBS: tuple[Side, Side] = ("left", "right")
ABOUT_MM = 60.0
# Guesses: the edge is seen by at least such a share of the strongest step about it, on one side more clearly.
FAINT, CLEAR = 0.06, 0.15
SAME_MM = 8.0
SURE_LAB = 12.0  # guess: a step of this size is a real line


def trim_jambs(lines: Mapping[Side, Steps], *, again: bool = False) -> dict[Side, tuple[float, float]] | str:
    """Return offset and tilt mm of the inner edges of the trim left and right, or what leaves them open.

    The region unlike the wall ends at the trim's outer side where the wall's courses end, or at its inner one where the
    trim has the wall's colour and nothing tells its courses. `again`: the lines were looked for along those edges.
    """
    left, right = lines["left"], lines["right"]
    if again:
        found: dict[Side, int | None] = {s: lines[s].nearest(0.0, SAME_MM) for s in JAMBS}
        return {s: (float(lines[s].at[n]), float(lines[s].tilt[n])) for s, n in found.items() if n is not None}
    best: tuple[float, int, int] | None = None
    for i, wide, within, clear in _pairs(left):
        for k, wide_right, within_right, clear_right in _pairs(right):
            if within != within_right or abs(wide - wide_right) > ALIKE_MM or max(clear, clear_right) < CLEAR:
                continue
            edges = float(left.at[i] + right.at[k])
            if best is None or edges > best[0]:
                best = edges, i, k
    if best is None:
        return "no trim of one width is seen left and right"
    for side, number in ((left, best[1]), (right, best[2])):
        if ((side.at > side.at[number] + SAME_MM) & (side.at < -TRIM_MM) & (side.size > SURE_LAB)).any():
            return "edge and trim could be taken for each other"
    return {s: (float(lines[s].at[n]), float(lines[s].tilt[n])) for s, n in zip(JAMBS, best[1:], strict=True)}


def _pairs(side: Steps) -> list[tuple[int, float, bool, float]]:
    """Return what could be the inner edge of a trim: number, width mm, whether the region holds the trim, how clear."""
    out = []
    for i, inner in enumerate(side.at):
        clear = float(side.size[i]) / side.strongest(inner - ABOUT_MM, inner + ABOUT_MM)
        if clear < FAINT:
            continue
        for outer in side.at:
            wide = float(outer - inner)
            if TRIM_MM < wide < WIDEST_MM and (abs(outer) < BORDER_MM or abs(inner) < BORDER_MM):
                out.append((i, wide, abs(outer) < BORDER_MM, clear))
    return out
