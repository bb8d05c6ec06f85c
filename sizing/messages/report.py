"""Words of the report: title, headings, the method in five lines, and what is said when it is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from sizing.messages.one_line import one_line, place
from sizing.units import Unit

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
    "decided": "decided, released",
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


def budget_heading(unit: Unit) -> str:
    """Return the heading over where the photo's uncertainty comes from."""
    return f"Where the photo's uncertainty comes from (standard uncertainties, {unit})"


def fact_name(key: str) -> str:
    """Return the name of a fact of job or opening; free keys are named as they are.

    Examples
    --------
    >>> fact_name("measured_by"), fact_name("extra.gate")
    ('measured by', 'gate')
    """
    return _FACTS.get(key) or one_line(key.removeprefix("extra."))


def input_kind(kind: str) -> str:
    """Return what a file is."""
    return _INPUTS.get(kind, kind.replace("-", " "))


def no_hash() -> str:
    """Return what stands in place of the hash of a file that could not be read."""
    return "could not be read"


def found_by(code: str) -> str:
    """Return where the edges come from."""
    return {
        "photo": "found by itself in the photo: check that it is the right opening",
        "corners": "traced from the corners given",
        "clicked": "as clicked, no side traced",
    }.get(code, code)


def alone(text: str) -> str:
    """Return what a table says without a full stop as a sentence."""
    return f"{text}."


def capital(text: str) -> str:
    """Return text that begins with a capital."""
    return text[:1].upper() + text[1:]


def spoken(job: str, headline_: str) -> str:
    """Return the line of a job whose report was written."""
    return f"{one_line(job)}: {headline_}"


def continued(label: str) -> str:
    """Return the heading of an opening's further page."""
    return f"{label}, continued"


def opening_title(label: str) -> str:
    """Return the heading of an opening's page."""
    return f"Opening {label}"


def inputs_hash(sha256: str) -> str:
    """Return the line of the hash of an opening's inputs."""
    return f"inputs of this opening: {sha256}"


def foot() -> str:
    """Return the foot of every page."""
    return "Order from the tape's readings only. No certificate of safety or code."


def written(files: Sequence[Path]) -> str:
    """Return where a report was written."""
    return "\n".join(f"Written: {place(file)}" for file in files)


def not_written(reason: str) -> str:
    """Return that a report could not be written."""
    return f"{one_line(reason)}. The report was not written."
