"""Words of what a check warns of, and why an opening is not measured; each with its remedy."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.names import names_of
from sizing.messages.one_line import one_line

TAKE_A_PHOTO = (
    "Take a photo of the whole opening with two printed sheets flat on the wall, left and right of it, all "
    "in view and sharp."
)


def no_photo() -> str:
    """Return why an opening without a photo is not measured, with the remedy."""
    return "There is no photo of this opening. " + TAKE_A_PHOTO


def no_usable_photo() -> str:
    """Return why an opening none of whose photos can be used is not measured, with the remedy."""
    return "None of its photos can be used. Put right what is said of each, or take another."


def shape_refused(shape: str) -> str:
    """Return why an opening of another shape is not measured, with the remedy."""
    return f"Its shape is '{shape}': only rectangular openings are measured. Have it measured by hand twice."


def readings_missing(names: Sequence[str]) -> str:
    """Return the warning `readings-missing`."""
    return f"Readings are missing: {names_of(names)}. Without them nothing can be sent: take them."


def weak_geometry(names: Sequence[str], references: int = 1, *, advised: bool = False) -> str:
    """Return the warning `weak-geometry`; `references`: how many one photo shows at most.

    `advised`: what would help was worked out, and is said; two remedies would leave people to choose.
    """
    remedy = (
        "What would help is said with the verdict."
        if advised
        else "Two sheets, left and right of the opening, make it sure."
        if references < 2
        else "Two references are in view already: a photo from nearer and squarer to the wall makes it surer."
    )
    return f"The photo is less sure than the tolerance asks for: {names_of(names)}. {remedy}"


def same_photo(file: str, labels: Sequence[str]) -> str:
    """Return the warning `same-photo`; `labels` of the openings that rest on the same place, none: the opening itself.

    Examples
    --------
    >>> same_photo("a.jpg", ["W2", "W3"])
    'a.jpg shows the same place as a photo of W2, W3: all but one have the wrong photo or corners. Give each its own.'
    """
    if not labels:
        return f"{one_line(file)} is listed twice: it counts as one. Take a second photo from another place."
    wrong = "all but one have" if len(labels) > 1 else "one of the two openings has"
    listed = ", ".join(one_line(label) for label in labels)
    return (
        f"{one_line(file)} shows the same place as a photo of {listed}: {wrong} the wrong photo or corners. "
        "Give each its own."
    )


def fault(kind: str) -> str:
    """Return what is said when this program has failed."""
    return f"This program made a mistake here ({kind}); it is not yours. Please report it."


def not_finished(reason: str) -> str:
    """Return what is said when the system stopped this program's work on a job, with the remedy."""
    return f"Could not be finished ({one_line(reason)}). Make room, or give the right to write there, and run it again."


def photo_after(files: Sequence[str]) -> str:
    """Return the warning that photos from afterwards are kept for a dispute."""
    return (
        f"From afterwards, so not part of the cross-check: {', '.join(one_line(f) for f in files)}. "
        "`secondtape dispute` compares the opening then and now."
    )
