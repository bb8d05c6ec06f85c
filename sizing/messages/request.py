"""Words of the page that asks the people at a house for a photo: no term of the trade, nothing to look up."""

from __future__ import annotations

TITLE = "Please take a photo for us"
INTRO = (
    "Before your order is made we check each measured size once more, with a photo. It takes about ten minutes, from "
    "the ground, with any phone. The photo is used to check sizes and for nothing else."
)
STEPS_TITLE = "Step by step"
STEPS = (
    'Print the two sheets that come with this page at 100 % ("actual size"). No printer? Take two new sheets of paper '
    "of the same size, without folds or print, and tell us which size they are.",
    "Tape one sheet to the wall on the left of the window or door, one on the right. Flat, all four corners, not on "
    "the glass or the frame.",
    "Walk straight back until you stand about one and a half to two window widths away. Hold the phone level, at the "
    "height of the middle of the window if you can. No zoom, no wide view: the normal 1x camera.",
    "Take two or three photos from slightly different places. All four corners of the opening, both sheets and some "
    "wall all round must be in each photo, and sharp.",
    "Send the photos as they are, in full size: not cropped, no screenshot, no filter. Tell us which photo shows which "
    "window.",
    "Printed our sheets? Measure the two bars at their edges with a ruler and write down what they really are.",
)
CANNOT_LIE = "put it beside that and tell us"
WHICH = "Please photograph"
SEND = "Send the photos to, or ask"
BLANK = "(write it here)"
ALL = "each window or door that is to be measured"


def which(job: str, openings: list[str]) -> str:
    """Return what is to be photographed.

    Examples
    --------
    >>> which("harbor-114", ["W1", "W2"])
    'W1, W2 (job harbor-114)'
    """
    named = ", ".join(openings) or ALL
    return f"{named} (job {job})" if job else named
