"""Words about corners that were pointed at in a photo."""

from __future__ import annotations

from sizing.messages.one_line import file_name, one_line

# Codes of faults that ask for the corners of the opening.
_ASK_FOR_CORNERS = frozenset({"corners-needed", "several-openings", "corners-too-close", "edge-hidden"})


def how_to_give(code: str, says: str, *, file: str = "") -> str:
    """Return how what a photo's fault asks for is given, as a sentence; empty where it asks for nothing to be given.

    Parameters
    ----------
    code, says : the fault of `vision`, and its words.
    file : the photo of a job file; without one it is told for the command `estimate`.

    Examples
    --------
    >>> how_to_give("corners-needed", "give its four corners roughly").split(" (")[0]
    'Give them as --corners "x,y x,y x,y x,y"'
    >>> how_to_give("corners-needed", "give its four corners roughly", file="w1.jpg").split(" (")[0]
    'In the job file: { file = "w1.jpg", corners = [[x, y], [x, y], [x, y], [x, y]] }'
    >>> how_to_give("no-reference", "its corners (reference corners), or give the opening's corners").split(", or ")[1]
    'those of the opening as --corners (pixels of the upright photo, top left first, clockwise)'
    >>> how_to_give("no-reference", "name it as the reference")
    'It is named by --reference letter, a4, id1, or its size as 120x80mm.'
    """
    if code in _ASK_FOR_CORNERS:
        key, option = "corners", "--corners"
    elif code == "no-reference" and "(reference corners)" in says:
        key, option = "reference_corners", "--reference-corners"
    elif code == "no-reference" and "name it as the reference" in says:
        named = (
            'In the job file: reference = "letter", "a4", "id1"'
            if file
            else "It is named by --reference letter, a4, id1"
        )
        return f"{named}, or its size{' as width and height' if file else ' as 120x80mm'}."
    else:
        return ""
    given = (
        f'In the job file: {{ file = "{file_name(file)}", {key} = [[x, y], [x, y], [x, y], [x, y]] }}'
        if file
        else f'Give them as {option} "x,y x,y x,y x,y"'
    )
    if key != "corners" and "give the opening's corners" in says:
        given += f", or those of the opening as {'corners' if file else '--corners'}"
    return (
        f"{given} (pixels of the upright photo, top left first, clockwise), or drag them onto the photo at the desk "
        "(secondtape desk FOLDER)."
    )


def not_saved(says: str) -> str:
    """Return that corners were not saved because of a fault, for the page where they were moved.

    Examples
    --------
    >>> not_saved("no corner is in view: give at least one")
    'The corners were not saved: no corner is in view: give at least one.'
    """
    return f"The corners were not saved: {says}."


def click_means(exact_px: float) -> str:
    """Return what it does to say how exactly corners were put; from `exact_px` on they choose between lines.

    Examples
    --------
    >>> click_means(2.0).split(": ")[0]
    '3 is roughly'
    """
    return (
        "3 is roughly: the corners say where to look, and the sides are traced. "
        f"{exact_px:g} or less, say 1, is exactly on the lines meant, under the magnifier: then they choose between "
        "lines side by side, so say it only where all four are put so. Where no sides are traced it is how far off the "
        "corners may be."
    )


def click_refused(text: str, most_px: float) -> str:
    """Return that how exactly corners were put is no such number.

    Examples
    --------
    >>> click_refused("fine", 1000.0)
    "How exactly the corners are put is a number of pixels, above 0 and up to 1000, not 'fine'. Nothing was saved."
    """
    return (
        f"How exactly the corners are put is a number of pixels, above 0 and up to {most_px:g}, not "
        f"{one_line(text)[:20]!r}. Nothing was saved."
    )


def no_corners_for_click() -> str:
    """Return that nobody has put the corners of which it is said how exactly they are."""
    return (
        "How exactly the corners are put can be said of corners that somebody put: put the four corners, then "
        "say it. Nothing was saved."
    )
