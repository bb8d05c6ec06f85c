"""Words of the footprint: where the ordered size will stand, and what is in its way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from sizing.messages import check_warnings
from sizing.messages.exact_length import exact_length
from sizing.messages.one_line import file_name, one_line, place
from sizing.messages.photo_figures import about, rounded
from sizing.units import Unit, format_length

CODES = frozenset(
    {
        "obstacle-in-the-way",
        "obstacle-unsure",
        "obstacle-not-placed",
        "obstacle-outside-photo",
        "clearance-too-small",
        "clearance-unsure",
    }
)
_EDGES = {
    "above": "above the opening",
    "below": "below the opening",
    "left": "left of the opening",
    "right": "right of the opening",
}
PLACED = (
    "The size is drawn centred on the opening as traced, but for what the rule adds by side; hardware that the rule "
    "adds to the height stands above the head."
)
OBSTACLES = (
    "An obstacle is taken as a thing on the wall that stands out or back by up to 4 in (100 mm, a guess): what stands "
    "out further is seen in another place than it is."
)


def problem_says(code: str, facts: Mapping[str, float | str], unit: Unit) -> str:
    """Return one problem or remark that a footprint shows, with what to do.

    Examples
    --------
    >>> facts = {"what": "lamp", "edge": "left", "gap_mm": -50.8, "U95_mm": 12.7}
    >>> problem_says("obstacle-in-the-way", facts, "in").split(". ")[0]
    'In the way, left of the opening: lamp, by about 2 in, give or take 1/2 in'
    """
    where = _EDGES.get(str(facts.get("edge")), "")
    if code == "obstacle-not-placed":
        return (
            f"{one_line(str(facts['what']))} is outlined in {file_name(str(facts['photo']))}, which was not measured: "
            "its place is not known. Outline it in a photo that was, or measure the room by tape."
        )
    if code == "obstacle-outside-photo":
        size = f"{facts['width_px']} x {facts['height_px']} px"
        return (
            f"{one_line(str(facts['what']))} is outlined outside of {file_name(str(facts['photo']))}, which has {size}"
            ": its place is not known. Outline it in pixels of that photo, upright."
        )
    U95 = float(facts["U95_mm"])
    if code == "obstacle-in-the-way":
        far = about(-float(facts["gap_mm"]), U95, unit)
        return (
            f"In the way, {where}: {one_line(str(facts['what']))}, by {far}. Have it moved, or ask the works for "
            "another mount or size."
        )
    if code == "obstacle-unsure":
        return (
            f"{one_line(str(facts['what']))}, {where}: whether it is in the way cannot be told "
            f"({gap(float(facts['gap_mm']), U95, unit)}). Measure the room there by tape."
        )
    needed, there = about(float(facts["needed_mm"]), U95, unit), format_length(float(facts["there_mm"]), unit)
    if code == "clearance-too-small":
        return f"Free {where}: {there}; the ordered size takes {needed}. Ask before ordering."
    return f"Free {where}: {there}; the ordered size takes {needed}: too close to tell. Measure the room again."


def gap(gap_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the gap between the room needed and a thing.

    Examples
    --------
    >>> gap(-25.4, 6.0, "in"), gap(100.0, 4.0, "mm")
    ('reaches about 1 in into it, give or take 1/4 in', 'about 100 mm away, give or take 4 mm')
    """
    if gap_mm < 0:
        inside = about(-gap_mm, U95_mm, unit).split(", ", 1)
        return f"reaches {inside[0]} into it, {inside[1]}"
    away = about(gap_mm, U95_mm, unit).split(", ", 1)
    return f"{away[0]} away, {away[1]}"


def obstacle_line(what: str, edge: str, verdict: str, gap_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the line of one obstacle."""
    words = {"free": "free", "in-the-way": "IN THE WAY", "unproven": "cannot be told, measure by tape"}
    return f"{one_line(what)}, {_EDGES[edge]}: {words[verdict]} ({gap(gap_mm, U95_mm, unit)})"


def room_line(edge: str, verdict: str, needed_mm: float, there_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the line of the room at one edge."""
    words = {"free": "enough", "in-the-way": "TOO LITTLE", "unproven": "too close to tell, measure again"}
    return (
        f"room {_EDGES[edge]}: {format_length(there_mm, unit)} there, {about(needed_mm, U95_mm, unit)} taken: "
        f"{words[verdict]}"
    )


def size_line(width_mm: float, height_mm: float, source: str, unit: Unit) -> str:
    """Return the size that is drawn.

    Examples
    --------
    >>> size_line(1409.7, 1600.2, "ordered", "in")
    '55 1/2 in wide, 63 in high, as ordered'
    """
    by = "as ordered" if source == "ordered" else "by the rule"
    return f"{exact_length(width_mm, unit)} wide, {exact_length(height_mm, unit)} high, {by}"


def overhang_line(overhang_mm: Iterable[tuple[str, float]], U95_mm: float, unit: Unit) -> str:
    """Return by how much the size stands over the opening at each side.

    Examples
    --------
    >>> overhang_line([("above", 76.4), ("below", -3.0)], 2.1, "mm")
    'over the opening by about: above 76 mm; below it ends 3 mm short (give or take 3 mm)'
    """
    each = [(edge, v, rounded(abs(v), unit)) for edge, v in overhang_mm]
    nothing = rounded(0.0, unit)
    over = ", ".join(f"{edge} {size}" for edge, v, size in each if v >= 0.0 or size == nothing)
    short = "".join(f"; {edge} it ends {size} short" for edge, v, size in each if v < 0.0 and size != nothing)
    more = about(0.0, U95_mm, unit).split(", ", 1)[1]
    return f"over the opening by about: {over or 'nothing'}{short} ({more})"


def drawn_label(width_mm: float, height_mm: float, source: str, unit: Unit) -> str:
    """Return the label of the size in a picture, as ordered or by the rule, lines parted by '|'.

    Examples
    --------
    >>> drawn_label(1409.7, 1600.2, "rule", "in")
    'by the rule|55 1/2 in x 63 in'
    """
    by = "ordered" if source == "ordered" else "by the rule"
    return f"{by}|{exact_length(width_mm, unit)} x {exact_length(height_mm, unit)}"


def obstacle_label(what: str, gap_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the label of an obstacle in a picture, lines parted by '|'."""
    figures = gap(gap_mm, U95_mm, unit).replace(", give or take ", " ± ")
    return f"{_short(what)}|{figures}"


def hardware_label() -> str:
    """Return the label of the strip of hardware."""
    return "hardware"


def room_label() -> str:
    """Return the label of the room that the rule asks for."""
    return "room that must stay free"


def _short(what: str) -> str:
    line = one_line(what)
    return line if len(line) <= 40 else line[:37] + "..."


def opening_heading(label: str, verdict: str, *, compared: bool) -> str:
    """Return the heading of one opening; `compared`: obstacles or clearances were given."""
    if verdict == "free" and not compared:
        return f"{one_line(label)}: drawn, compared with nothing"
    words = {
        "free": "nothing known is in the way",
        "in-the-way": "stop: something is in the way",
        "unproven": "cannot be told",
    }
    return f"{one_line(label)}: {words[verdict]}"


def not_drawn(label: str, code: str, why: str = "") -> str:
    """Return why no footprint of an opening is drawn, with the remedy."""
    if code == "no-size":
        said = "there is no size to draw: give the ordered width and height, or a sizing rule with its readings"
    elif code == "fault":
        return f"{one_line(label)}: not drawn. {check_warnings.fault(why)}"
    else:
        said = f"no photo of it measures the wall{': ' + one_line(why) if why else ''}"
    return f"{one_line(label)}: not drawn, {said.rstrip('.')}."


def none_known() -> str:
    """Return that no obstacles are given."""
    return "no obstacles or clearances are given (as boxes drawn at the desk, or in the job file): look on site"


def written(folder: Path) -> str:
    """Return where the pictures are."""
    return f"Footprint pictures: {place(folder)}"


def no_picture(label: str, reason: str) -> str:
    """Return that the pictures of one opening could not be made."""
    return f"{one_line(label)}: the footprint could not be drawn ({one_line(reason)}); the figures stand."


CAUTION = (
    "Drawn from a photo: the figures have their uncertainty and are not for ordering. Look on site for pipes, lamps, "
    "handles, wires, and what the fixings hold in; local codes and a licensed installer decide."
)
