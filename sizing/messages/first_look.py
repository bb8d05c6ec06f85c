"""What to look at on the desk before anybody goes to the house again."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.one_line import one_line


def look_whose_photo(labels: Sequence[str], verdict: str, otherwise: str) -> str:
    """Return what to do next where the photo shows the same place as another opening's; `otherwise`: if it is right.

    Examples
    --------
    >>> look_whose_photo(["W1"], "hold", "Do not order. Measure again: width, top.").split(". ")[1]
    'Look first whether this photo is of this opening: it shows the same place as a photo of W1'
    """
    look = (
        "Look first whether this photo is of this opening: it shows the same place as a photo of "
        f"{', '.join(one_line(label) for label in labels)}. If it is of another opening, give this one its own "
        "photo or corners and run the check once more."
    )
    return _first(look, verdict, otherwise)


def look_for_exchange(labels: Sequence[str], verdict: str, otherwise: str) -> str:
    """Return what to do next where the readings fit photos of other openings; `otherwise`: if all is in its place.

    Examples
    --------
    >>> look_for_exchange(["W3"], "hold", "Do not order. Measure again: width, top.").split("; ")[0]
    'Do not order. Look first whether the photo or the readings of this opening were put down under another one'
    """
    photos = " or ".join(one_line(label) for label in labels)
    look = (
        "Look first whether the photo or the readings of this opening were put down under another one; the readings "
        f"fit the photo of {photos}. If they were, put that right in the job and run the check once more."
    )
    return _first(look, verdict, otherwise)


def look_at_the_sheet(verdict: str, otherwise: str) -> str:
    """Return what to do next where width and height look swapped; `otherwise`: if they were typed as written.

    Examples
    --------
    >>> look_at_the_sheet("hold", "Do not order. Measure again: width, top.").split(". ")[1]
    "Look first at what the crew wrote: width and height look typed into each other's boxes"
    """
    look = (
        "Look first at what the crew wrote: width and height look typed into each other's boxes. If they were, put "
        "that right in the job and run the check once more."
    )
    return _first(look, verdict, otherwise)


def look_how_the_sill_lies(verdict: str, otherwise: str) -> str:
    """Return what to do next where the sill stands out though it was said to lie in the wall; `otherwise`: if it does.

    Examples
    --------
    >>> look_how_the_sill_lies("hold", "Do not order. Measure again: height, left.").split(": ")[0]
    'Do not order. Look first whether the sill stands out of the wall, as the photo shows (see the note)'
    """
    look = (
        "Look first whether the sill stands out of the wall, as the photo shows (see the note): heights are then seen "
        "too long. If it does, have it measured how far, enter that as edge offset of the sill and run the check once "
        "more."
    )
    return _first(look, verdict, otherwise)


def look_at_outline(verdict: str, otherwise: str) -> str:
    """Return what to do next where no slip explains any reading; `otherwise`: if the outline is this opening's.

    Examples
    --------
    >>> look_at_outline("hold", "Do not order. Measure again: width, top.").split(". ")[1]
    'Look first in the picture whether the outline lies on this opening: no usual slip explains any of its readings'
    """
    look = (
        "Look first in the picture whether the outline lies on this opening: no usual slip explains any of its "
        "readings. If it lies elsewhere, give the opening's corners, or its own photo, and run the check once more."
    )
    return _first(look, verdict, otherwise)


def _first(look: str, verdict: str, otherwise: str) -> str:
    """Return a look at the desk before the step without it, which begins with not ordering where that holds."""
    stop = "Do not order. "
    rest = otherwise.removeprefix(stop)
    return f"{stop if verdict == 'hold' else ''}{look} If not: {rest[0].lower()}{rest[1:]}"
