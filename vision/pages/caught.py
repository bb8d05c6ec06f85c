"""Corners of a page or card that were pointed out too roughly to be traced: caught by the outline found about them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.page_sides.traced import TracedQuad
from vision.pages.find import FoundQuad
from vision.pages.shape import pose_rating
from vision.priors import CameraPrior, reference_size_mm
from vision.request import CORNERS, Array, Reference, Warning_
from vision.solving.solve_pages import as_it_hangs, traced_rectangle

FITS, SEEN = 0.6, 0.45  # what was traced is the page: as well it fits its size, of the side that is seen least
CAUGHT = 0.35  # of its size: so far a corner may be off


def caught(
    rgb: NDArray[np.uint8],
    quad: Array,
    reference: Reference,
    prior: CameraPrior,
    click_px: float,
    what: str,
    find: Callable[[], Sequence[FoundQuad]],
    like: Callable[[Array], float],
) -> Array | Warning_:
    """Return corners (4, 2) px to trace from: those given, or of the outline found about them; or what is wrong.

    Parameters
    ----------
    quad : corners as given (4, 2) px, top left first.
    click_px : their standard uncertainty by coordinate.
    what : name of the reference and of the photo, for people.
    find : gives the outlines found in the photo, asked only where the sides are not seen from the corners given.
    like : says how like the reference corners are on the wall; 0 another thing.
    """
    mm = reference_size_mm(reference)
    traced = traced_rectangle(rgb, quad, as_it_hangs(quad, reference), reference.kind, click_px, seen=0.0)
    if traced is not None and traced.weakest >= SEEN and pose_rating(traced.corners_px, mm, prior) >= FITS:
        return quad
    sides = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    far = CAUGHT * float(np.sqrt(sides[:2].prod()))
    near = [(f.rating, _nearest(f.corners_px, quad)) for f in find()]
    near = [(rating, q) for rating, q in near if np.abs(q - quad).max() < far and like(q) > 0]
    if near:
        return max(near, key=lambda n: n[0])[1]
    if pose_rating(quad, mm, prior) >= FITS and like(quad) > 0:
        return quad  # as clicked
    if traced is not None and traced.weakest >= SEEN:
        return Warning_(
            "reference-size",
            f"the corners given for the {what} are on sides that are clearly seen, but not those of a rectangle of its "
            "size; nothing was measured: check what it is and its size (reference), and drag its corners if they are "
            "on another thing",
        )
    return Warning_(
        "no-reference",
        f"the corners given for the {what} are not those of a rectangle of its size, and its sides were not seen near "
        f"them; drag {_which(quad, traced)} onto its corner, or let it be found by itself (give no reference corners)",
    )


def _nearest(corners: Array, quad: Array) -> Array:
    """Return corners in the order in which they lie nearest to those of a quadrilateral."""
    ways = [np.roll(corners, k, axis=0) for k in range(4)]
    return min(ways, key=lambda q: float(np.abs(q - quad).max()))


def _which(quad: Array, traced: TracedQuad | None) -> str:
    """Return which corner the sides that are not seen have in common, in words."""
    if traced is not None:
        weak = [s.seen < SEEN for s in traced.sides]
        at = [k for k in range(4) if weak[k - 1] and weak[k]]
        if len(at) == 1:
            x, y = quad[at[0]]
            return f"the {CORNERS[at[0]]} one (at {x:.0f},{y:.0f} px)"
    return "each of them"
