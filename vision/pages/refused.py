"""Refusals of pages, cards and rectangles whose proportions on the wall are not those of the reference."""

from __future__ import annotations

from collections.abc import Callable

from vision.pages.kind import SAYS
from vision.request import Array, Reference, Warning_
from vision.solving.solved import Solved

ONE = {"letter": "a Letter page", "a4": "an A4 page", "id1": "a card", "given": "a rectangle of the given size"}


def askew(quad: Array, reference: Reference, name: str, *, found: bool = False) -> Warning_:
    """Return the refusal of what looks like the reference at (4, 2) px until the opening shows how the wall slants.

    `found`: the opening's corners were found, nobody gave them.
    """
    check = "check its size and " if reference.kind == "given" else ""
    mend = "give the opening's corners" if found else "move the opening's corners onto the opening"
    other = "one of the two may be another thing" if found else "it may be another thing"
    return Warning_(
        "no-reference",
        f"what looks like {ONE[reference.kind]} in {name}, at {place_of(quad)} px, has other proportions on "
        f"the wall as {_shown_by(found)} it, so {other}; point out the corners of the "
        f"{reference.thing} itself (reference corners), or, if this is it, {check}{mend}",
    )


def unlike_said(solved: Solved, reference: Reference, name: str, like: Callable[[Array], float]) -> Warning_ | None:
    """Return `reference-size` where the sides of a reference pointed out are not of its proportions; else None.

    One rectangle of any proportions fits a slanted wall, and says nothing of that itself.
    """
    unlike = (t.corners_px for t in solved.traced if t is not None and like(t.corners_px) <= 0)
    return next((unlike_pointed_out(quad, reference, name) for quad in unlike), None)


def unlike_pointed_out(quad: Array, reference: Reference, name: str, *, found: bool = False) -> Warning_:
    """Return the refusal of what was pointed out at (4, 2) px as the reference: it has not its proportions.

    `found`: the opening's corners were found, nobody gave them.
    """
    said = f" of {SAYS[reference.kind]}" if reference.kind in SAYS else " said"
    return Warning_(
        "reference-size",
        f"what was pointed out as the {reference.thing} in {name}, at {place_of(quad)} px, has other "
        f"proportions on the wall, as {_shown_by(found)} it, than the size{said}; nothing was measured: "
        "check what it is and its size (reference), then its corners and those of the opening",
    )


def _shown_by(found: bool) -> str:
    return "the opening found beside it shows" if found else "the opening's corners show"


def place_of(quad: Array) -> str:
    """Return where an outline (4, 2) px lies, for a person to look there."""
    x, y = quad.mean(0)
    return f"{x:.0f},{y:.0f}"
