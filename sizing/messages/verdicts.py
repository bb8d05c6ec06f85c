"""Words of checks and estimates: terminal, pictures and result say the same because they say it from here.

Functions take facts (names, codes, millimetres and the job's unit) and return text. Figures of the photo are
always given as 'about', with their uncertainty, so that none is taken for a reading to order from.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from sizing.units import INCH_MM, Unit, format_length, format_uncertainty

_INCH_MM = float(INCH_MM)

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
VERDICTS = {"send": "may be ordered", "hold": "stop: ask", "unproven": "the photo cannot tell"}
READING_VERDICTS = {"agrees": "agrees", "differs": "differs", "unproven": "cannot tell"}
DECISIONS = {"send": "may be ordered", "hold": "stopped", "override": "ordered against the check"}
_SIDES = {"head": "head (top)", "sill": "sill (bottom)", "left": "left jamb", "right": "right jamb"}
CAUTION = (
    "Order from the tape's readings only, never from a photo's figure. Mind ladders; escape openings and "
    "local codes are not checked here."
)
TAKE_A_PHOTO = (
    "Take a photo of the whole opening with two printed sheets flat on the wall, left and right of it, all "
    "in view and sharp."
)


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


def one_line(text: str) -> str:
    r"""Return text from outside without control characters, on one line.

    Examples
    --------
    >>> one_line("W1\x1b[31m\n")
    'W1?[31m'
    """
    return " ".join("".join(c if c.isprintable() else (" " if c.isspace() else "?") for c in text).split())


def file_name(name: str) -> str:
    r"""Return the name of a file as shown: on one line, at most 80 characters.

    Examples
    --------
    >>> file_name("a\nb.jpg")
    'a b.jpg'
    """
    return one_line(name if len(name) <= 80 else name[:77] + "...")


def sentence(text: str) -> str:
    """Return text on one line that begins with a capital and ends with a full stop.

    Examples
    --------
    >>> sentence("no sheet was found; add one")
    'No sheet was found; add one.'
    """
    line = one_line(text)
    if line.split(" ", 1)[0].isalpha():  # a file name stays as it is
        line = line[:1].upper() + line[1:]
    return line + ("" if line.endswith((".", "?", "!")) else ".")


def about(value_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return a photo's figure with its uncertainty, rounded as coarsely as that.

    Examples
    --------
    >>> about(1381.2, 2.4, "in"), about(-0.3, 0.8, "mm")
    ('about 54 3/8 in, give or take 1/8 in', 'about 0 mm, give or take 1 mm')
    """
    return f"about {_rounded(value_mm, unit)}, give or take {_rounded_up(U95_mm, unit)}"


def _rounded(value_mm: float, unit: Unit) -> str:
    if unit == "in":  # a photo is never good to 1/32 in
        return format_length(round(value_mm / _INCH_MM * 16) * INCH_MM / 16, unit)
    return f"{round(value_mm)} mm"  # never -0


def _rounded_up(U95_mm: float, unit: Unit) -> str:
    return format_uncertainty(U95_mm, unit) if unit == "in" else f"{math.ceil(U95_mm - 1e-6)} mm"


def verdict_of(verdict: str, has_photo: bool) -> str:
    """Return the verdict of an opening in plain words.

    Examples
    --------
    >>> verdict_of("unproven", True), verdict_of("unproven", False)
    ('the photo cannot tell', 'not checked: no photo')
    """
    return VERDICTS[verdict] if has_photo or verdict != "unproven" else "not checked: no photo"


def why_verdict(why: str, names: Sequence[str], reason: str) -> str:
    """Return one sentence on why an opening has its verdict.

    Parameters
    ----------
    why : str
        Code of `sizing.decision.judge_opening`, or `fault`.
    names : sequence of str
        Readings that carry it.
    reason : str
        What stood in the way of measuring, where something did.
    """
    listed = names_of(names)
    sentences = {
        "reading-differs": f"{'No opening has that size' if reason else 'The photo does not support the tape here'}: "
        f"{listed}.",
        "order-problem": f"The order has a problem: {listed}.",
        "readings-inconsistent": "No opening can have all these readings; "
        f"{'one of these' if len(names) > 1 else 'this one'} is off: {listed}.",
        "no-photo": reason or "No photo measures this opening.",
        "reading-unproven": f"The photo can neither support nor refute: {listed}.",
        "readings-missing": f"Readings are missing: {listed}." if names else "There are no readings.",
        "all-agree": "The photo supports every reading.",
        "fault": reason,
    }
    return sentences.get(why, why)


def next_step(verdict: str, why: str, names: Sequence[str], *, doubtful: bool = False) -> str:
    """Return what to do next with an opening, or nothing where nothing is to do.

    `doubtful`: more than one line could be the edge, so that the verdict may hang on which one is meant.
    """
    listed = names_of(names)
    photo = TAKE_A_PHOTO[0].lower() + TAKE_A_PHOTO[1:]
    look = "Look at the picture: are the sides drawn on the right lines? If not, give corners on those. "
    again = f"Measure again: {listed}; then run the check once more."
    steps = {
        "all-agree": "",
        "no-photo": "",
        "reading-differs": f"Do not order. {look if doubtful else ''}{again}",
        "readings-inconsistent": f"Do not order. Measure again: {listed}.",
        "reading-unproven": f"{look}Or {photo}" if doubtful else f"Measure again, or {photo}",
        "readings-missing": "Take the missing readings; three widths and three heights are needed.",
    }
    if why == "order-problem" and names and all(code.startswith("typed-") for code in names):
        return "The typed order is not the job's: see the end of this job. Put it right before it goes out."
    return "" if verdict == "send" else steps.get(why, "Ask before ordering.")


def reading_differs(name: str, tape_mm: float, photo: tuple[float, float] | None, unit: Unit) -> str:
    """Return the line of a reading that the photo does not support; `photo` is value and U95 in mm."""
    said = f"{name_of(name)}: the tape says {format_length(tape_mm, unit)}; "
    if photo is None:
        return said + "no opening has that size."
    return said + f"the photo does not support it (it sees {about(*photo, unit)})."


def reading_unproven(
    name: str,
    tape_mm: float,
    photo: tuple[float, float],
    unit: Unit,
    *,
    doubtful: bool,
    slip_mm: float | None,
) -> str:
    """Return the line of a reading that the photo can neither support nor refute.

    `doubtful`: a line of the photo may be the wrong one; `slip_mm`: the error that would be seen, if any.
    """
    said = f"{name_of(name)}: the tape says {format_length(tape_mm, unit)}; the photo cannot tell"
    seen = f"it sees {about(*photo, unit)}"
    if doubtful:
        return f"{said}, as more than one line could be the edge ({seen})."
    if slip_mm is None or not math.isfinite(slip_mm):
        return f"{said} ({seen}: too vague)."
    return f"{said} ({seen}; it would be sure of an error of {at_least(slip_mm, unit)} or more)."


def at_least(slip_mm: float, unit: Unit) -> str:
    """Return a smallest slip, rounded up: to 1/8 in, or to 1 mm.

    Examples
    --------
    >>> at_least(9.5, "in"), at_least(9.2, "mm")
    ('3/8 in', '10 mm')
    """
    if unit == "mm":
        return f"{math.ceil(slip_mm - 1e-6)} mm"
    return format_length(math.ceil(slip_mm / _INCH_MM * 8 - 0.01) * INCH_MM / 8, unit)


def would_have_stopped(slip_mm: float, unit: Unit, *, diagonals_mm: float | None = None) -> str:
    """Return what error would have been caught; `slip_mm` is the largest of the smallest slips."""
    text = f"An error of {at_least(slip_mm, unit)} or more would have stopped this order"
    if diagonals_mm is not None and at_least(diagonals_mm, unit) != at_least(slip_mm, unit):
        text += f" (of a diagonal: {at_least(diagonals_mm, unit)})"
    return text + "."


def picture_label(name: str, tape_mm: float | None, photo_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the label of a measure in a picture, its lines parted by '|'.

    Examples
    --------
    >>> picture_label("width_top", 1381.125, 1381.2, 2.4, "in")
    'width, top|tape 54 3/8 in|photo about 54 3/8 in ± 1/8 in'
    """
    said = "" if tape_mm is None else f"|tape {format_length(tape_mm, unit)}"
    return f"{name_of(name)}{said}|photo about {_rounded(photo_mm, unit)} ± {_rounded_up(U95_mm, unit)}"


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


def weak_geometry(names: Sequence[str]) -> str:
    """Return the warning `weak-geometry`."""
    return (
        f"The photo is less sure than the tolerance asks for: {names_of(names)}. Two sheets, "
        "left and right of the opening, make it sure."
    )


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


def not_yet(option: str, instead: str) -> str:
    """Return that an option of the command line is not part of this version, with what to do."""
    return f"{option} is not part of this version yet; {instead}"


def cannot_write(reason: str) -> str:
    """Return the warning that pictures and result could not be written."""
    return f"{one_line(reason)}. Pictures and result.json were not written; the verdict stands."


def picture_failed(name: str, reason: str) -> str:
    """Return the warning that one picture could not be drawn."""
    return f"{one_line(name)} could not be drawn ({one_line(reason)}); the verdict stands."


def photos_unusable(files: Sequence[str]) -> str:
    """Return the line of the view on photos that could not be used; what is wrong is said on stderr."""
    return f"Could not be used: {', '.join(file_name(file) for file in files)} (see above)."


def job_unreadable(count: int) -> str:
    """Return the line of the view on a job that could not be read; what is wrong is said on stderr."""
    return f"could not be read: {count} problem{'' if count == 1 else 's'}, see above"


def written_to(folder: Path) -> str:
    """Return where pictures and result are."""
    return f"Pictures and result.json: {folder}"


def not_measured() -> str:
    """Return the line on stdout for an estimate that came to nothing; why is said on stderr."""
    return "Could not be measured: what stood in the way, and what to do, is said above."


def sheets_written(files: Sequence[Path]) -> str:
    """Return what to do with the sheets just written."""
    lines = [f"Written: {path}" for path in files]
    lines.append("Print at 100 %, not 'fit to page'; then measure the printed 150 mm and 200 mm bars and note them.")
    return "\n".join(lines)


def job_heading(job: str, file: str) -> str:
    """Return the heading of a job."""
    return f"{one_line(job)}  ({one_line(file)})"


def job_summary(counts: Mapping[str, int]) -> str:
    """Return the closing line of a job with several openings.

    Examples
    --------
    >>> job_summary({"send": 2, "hold": 1, "unproven": 0})
    '3 openings: 2 may be ordered, 1 stop and ask'
    """
    words = {"send": "may be ordered", "hold": "stop and ask", "unproven": "cannot be told"}
    parts = [f"{counts[v]} {words[v]}" for v in words if counts.get(v)]
    total = sum(counts.values())
    return f"{total} opening{'' if total == 1 else 's'}: " + ", ".join(parts)


def estimate_heading(found_by: str) -> str:
    """Return the heading of an estimate with where its edges come from."""
    found = {
        "photo": "opening found by itself: check the picture before you rely on it",
        "corners": "sides traced from the corners given",
        "clicked": "corners as clicked, no side traced",
    }
    return f"Measured from the photo ({found.get(found_by, found_by)}):"


def estimate_note() -> str:
    """Return what an estimate is for."""
    return "For a pre-quote only. These are a photo's figures with their uncertainty, not sizes to order from."
