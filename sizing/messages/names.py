"""Plain names of readings, measures and sides."""

from __future__ import annotations

from collections.abc import Sequence

_NAMES = {
    "width_top": "width, top",
    "width_middle": "width, middle",
    "width_bottom": "width, bottom",
    "height_left": "height, left",
    "height_middle": "height, middle",
    "height_right": "height, right",
    "diagonal_down": "diagonal, top left to bottom right",
    "diagonal_up": "diagonal, bottom left to top right",
    "out_of_square": "out of square (the difference of the diagonals)",
    "taper_width": "taper of the width (top less bottom)",
    "taper_height": "taper of the height (left less right)",
    "lean": "lean (head against sill, + to the right)",
    "narrowest_width": "narrowest width",
    "widest_width": "widest width",
    "narrowest_height": "narrowest height",
    "widest_height": "widest height",
    "lowest_height": "least height",
    "highest_height": "greatest height",
    "course": "one course of brick beside it",
}
_SIDES = {"head": "head (top)", "sill": "sill (bottom)", "left": "left jamb", "right": "right jamb"}


def name_of(code: str) -> str:
    """Return the plain name of a reading, a measure or a side.

    Examples
    --------
    >>> name_of("diagonal_down")
    'diagonal, top left to bottom right'
    """
    return _NAMES.get(code) or _SIDES.get(code) or code.replace("_", " ").replace("-", " ")


def names_of(codes: Sequence[str]) -> str:
    """Return several names as one list.

    Examples
    --------
    >>> names_of(["width_top", "height_left"])
    'width, top; height, left'
    """
    return "; ".join(name_of(code) for code in codes)
