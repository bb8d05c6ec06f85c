"""Words of the report: headings, captions, and the method in five lines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

from sizing.messages.check_warnings import TAKE_A_PHOTO
from sizing.messages.names import name_of
from sizing.messages.one_line import file_name, one_line, sentence
from sizing.messages.photo_figures import about
from sizing.messages.verdicts import READING_VERDICTS
from sizing.units import Unit, format_length

METHOD = (
    "Camera, lens and wall are worked out together from every printed edge of the reference pages and from the wall's "
    "own straight lines (least squares); each source counts by its standard deviation.",
    "Each side of the opening is traced to a part of a pixel; corners are where the sides cross, and widths and "
    "heights are taken where a tape is held.",
    "Every figure of the photo carries U95, the expanded uncertainty with k = 2, from the joint covariance (JCGM 100).",
    "A reading agrees when the chance that it lies within the tolerance is 95 % or more by the photo alone, differs at "
    "5 % or less, and cannot be told in between (JCGM 106). Likely causes are ranked; they move no verdict.",
    "Sizes to order come from the tape's readings by the rule. The photo corrects nothing and is never ordered from.",
)
NO_CERTIFICATE = (
    "This report certifies neither strength nor safety nor a code. It compares sizes; local codes and licensed "
    "practice decide the rest."
)
HEADINGS = {
    "openings": "Openings",
    "to_do": "What to do",
    "readings": "Readings, and what the photo sees",
    "causes": "What probably happened",
    "order": "Order",
    "footprint": "Room on the wall",
    "budget": "Where the photo's uncertainty comes from (standard uncertainties, mm)",
    "notes": "To note",
    "remeasure": "For the crew, to copy (the photo's figures are left out on purpose)",
    "decision": "Decision",
    "common": "All openings together",
    "method": "Method in five lines",
    "inputs": "What this rests on (SHA-256 of each file)",
    "versions": "Versions",
    "cautions": "Cautions",
}
COLUMNS = {
    "opening": "opening",
    "verdict": "verdict",
    "why": "why",
    "order": "order",
    "page": "page",
    "reading": "reading",
    "tape": "tape",
    "photo": "photo",
    "chart": "opening less reading",
    "slip": "would catch",
}
_FACTS = {
    "measured_by": "measured by",
    "measured_on": "measured on",
    "tape": "tape",
    "note": "note",
    "wall": "wall",
    "quantity": "quantity",
    "found_by": "edges",
}
_PARTS = {
    "reference_image": "printed edges",
    "camera": "camera",
    "distortion": "lens",
    "print_scale": "print scale",
    "reference_size": "page size",
    "flatness": "flat paper",
    "wall_plane": "flat wall",
    "edge_depth": "depth of the edges",
    "edge_trace": "trace of the edges",
    "edge_choice": "which edge",
    "station": "place of the blade",
}
_INPUTS = {"job": "job file", "photo": "photo", "rule": "sizing rule", "lens": "camera profile"}


def report_title(job: str) -> str:
    """Return the title of a report."""
    return f"Cross-check of job {one_line(job)}"


def subtitle(made_at: str, program: str) -> str:
    """Return the line below the title."""
    return f"{made_at}, {program}"


def headline(verdicts: Sequence[str]) -> str:
    """Return the verdict of a job in one line.

    Examples
    --------
    >>> headline(["send", "hold", "send"])
    'Stop: 1 of 3 openings must not be ordered as it stands.'
    >>> headline(["send"])
    'The opening may be ordered.'
    """
    counts, total = Counter(verdicts), len(verdicts)
    if counts["hold"]:
        if total == 1:
            return "Stop: this opening must not be ordered as it stands."
        many = counts["hold"] > 1
        stand = "must not be ordered as they stand" if many else "must not be ordered as it stands"
        return f"Stop: {counts['hold']} of {total} openings {stand}."
    if counts["unproven"]:
        if total == 1:
            return "It cannot be told whether this opening may be ordered."
        return f"It cannot be told whether {counts['unproven']} of {total} openings may be ordered."
    return "The opening may be ordered." if total == 1 else f"All {total} openings may be ordered."


def fact_name(key: str) -> str:
    """Return the name of a fact of job or opening; free keys are named as they are.

    Examples
    --------
    >>> fact_name("measured_by"), fact_name("extra.gate")
    ('measured by', 'gate')
    """
    return _FACTS.get(key) or one_line(key.removeprefix("extra."))


def part_name(part: str) -> str:
    """Return the plain name of a part of the budget."""
    return _PARTS.get(part, part.replace("_", " "))


def all_parts() -> str:
    """Return the heading of the column of the whole uncertainty."""
    return "all, u"


def input_kind(kind: str) -> str:
    """Return what a file is."""
    return _INPUTS.get(kind, kind.replace("-", " "))


def no_hash() -> str:
    """Return what stands in place of the hash of a file that could not be read."""
    return "could not be read"


def no_figure() -> str:
    """Return what stands where there is no figure."""
    return "-"


def nothing_to_do() -> str:
    """Return what to do with an opening that may be ordered."""
    return "Nothing more: order the size by the readings."


def look_before_ordering() -> str:
    """Return what to do with an opening that may be ordered once its remarks have been looked at."""
    return "Look at what is noted below; then order the size by the readings."


def photo_unused(file: str, why: str) -> str:
    """Return that a photo gave nothing, and why."""
    said = one_line(why)
    return sentence(said if file_name(file) in said else f"{file_name(file)}: {said}")


def superseded(name: str, length_mm: float, unit: Unit) -> str:
    """Return that a later visit replaced a reading."""
    return f"Replaced by a later visit: {name_of(name)}, {format_length(length_mm, unit)}."


def photo_to_take() -> str:
    """Return what to do with an opening that was not measured for what is said in its verdict."""
    return f"Do not order on this check: nothing was checked. {TAKE_A_PHOTO} Then run the check once more."


def tape_figure(as_written: str, value_mm: float, unit: Unit) -> str:
    """Return a reading: as a length, and as it was written where that is in other units or words.

    Examples
    --------
    >>> tape_figure('54-3/8"', 1381.125, "in"), tape_figure("138.1 cm", 1381.0, "mm")
    ('54 3/8 in', '1381.0 mm (138.1 cm)')
    """
    said, plain = format_length(value_mm, unit), one_line(as_written)
    odd = any(c.isalpha() or c in "'+" for c in plain.removesuffix(unit)) or plain.endswith("-")
    return f"{said} ({plain})" if odd else said


def photo_figure(value_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the photo's figure with its uncertainty, short.

    Examples
    --------
    >>> photo_figure(1381.2, 2.4, "in")
    'about 54 3/8 in ± 1/8 in'
    """
    return about(value_mm, U95_mm, unit).replace(", give or take ", " ± ")


def found_by(code: str) -> str:
    """Return where the edges come from."""
    return {
        "photo": "found by itself in the photo: check that it is the right opening",
        "corners": "traced from the corners given",
        "clicked": "as clicked, no side traced",
    }.get(code, code)


def order_size(sizes_mm: Sequence[Fraction | None], unit: Unit, *, typed: bool) -> str:
    """Return the size of an order.

    Examples
    --------
    >>> order_size([Fraction(1397), Fraction(1600)], "mm", typed=True)
    '1397.0 mm x 1600.0 mm'
    """
    said = " x ".join(no_figure() if size is None else format_length(size, unit) for size in sizes_mm)
    return said if typed else f"{said} (by the rule)"


def reading_verdict(verdict: str, *, measured: bool) -> str:
    """Return the verdict of a reading in plain words."""
    if not measured:
        return "differs" if verdict == "differs" else "not checked"
    return READING_VERDICTS[verdict]


def cause(name: str, said: Sequence[str], probabilities: Sequence[float]) -> str:
    """Return what probably happened to one reading, with the probability of each cause.

    Examples
    --------
    >>> cause("width_top", ["Probably an inch too long.", "Perhaps none."], [0.97, 0.02])
    'width, top: Probably an inch too long (97 %). Perhaps none (2 %).'
    """
    parts = [f"{s.rstrip('.')} ({100 * p:.0f} %)." for s, p in zip(said, probabilities, strict=True) if p >= 0.005]
    return f"{name_of(name)}: {' '.join(parts)}"


def chart_key() -> str:
    """Return what the drawing beside a reading shows."""
    return (
        "Drawn: grey band, where the opening may lie without harm to this reading (the tolerance); bar, where the "
        "photo sees it (95 %); dot, the photo's figure; line in the middle, the reading."
    )


def chart_says(photo: str, verdict: str) -> str:
    """Return the drawing beside a reading in words, for who does not see it."""
    return f"photo {photo}: {verdict}"


def capital(text: str) -> str:
    """Return text that begins with a capital."""
    return text[:1].upper() + text[1:]


def spoken(job: str, headline_: str) -> str:
    """Return the line of a job whose report was written."""
    return f"{one_line(job)}: {headline_}"


def scale_words(value_mm: float, unit: Unit) -> str:
    """Return an end of the drawing's scale.

    Examples
    --------
    >>> scale_words(25.4, "in"), scale_words(-20.0, "mm")
    ('+1 in', '-20 mm')
    """
    size = abs(value_mm)
    text = format_length(size, unit) if unit == "in" else f"{size:.0f} mm"
    return f"{'-' if value_mm < 0 else '+'}{text}"


def photo_caption(file: str, *, measured: bool) -> str:
    """Return the caption of the photo."""
    said = "sides as traced, stations, references" if measured else "not measured; as it was taken"
    return f"{file_name(file)}: {said}"


def wall_caption() -> str:
    """Return the caption of the rectified wall."""
    return "the ordered size on the wall, true to scale"


def card_left_out(file: str) -> str:
    """Return that a photo is not shown because a card may be in view."""
    return f"{file_name(file)}: not shown in the report, as a card may be in view whose place is not known."


def continued(label: str) -> str:
    """Return the heading of an opening's further page."""
    return f"{label}, continued"


def opening_title(label: str) -> str:
    """Return the heading of an opening's page."""
    return f"Opening {label}"


def inputs_hash(sha256: str) -> str:
    """Return the line of the hash of an opening's inputs."""
    return f"inputs of this opening: {sha256}"


def privacy() -> str:
    """Return what was left out of the pictures."""
    return "Pictures are copies without the camera's data (place, serial number); a card used as reference is covered."


def foot() -> str:
    """Return the foot of every page."""
    return "Order from the tape's readings only. No certificate of safety or code."


def no_picture() -> str:
    """Return what stands in place of a picture."""
    return "No picture: there is no photo that could be used."


def written(files: Sequence[Path]) -> str:
    """Return where a report was written."""
    return "\n".join(f"Written: {one_line(str(file))}" for file in files)


def unknown_blank(photos: Sequence[str]) -> str:
    """Return that a box names a photo that is not in the job."""
    return (
        f"{', '.join(file_name(p) for p in photos)} is none of the job's photos: write the name as in the job "
        "file, so that nothing stays in view by a slip."
    )


def not_written(reason: str) -> str:
    """Return that a report could not be written."""
    return f"{one_line(reason)}. The report was not written."
