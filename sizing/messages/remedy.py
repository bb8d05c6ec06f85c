"""Words for the one action that would settle what the photo cannot tell."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.names import name_of
from sizing.units import Unit, format_uncertainty
from vision.request import LOW

_STEPS = {
    "point-at-side": "look at the annotated photo and point at the {side} by its corners, exactly, saying so with "
    "click_px = 1 in the job",
    "give-edge-offset": "say how far the edges stand out from the surface that the {thing} is on",
    "measure-bars": "measure the two printed bars on the sheet to a tenth of a millimetre and enter them in mm",
    "measure-page": "measure the page itself with a steel rule and enter its size in mm in place of its kind",
    "original-photo": "ask for the photo's original file as the phone wrote it (a messenger takes out what names the "
    "lens), or for the lens's 35 mm focal length and enter it (focal35)",
    "two-sheets": "take a photo with two printed sheets, left and right of the opening, their bars measured, in place "
    "of the {thing}",
    "lens-profile": "take six photos of a printed sheet with the same phone, make a camera profile of them (secondtape "
    "lens), put it beside the job and name it for the photo (lens)",
}


def remedy_says(
    steps: Sequence[tuple[str, str]],
    name: str,
    before_mm: float,
    after_mm: float,
    unit: Unit,
    *,
    settles: bool,
    thing: str = "sheet",
) -> str:
    """Return what to do and what it would bring; `thing` is what the photo's reference is called.

    Examples
    --------
    >>> says = remedy_says([("measure-bars", "")], "width_top", 9.0, 1.4, "in", settles=True)
    >>> says.split("; ")[1]
    'it would bring the width, top from +- 3/8 in to +- 1/16 in.'
    """
    lead = "Cheapest way to settle it" if settles else "What would help most, though it may not settle it"
    text = f"{lead}: {', and '.join(_step(action, where, thing) for action, where in steps)}"
    before, after = format_uncertainty(before_mm, unit), format_uncertainty(after_mm, unit)
    if before != after:
        text += f"; it would bring the {name_of(name)} from +- {before} to +- {after}"
    return text + "."


def _step(action: str, where: str, thing: str) -> str:
    if action == "point-at-side":
        return _STEPS[action].format(side=name_of(where))
    if action in _STEPS:
        return _STEPS[action].format(thing=thing)
    level = ", level with its sill" if where.endswith(LOW) else ""
    return f"take a photo with one more {_like(thing)} to the {where.removesuffix(LOW)} of the opening{level}"


def _like(thing: str) -> str:
    return thing if thing == "sheet" else f"{thing} of the same size"
