"""Warnings about a photo's references and geometry, each with its effect and the remedy."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.request import CORNERS, NINE, PARTS, SIZE_NAMES, Array, CheckBar, Measure, Reference, Warning_
from vision.solving.solved import Solved

WEAK_MM = 6.35  # the contract's default tolerance
HALF = 0.5  # of the variance
INSIDE = 0.02  # of the long side: nearer to the rim a person may not see a corner (a guess)
# Out of true by more than walls are built (guesses): practice openings reach 12 mm and 1.4 % of the side across.
OUT_MM, OUT_OF_SIDE = 15.0, 0.02
SHAPES = (  # difference, the side that it is a slant of, and how it is said where it is above and below zero
    (
        "taper_width",
        "height_middle",
        "the top width is {} more than the bottom one",
        "the top width is {} less than the bottom one",
    ),
    (
        "taper_height",
        "width_middle",
        "the left height is {} more than the right one",
        "the left height is {} less than the right one",
    ),
    (
        "lean",
        "height_middle",
        "the head is shifted {} to the right of the sill",
        "the head is shifted {} to the left of the sill",
    ),
)
SIDES_UNCLEAR = ("edge_trace", "edge_choice")
TRACE_THEM = (
    "let the sides be traced from the corners, or put the corners under a magnifier and say how exactly they are put "
    "(click)"
)
REMEDY_OF = {
    ("print_scale",): "measure the printed bars on the {thing}s, once more where they were given, and enter them",
    ("reference_size",): "measure the {thing} itself and enter its size",
    ("edge_depth",): "say how far the edges stand out from the surface that the {thing} is on",
    SIDES_UNCLEAR: "point more exactly at the sides that no clear line shows",
}


def reference_warnings(reference: Reference, bars: CheckBar, solved: Solved) -> list[Warning_]:
    """Return what the references of a photo leave open: a single one, one letter twice, bars not measured."""
    warned = []
    if len(solved.names) == 1:
        warned.append(
            Warning_(
                "one-reference",
                f"only one {reference.thing} was found and could be read: a second one on the other side of the "
                "opening makes the measure several times better",
            )
        )
    twice = sorted({name for name in solved.names if solved.names.count(name) > 1})
    if twice:
        warned.append(
            Warning_(
                "letter-twice",
                f"{' and '.join(twice)} {'is' if len(twice) == 1 else 'are'} in view twice; both are used, each at its "
                "own place, so nothing is lost if both hang there: look in the picture that none is a reflection, and "
                "print two letters for the next job",
            )
        )
    if reference.kind == "sheet" and bars == CheckBar() and not solved.scale_seen:
        warned.append(
            Warning_(
                "scale-unverified",
                "the printed bars were not measured and the outline of the paper does not show: the print scale is "
                "assumed within 0.2 %, and a sheet printed at 'fit to page' makes every size wrong by 2 to 8 %; "
                "measure both bars on the sheets and enter them",
            )
        )
    return warned


def geometry_warnings(
    cov_mm2: Array, budget_mm: Array, references: int, thing: str, *, clicked: bool = False
) -> list[Warning_]:
    """Return `weak-geometry` when a width or height of the nine is not known to the default tolerance.

    Parameters
    ----------
    cov_mm2, budget_mm : covariance (9, 9) and budget (9, parts) of the nine; what weighs most says the remedy.
    references, thing : how many are in view, and what they are called.
    clicked : the corners stand as clicked, no side was traced.
    """
    worst = int(np.argmax(np.diag(cov_mm2)[:6]))
    U95 = 2 * float(np.sqrt(cov_mm2[worst, worst]))
    if U95 <= WEAK_MM:
        return []
    most = [parts for parts in REMEDY_OF if _share(budget_mm[worst], parts) > HALF]
    geometry = (
        f"put a second {thing} on the other side of the opening"
        if references < 2
        else f"stand squarer to the wall, nearer, and keep all {thing}s in view"
    )
    remedy = REMEDY_OF[most[0]].format(thing=thing) if most else geometry
    if clicked and most and most[0] == SIDES_UNCLEAR:
        remedy = TRACE_THEM
    # up to a tenth, as the figure beside the measure is
    says = f"the {SIZE_NAMES[worst]} is only known to {np.ceil(10 * U95 - 1e-6) / 10:.1f} mm from this photo; {remedy}"
    return [Warning_("weak-geometry", says)]


def shape_warnings(values_mm: Array, further: Mapping[str, Measure]) -> list[Warning_]:
    """Return `not-rectangular` where opposite sides differ, or lean, by more than openings are built out of true.

    Parameters
    ----------
    values_mm, further : the nine (9,), and the measures beside them.
    """
    out = []
    for name, side, more, less in SHAPES:
        by, U95 = further[name].value_mm, 2 * further[name].u_mm
        if abs(by) > max(OUT_MM, OUT_OF_SIDE * values_mm[NINE.index(side)]) + U95:
            out.append((more if by > 0 else less).format(f"{abs(by):.0f} mm") + f" (known to {U95:.0f} mm)")
    if not out:
        return []
    says = (
        f"the opening is no rectangle as measured: {', '.join(out)}; see in the picture whether its sides and every "
        "reference are where they should be, and if they are, measure both by tape: what is made square will not fit"
    )
    return [Warning_("not-rectangular", says)]


def corners_in_view(asked_px: Array, found_px: Array, size_px: tuple[int, int]) -> list[Warning_]:
    """Return `corner-in-view` where a corner that was said not to be in view lies well inside the photo.

    Parameters
    ----------
    asked_px, found_px : corners (4, 2) px as asked, NaN: not in view; and where the sides cross.
    """
    room = INSIDE * max(size_px)
    inside = ((found_px > room) & (found_px < np.array(size_px) - 1 - room)).all(axis=1)
    hidden = np.flatnonzero(np.isnan(asked_px).any(axis=1) & inside)
    if not hidden.size:
        return []
    where = " and ".join(f"the {CORNERS[k]} one (at {found_px[k][0]:.0f},{found_px[k][1]:.0f} px)" for k in hidden)
    says = (
        f"a corner was given as not in view (-) where the sides cross well inside the photo: {where}; its sides were "
        "traced from their other ends only: give it too, or, if something hides it, take a photo from another place"
    )
    return [Warning_("corner-in-view", says)]


def _share(budget_mm: Array, parts: tuple[str, ...]) -> float:
    """Return the part of a measure's variance, by its budget (parts,), that comes from some of them."""
    squares = budget_mm**2
    return float(squares[[PARTS.index(p) for p in parts]].sum() / max(float(squares.sum()), 1e-12))
