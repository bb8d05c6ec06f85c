"""Whether the pages in a photo are of another standard size than was said."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.kept.once import Once, anew
from vision.page_sides.traced import TracedQuad
from vision.priors import PAPER, CameraPrior
from vision.request import Array, Reference, Wall, Warning_
from vision.solving.solve_pages import fits_one_wall, solve_rectangles
from vision.solving.solved import Solved
from vision.wall.lines import lined
from vision.wall.segments import Segments

Kind = Literal["letter", "a4", "id1"]
KINDS: tuple[Kind, ...] = ("letter", "a4", "id1")
SAYS = {"letter": "US Letter (8 1/2 x 11 in)", "a4": "A4 (210 x 297 mm)", "id1": "a card (85.6 x 54 mm)"}
CONTRADICTED = {"lines-disagree", "references-disagree"}
BETTER, BETTER_SHARE = 25.0, 0.75  # of the cost: five standard deviations, and not one fault among many


def wrong_kind(
    rgb: NDArray[np.uint8],
    solved: Solved,
    reference: Reference,
    prior: CameraPrior,
    wall: Wall,
    corners_px: Array | None,
    once: Once = anew,
    cost: float | None = None,
    segments: Segments | None = None,
) -> Warning_ | None:
    """Return `reference-size` where the pages contradict the size that was said and fit another; else None.

    Pages of the wrong proportions look tilted. One page alone can be tilted; two pages or the lines of the wall
    cannot be at once. The other size must fit much better: sound pages are never doubted. `once` gives what was made of
    the same pages before: only the opening has moved. `cost` is that of their traced sides by the size said, and
    `segments` are the straight edges of the photo, if known.
    """
    contradicted = bool(CONTRADICTED & {w.code for w in solved.warnings})
    if reference.kind not in SAYS or (cost is not None and cost <= BETTER and not contradicted):
        return None

    def solve(as_said: Reference) -> Solved:
        def made() -> Solved:  # all sizes by the same sides: their costs are compared
            known = solved.traced
            return solve_rectangles(solved.outlines_px, as_said, prior, wall, 1.0, rgb, known, placed_anew=False)

        return once(("as", as_said, prior, wall, solved.outlines_px), made)

    said = solve(reference)
    if said.adjusted.cost <= BETTER and not contradicted:
        return None  # nothing fits better by that much
    for kind in _others(reference.kind):
        other = solve(Reference(kind))
        if reference.kind not in PAPER and any(w.code == "reference-bent" for w in other.warnings):
            continue  # a card is stiff: that paper may bend to what was traced makes it no likelier
        fits = _much_better(other, said.adjusted.cost)
        if fits or contradicted:
            lines = lined(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), other, corners_px, wall, segments)
            fits = fits or len(lines.blocks) > max(len(other.blocks), len(solved.blocks))
            fits = fits and not CONTRADICTED & {w.code for w in lines.warnings}  # the wall's lines may contradict it
        if fits:
            return _is(kind, reference)
    return None


def two_of_another_kind(
    quads: Sequence[Array],
    traced: Sequence[TracedQuad],
    reference: Reference,
    prior: CameraPrior,
    wall: Wall,
    rgb: NDArray[np.uint8],
) -> Warning_ | None:
    """Return `reference-size` where two pages (4, 2) px fit one wall by another standard size only; else None.

    They seem things of two sizes by the size that was said: neither could be chosen, and the remedy would be hidden.
    """
    if reference.kind not in SAYS:
        return None
    kinds = [k for k in _others(reference.kind) if fits_one_wall(quads, Reference(k), prior)]
    if not kinds:
        return None

    def solve(as_said: Reference) -> Solved:
        return solve_rectangles(quads, as_said, prior, wall, 1.0, rgb, traced, placed_anew=False)

    said = solve(reference).adjusted.cost
    for kind in kinds:
        other = solve(Reference(kind))
        if _much_better(other, said) and not CONTRADICTED & {w.code for w in other.warnings}:
            return _is(kind, reference)
    return None


def _much_better(other: Solved, said: float) -> bool:
    """Return whether another size fits much better than the one that was said, by their costs."""
    return other.adjusted.cost < min(said - BETTER, BETTER_SHARE * said)


def _is(kind: Kind, said: Reference) -> Warning_:
    return Warning_(
        "reference-size",
        f"the reference was said to be {SAYS[said.kind]}, but its proportions on this wall are those of {SAYS[kind]}; "
        "nothing was measured: say which one it is (reference), or measure its sides and give them",
    )


def _others(kind: str) -> Sequence[Kind]:
    """Return the other standard sizes that a page or card could be taken for."""
    return [k for k in KINDS if k != kind]
