"""Whether the pages in a photo are of another standard size than was said."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.priors import CameraPrior
from vision.request import Array, Reference, Wall, Warning_
from vision.solve_pages import solve_rectangles
from vision.solved import Solved
from vision.wall_lines import lined

Kind = Literal["letter", "a4", "id1"]
KINDS: tuple[Kind, ...] = ("letter", "a4", "id1")
SAYS = {"letter": "US Letter (8 1/2 x 11 in)", "a4": "A4 (210 x 297 mm)", "id1": "a card (85.6 x 54 mm)"}
CONTRADICTED = {"lines-disagree", "references-disagree"}
BETTER = 16.0  # of the cost: four standard deviations


def wrong_kind(
    rgb: NDArray[np.uint8],
    solved: Solved,
    reference: Reference,
    prior: CameraPrior,
    wall: Wall,
    corners_px: Array | None,
) -> Warning_ | None:
    """Return `reference-size` where the pages contradict the size that was said and fit another; else None.

    Pages of the wrong proportions look tilted. One page alone can be tilted; two pages or the lines of the wall
    cannot be at once. Nothing is asked unless they contradict each other, so sound pages are never doubted.
    """
    if reference.kind == "sheet" or not CONTRADICTED & {w.code for w in solved.warnings}:
        return None
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    for kind in _others(reference.kind):
        other = solve_rectangles(solved.outlines_px, Reference(kind), prior, wall, 1.0, rgb, corners_px)
        other = lined(grey, other, corners_px, wall)
        if CONTRADICTED & {w.code for w in other.warnings}:
            continue
        if len(other.blocks) > len(solved.blocks) or other.adjusted.cost < solved.adjusted.cost - BETTER:
            said = SAYS.get(reference.kind, "a rectangle of the given size")
            return Warning_(
                "reference-size",
                f"the reference was said to be {said}, but its proportions on this wall are those of {SAYS[kind]}; "
                "nothing was measured: say which one it is (reference), or measure its sides and give them",
            )
    return None


def _others(kind: str) -> Sequence[Kind]:
    return [k for k in KINDS if k != kind]
