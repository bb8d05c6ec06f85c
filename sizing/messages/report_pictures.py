"""Words of the report's pictures: captions, and what is left out of them."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.one_line import file_name


def photo_caption(file: str, *, measured: bool) -> str:
    """Return the caption of the photo."""
    said = "sides as traced, stations, references" if measured else "not measured; as it was taken"
    return f"{file_name(file)}: {said}"


def wall_caption(source: str) -> str:
    """Return the caption of the rectified wall; `source` is where the size drawn comes from.

    Examples
    --------
    >>> wall_caption("ordered"), wall_caption("rule")
    ('the ordered size on the wall, true to scale', 'the size by the rule on the wall, true to scale')
    """
    return f"the {'ordered size' if source == 'ordered' else 'size by the rule'} on the wall, true to scale"


def card_left_out(file: str) -> str:
    """Return that a photo is not shown because a card may be in view."""
    return (
        f"{file_name(file)}: not shown in the report, as a card may be in view whose place is not known. Look at the "
        "photo at the desk and point out the card's corners; then it is shown, the card covered."
    )


def privacy() -> str:
    """Return what was left out of the pictures."""
    return "Pictures are copies without the camera's data (place, serial number); a card used as reference is covered."


def no_picture(left_out: Sequence[str]) -> str:
    """Return what stands in place of a picture; `left_out` says what could not be shown, and why.

    Examples
    --------
    >>> no_picture([card_left_out("b13.jpg")])[:42]
    'No picture: b13.jpg: not shown in the repo'
    """
    return f"No picture: {' '.join(left_out) or 'there is no photo that could be used.'}"


def unknown_blank(photos: Sequence[str]) -> str:
    """Return that a box names a photo that is not in the job."""
    return (
        f"{', '.join(file_name(p) for p in photos)} is none of the job's photos: write the name as in the job "
        "file, so that nothing stays in view by a slip."
    )


def blank_outside(box: Sequence[float], width: int, height: int) -> str:
    """Return that a box covers nothing of its photo."""
    ends = ", ".join(f"{end:g}" for end in box)
    return (
        f"the box {ends} covers nothing of the photo of {width} x {height} px: correct it, so that nothing stays in "
        "view by a slip"
    )
