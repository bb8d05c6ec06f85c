"""Words of the cross-check: readings against each other, against the photo, and over a whole job."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.verdicts import name_of, names_of
from sizing.units import Unit, format_length


def outliers_found(groups: Sequence[Sequence[str]], *, with_photo: bool) -> str:
    """Return which readings stand out when all are tested together though none of them differs by itself.

    Examples
    --------
    >>> outliers_found([["width_top"]], with_photo=True)
    'Readings and photo do not fit together: width, top stands out. Read it again.'
    """
    what = "Readings and photo do not fit together" if with_photo else "The readings do not fit each other"
    parts = [_group(group) for group in groups]
    many = len(parts) > 1 or len(groups[0]) > 1
    verb = "stand" if len(parts) > 1 else "stands"
    return f"{what}: {' and '.join(parts)} {verb} out. Read {'them' if many else 'it'} again."


def nothing_stands_out() -> str:
    """Return that the joint test fails and no single reading explains it."""
    return (
        "Readings and photo do not fit together, and no single reading explains it. Look at the photo's lines and at "
        "the reference, and read again."
    )


def fits_other_edge(side: str, shift_mm: float, units: Unit) -> str:
    """Return that the readings fit the photo only with another of its edges."""
    length, way = format_length(abs(shift_mm), units), "out" if shift_mm > 0 else "in"
    return (
        f"The readings fit the photo only if its {name_of(side)} is another line, about {length} further {way}. "
        "Look at the picture and point to the edge that the tape touched."
    )


def _group(names: Sequence[str]) -> str:
    if len(names) == 1:
        return name_of(names[0])
    return f"one of {names_of(names)} (which one cannot be told)"
