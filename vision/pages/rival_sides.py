"""Which of the lines near each side of a card are its sides: the four that fit its size and the lines of the wall.

A stripe along a card, a joint beside it or a brick's edge may be a stronger line than its side, most of all where card
and mortar are alike. All lines near each side are traced. A set of four stands for a card of known size on a wall whose
lines show how it is seen, so each set has a cost in one adjustment: those of all sets are had from its linear form, and
the least costly one is adjusted anew. Where others cost little more, the side is as uncertain as they lie apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.adjustment import Block, huber_weights
from vision.observations import PhotoState
from vision.page_sides.block import SideBlock, side_block
from vision.page_sides.coded import with_line
from vision.page_sides.fit import TracedSide
from vision.page_sides.traced import TracedQuad
from vision.pages.lines_near import FAR, LEAST_FAR_PX, SAME_PX, NearLine, apart_px, line_near, lines_near, unclear_cost
from vision.pages.wrong_side import in_order
from vision.priors import CameraPrior
from vision.request import Array, Reference, Wall, Warning_
from vision.solving.side_faces import side_faces_mm
from vision.solving.solve_pages import SHORT_TO_LONG, left_out_of, solve_rectangles
from vision.solving.solved import Solved, outline_px
from vision.wall.lines import lined
from vision.wall.segments import Segments

SHOWN, PLACES = 12, 5  # likeliest sets of which the missing side is looked at; and for
LIKELY, LOOKS = 30.0, 2  # of the cost: what is not much less likely
OF_A_LINE = 2.0  # what place and slant of a sound side cost by chance
LOOSE = 0.06  # of the side beside it: so uncertain are all sides where the wall's lines contradict those traced
# A set may leave one side out, which none of the lines is: it then says nothing. One time in twenty (a guess).
LEFT_OUT_COST = 6.0
LEFT_OUT = 0.3  # of the side beside it, as uncertainty
OPEN_PX = 0.08  # less than that is in the uncertainty of every side
BETTER = 9.0  # of the cost: so much less a set without one side costs where that side is doubted
NONE_FITS = 18.0  # right sets cost 2 to 10 (6 rendered cards that were misread); above, no set is believed
UNTOLD_SAYS = (
    "no four lines near the reference fit its size and the lines of the wall, so which are its sides could not be "
    "told; the uncertainty says so: point out its corners (reference corners), or tape it where the wall beside it has "
    "another colour, and take the photo again"
)


def settled(
    rgb: NDArray[np.uint8],
    before: Solved,
    found: Solved,
    reference: Reference,
    prior: CameraPrior,
    wall: Wall,
    corners_px: Array | None,
    segments: Segments | None,
) -> tuple[Solved, Solved]:
    """Return a photo solved by the likeliest sides of its cards: by them alone, and with the wall's lines.

    Where no set of lines fits, all sides are loosened and a warning says so.

    Parameters
    ----------
    before, found : the photo solved by its references alone, and with lines, or without them where they disagree.

    Notes
    -----
    As given where no lines of the wall are seen, or no other set of lines fits.
    """
    if not any(t is not None and t.as_coded for t in before.traced):
        return before, found

    def with_lines(alone: Solved) -> Solved:
        return lined(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), alone, corners_px, wall, segments)

    by = found
    if len(found.blocks) == len(before.blocks):
        loose = tuple(None if t is None else _loosened(t) for t in before.traced)
        alone = solve_rectangles(before.outlines_px, reference, prior, wall, 1.0, rgb, loose)
        by = with_lines(alone)
        if len(by.blocks) == len(alone.blocks):
            return before, found
    anew, told = list(before.traced), True
    for k, traced in enumerate(before.traced):
        if traced is not None and traced.as_coded:
            likeliest = _likeliest(rgb, by, k, traced, reference.kind)
            anew[k], told = likeliest or _loosened(traced), told and likeliest is not None
    if all(a is b for a, b in zip(anew, before.traced, strict=True)):
        return before, found
    alone = solve_rectangles(before.outlines_px, reference, prior, wall, 1.0, rgb, anew)
    if not told:
        others = tuple(w for w in alone.warnings if w.code != "references-disagree")
        alone = replace(alone, warnings=(*others, Warning_("references-disagree", UNTOLD_SAYS)))
    again = with_lines(alone)
    if len(again.blocks) == len(alone.blocks):
        return before, found
    return alone, _as_seen(again)


def _as_seen(solved: Solved) -> Solved:
    """Return a photo with its references outlined as its state has them: alone, one with a side left out may tilt."""
    outlines = list(solved.outlines_px)
    for block in solved.blocks:
        if isinstance(block, SideBlock):
            half = np.asarray(block.points.half_mm, float)
            seen = outline_px(solved.adjusted.state, block.reference, half * SHORT_TO_LONG, half)
            outlines[block.reference] = in_order(seen, outlines[block.reference])
    return replace(solved, outlines_px=tuple(outlines))


def _loosened(traced: TracedQuad) -> TracedQuad:
    lengths = np.linalg.norm(traced.corners_px - np.roll(traced.corners_px, 1, axis=0), axis=1)
    a, b, c, d = (replace(s, beside_px=LOOSE * float(n)) for s, n in zip(traced.sides, lengths, strict=True))
    return replace(traced, sides=(a, b, c, d))


@dataclass(frozen=True, slots=True, eq=False)
class _Sets:
    """Sets of lines (C, 4) by their place among the lines near each side (one beyond: left out), and their costs (C,).

    `left` says, of the likeliest sets, which side is left out and the corners (4, 2) px by which it must be there.
    """

    chosen: NDArray[np.intp]
    cost: Array
    left: dict[int, tuple[int, Array]]


def _likeliest(rgb: NDArray[np.uint8], by: Solved, k: int, traced: TracedQuad, kind: str) -> TracedQuad | None:
    """Return the likeliest sides of reference `k`, as uncertain as near rivals lie apart; None where none fit."""
    own = next((b for b in by.blocks if isinstance(b, SideBlock) and b.reference == k), None)
    if own is None:
        return traced
    half = np.asarray(own.points.half_mm, float)
    ends = left_out_of(half, kind)
    rest = _sums([b for b in by.blocks if b is not own], by.adjusted.state)

    def rated(by_side: list[list[NearLine]]) -> _Sets:
        return _rated(rgb, by.adjusted.state, rest, k, traced, by_side, half, kind)

    by_side = lines_near(rgb, traced, ends, others=False)
    sets = rated(by_side)
    if sets.cost[0] < sets.cost.min() + BETTER:
        return traced  # no side contradicts the others
    by_side = lines_near(rgb, traced, ends)
    sets = rated(by_side)
    for _ in range(LOOKS):
        if not _more(rgb, traced, by_side, sets, ends):
            break
        sets = rated(by_side)
    best = int(np.argmin(sets.cost))
    if sets.cost[best] > NONE_FITS:
        return None
    weight = np.exp(-0.5 * np.maximum(sets.cost - sets.cost[best], 0))
    weight /= weight.sum()
    sides: list[TracedSide] = []
    changed = best != 0
    corners = traced.corners_px
    for i in range(4):
        taken = sets.chosen[best, i]
        if taken == len(by_side[i]):
            length = float(np.linalg.norm(traced.corners_px[i] - traced.corners_px[i - 1]))
            sides.append(replace(by_side[i][0].side, beside_px=LEFT_OUT * length))
            continue
        side = by_side[i][taken].side
        corners = with_line(corners, i, by_side[i][taken].line)
        off = np.array([*(apart_px(side, w.side) for w in by_side[i]), 0.0])
        u = float(np.sqrt((weight * off[sets.chosen[:, i]] ** 2).sum()))
        changed |= u > OPEN_PX
        sides.append(replace(side, beside_px=float(np.hypot(side.beside_px, u))) if u > OPEN_PX else side)
    if not changed:
        return traced
    return replace(traced, corners_px=corners, sides=(sides[0], sides[1], sides[2], sides[3]))


def _rated(
    rgb: NDArray[np.uint8],
    state: PhotoState,
    rest: tuple[Array, Array],
    k: int,
    traced: TracedQuad,
    by_side: list[list[NearLine]],
    half: Array,
    kind: str,
) -> _Sets:
    """Return all sets of lines with their costs, by the linear form of the adjustment at a state."""
    parts = _parts(state, k, traced, by_side, half, kind)
    sets = np.array([c for c in product(*(range(len(w) + 1) for w in by_side)) if _stands(c, by_side)])
    n = rest[0] + sum(parts[i][0][sets[:, i]] for i in range(4))
    g = rest[1] + sum(parts[i][1][sets[:, i]] for i in range(4))
    c = sum(parts[i][2][sets[:, i]] for i in range(4))
    scale = 1 / np.sqrt(np.diagonal(n, axis1=1, axis2=2))
    step = scale * np.linalg.solve(n * scale[:, :, None] * scale[:, None], (g * scale)[..., None])[..., 0]
    alone = float(rest[1] @ np.linalg.lstsq(rest[0], rest[1], rcond=None)[0])
    cost = np.asarray(c - (g * step).sum(1) + alone, float)
    left: dict[int, tuple[int, Array]] = {}
    for j in np.argsort(cost)[:SHOWN]:
        out = [i for i in range(4) if sets[j, i] == len(by_side[i])]
        if out:  # what the photo shows where that side must be
            corners = outline_px(state.moved(step[j]), k, half * SHORT_TO_LONG, half)
            corners = in_order(corners, traced.corners_px)
            cost[j] += unclear_cost(rgb, corners, out[0])
            left[int(j)] = out[0], corners
    return _Sets(sets, cost, left)


def _more(
    rgb: NDArray[np.uint8], traced: TracedQuad, by_side: list[list[NearLine]], sets: _Sets, ends: tuple[float, float]
) -> bool:
    """Add the lines found where likely sets say that a side must be; return whether there are any."""
    added = False
    for j, (i, corners) in sorted(sets.left.items(), key=lambda m: sets.cost[m[0]])[:PLACES]:
        if not np.isfinite(corners).all() or sets.cost[j] > sets.cost.min() + LIKELY:
            continue
        other = line_near(rgb, corners, i, ends[i % 2], traced.blur_px, traced.corners_px)
        far = 2 * max(FAR * float(np.sqrt(cv2.contourArea(traced.corners_px.astype(np.float32)))), LEAST_FAR_PX)
        if other is not None and all(SAME_PX < apart_px(w.side, other.side) < far for w in by_side[i]):
            by_side[i].append(other)
            added = True
    return added


def _stands(chosen: tuple[int, ...], by_side: list[list[NearLine]]) -> bool:
    """Return whether at most one side is left out."""
    return sum(c == len(w) for c, w in zip(chosen, by_side, strict=True)) <= 1


def _sums(blocks: list[Block[PhotoState]], state: PhotoState) -> tuple[Array, Array]:
    """Return normal matrix (U, U) and right side (U,) of blocks at a state."""
    normal, right = np.zeros((state.unknowns, state.unknowns)), np.zeros(state.unknowns)
    for block in blocks:
        w, a = block.linearised(state)
        weight = huber_weights(w, block.robust)
        normal += (a * weight[:, None]).T @ a
        right += (a * weight[:, None]).T @ w
    return normal, right


def _parts(
    state: PhotoState, k: int, traced: TracedQuad, by_side: list[list[NearLine]], half: Array, kind: str
) -> list[tuple[Array, Array, Array]]:
    """Return, by side, normal matrices (W + 1, U, U), right sides and costs of its lines, the last: left out."""
    made: list[list[tuple[Array, Array, float]]] = [[], [], [], []]
    plane = half * SHORT_TO_LONG
    faces = side_faces_mm(state, k, plane, half, kind)
    for j in range(max(len(w) for w in by_side)):
        a, b, c, d = (w[min(j, len(w) - 1)].side for w in by_side)
        block = side_block(k, replace(traced, sides=(a, b, c, d)), plane, half, kind, faces)
        w_all, a_all = block.linearised(state)
        first = 0
        for i, side in enumerate((a, b, c, d)):
            last = first + len(side.pixel)
            if j < len(by_side[i]):
                w, m = w_all[first:last], a_all[first:last]
                cost = float(w @ w) - _about_line(block, side, w, first) + by_side[i][j].unclear
                made[i].append((m.T @ m, m.T @ w, cost))
            first = last
    for side_made in made:
        side_made.append((np.zeros_like(side_made[0][0]), np.zeros_like(side_made[0][1]), OF_A_LINE + LEFT_OUT_COST))
    return [
        (np.array([m[0] for m in side]), np.array([m[1] for m in side]), np.array([m[2] for m in side]))
        for side in made
    ]


def _about_line(block: SideBlock, side: TracedSide, w: Array, first: int) -> float:
    """Return what the points of a side cost about a line of its own: it says nothing of which line is the side."""
    own = slice(first, first + len(w))
    line = block.whitener[own, own] @ np.column_stack([np.ones(len(w)), side.along])
    rest = w - line @ np.linalg.lstsq(line, w, rcond=None)[0]
    return float(rest @ rest)
