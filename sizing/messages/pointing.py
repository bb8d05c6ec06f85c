"""Words about corners that were pointed at in a photo."""

from __future__ import annotations

CORNERS = ("top left", "top right", "bottom right", "bottom left")
SIDES_CROSS = (
    "the sides cross each other or run back: put every corner where it is in the photo, in the order top left, top "
    "right, bottom right, bottom left"
)


def corner_inward(corner: int) -> str:
    """Return that an outline has a dent at one corner, or none at all there, with what to do.

    Examples
    --------
    >>> corner_inward(2)[:52]
    'the outline is bent inward or straight at the bottom'
    """
    return (
        f"the outline is bent inward or straight at the {CORNERS[corner]} corner: move that corner, or the one beside "
        "it that was moved too far, back to where it is in the photo"
    )


def not_saved(says: str) -> str:
    """Return that corners were not saved because of a fault, for the page where they were moved.

    Examples
    --------
    >>> not_saved("no corner is in view: give at least one")
    'The corners were not saved: no corner is in view: give at least one.'
    """
    return f"The corners were not saved: {says}."
