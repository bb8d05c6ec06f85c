"""One side of a page or card that another line was taken for, told by the lines of the wall and then left out.

A joint beside a card, a lap or the card's own stripe may be a stronger line than its side. The pose takes up the wrong
proportions as a slant, which the lines of the wall then contradict. Without that side they agree, and what is left says
where it must be: there the photo has to show the reference on one side and something else on the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.page_sides.block import SideBlock
from vision.page_sides.fit import TracedSide
from vision.page_sides.traced import TracedQuad, parting
from vision.pages.kind import SAYS
from vision.priors import CameraPrior
from vision.request import Array, Reference, Wall, Warning_
from vision.solving.solve_pages import SHORT_TO_LONG, solve_rectangles
from vision.solving.solved import Solved, outline_px
from vision.wall.lines import lined
from vision.wall.segments import Segments

NAMES = ("head", "right side", "foot", "left side")
LEFT_OUT = 0.3  # of the side beside it, as uncertainty: it says nothing any more
STRIP_PX = np.arange(1.0, 2.6, 0.25)  # on either side of an edge: beyond its blur, short of what stands beside it
CLEAR = 0.25  # sound sides 0.4 to 1, lines inside or outside a reference 0 to 0.25
AS_CLEAR = 0.7  # of how clearly the line that was taken for the side parts the reference from the rest (a guess)


def without_wrong_side(
    rgb: NDArray[np.uint8],
    before: Solved,
    found: Solved,
    reference: Reference,
    prior: CameraPrior,
    wall: Wall,
    corners_px: Array | None,
    segments: Segments | None,
) -> Solved:
    """Return the photo solved without the one side that the wall's lines contradict; else `found` as it is.

    Parameters
    ----------
    before, found : the photo solved by its references alone, and with lines that disagree.

    Notes
    -----
    Only for standard sizes: a size that somebody measured may be what is wrong. A page of another standard size shows
    nothing where a side of the size that was said would lie.
    """
    if reference.kind not in SAYS:
        return found
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    fits: list[tuple[float, Solved]] = []
    for k, traced in enumerate(before.traced):
        if traced is None:
            continue
        for i in range(4):
            some = (*before.traced[:k], _but(traced, i), *before.traced[k + 1 :])
            alone = solve_rectangles(before.outlines_px, reference, prior, wall, 1.0, rgb, some)
            with_lines = lined(grey, alone, corners_px, wall, segments)
            if len(with_lines.blocks) == len(alone.blocks):  # no lines, or they disagree still
                continue
            outline = in_order(_outline(with_lines, k), traced.corners_px)
            if _parts(rgb, outline, i) >= max(AS_CLEAR * _parts(rgb, traced.corners_px, i), CLEAR):
                fits.append((with_lines.adjusted.cost, replace(with_lines, warnings=_said(with_lines, i))))
    return min(fits, key=lambda f: f[0])[1] if fits else found


def _but(traced: TracedQuad, i: int) -> TracedQuad:
    """Return traced sides of which one says nothing."""
    sides: list[TracedSide] = list(traced.sides)
    length = float(np.linalg.norm(traced.corners_px[i] - traced.corners_px[i - 1]))
    sides[i] = replace(sides[i], beside_px=LEFT_OUT * length)
    return replace(traced, sides=(sides[0], sides[1], sides[2], sides[3]))


def _said(solved: Solved, i: int) -> tuple[Warning_, ...]:
    says = (
        f"the {NAMES[i]} of the reference was left out: what looks like it fits neither its size nor the lines of the "
        "wall; look at the picture, and point out the corners of the reference (reference corners) if they are wrong"
    )
    return (*(w for w in solved.warnings if w.code != "references-disagree"), Warning_("references-disagree", says))


def _outline(solved: Solved, k: int) -> Array:
    """Return the corners (4, 2) px of rectangle `k` as the camera sees them that the lines gave."""
    block = next(b for b in solved.blocks if isinstance(b, SideBlock) and b.reference == k)
    half = np.asarray(block.points.half_mm, float)
    return outline_px(solved.adjusted.state, k, half * SHORT_TO_LONG, half)


def in_order(outline: Array, corners: Array) -> Array:
    """Return the corners (4, 2) of an outline in the order of others nearby."""
    turns: Sequence[Array] = [np.roll(outline, -k, axis=0) for k in range(4)]
    return min(turns, key=lambda q: float(np.abs(q - corners).sum()))


def _parts(rgb: NDArray[np.uint8], quad: Array, i: int) -> float:
    """Return how clearly side `i` parts the reference from the rest, 0 where that is not seen."""
    return parting(rgb, quad, i, STRIP_PX) or 0.0
