"""Words of the cross-check: readings against each other, against the photo, and over a whole job."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.crosscheck.job_tests import CommonTest
from sizing.messages.names import name_of
from sizing.messages.one_line import one_line
from sizing.units import Unit, format_length, format_uncertainty


def outliers_found(groups: Sequence[Sequence[str]], *, with_photo: bool, besides: bool = False) -> str:
    """Return which readings stand out when all are tested together though none of them differs by itself.

    `besides`: others differ by themselves and are to be measured again already.

    Examples
    --------
    >>> outliers_found([["width_top"]], with_photo=True)
    'Readings and photo do not fit together: width, top stands out. Read it again.'
    """
    what = "Readings and photo do not fit together" if with_photo else "The readings do not fit each other"
    if besides:
        what = f"Besides, {what[0].lower()}{what[1:]}"
    parts = [_group(group) for group in groups]
    verb = "stand" if len(parts) > 1 else "stands"
    named = {name for group in groups for name in group}
    read = named - _LINES.keys() - {_SCALE}
    steps = [f"Read {'them' if len(read) > 1 else 'it'} again{' too' if besides else ''}."] if read else []
    if named & _LINES.keys():
        steps.append("Look at the line in the picture: is it the edge that the tape touched?")
    if _SCALE in named:
        steps.append("Check the reference, its declared size and how flat it lies.")
    return f"{what}: {' and '.join(parts)} {verb} out. {' '.join(steps)}"


def nothing_stands_out(*, besides: bool = False) -> str:
    """Return that the joint test fails and no single reading explains it; `besides` as of `outliers_found`."""
    return (
        f"{'Besides, the other readings' if besides else 'Readings'} and photo do not fit together, and no single "
        "reading explains it. Look at the photo's lines and at the reference, and read again."
    )


def fits_other_edge(side: str, shift_mm: float, units: Unit) -> str:
    """Return that the readings fit the photo only with another of its edges."""
    length, way = format_length(abs(shift_mm), units), "out" if shift_mm > 0 else "in"
    return (
        f"The readings fit the photo only if its {name_of(side)} is another line, about {length} further {way}. "
        "Look at the picture and point to the edge that the tape touched."
    )


def common_part(test: CommonTest, units: Unit) -> str:
    """Return what the test of one common part of a job says, and what to do.

    Examples
    --------
    >>> quiet = CommonTest("tape_zero", "class-2", 0.2, 0.6, 0.4, 0.3, 3.6, 4.0, False, ("W1", "W2"))
    >>> common_part(quiet, "mm")
    'Tape class-2: nothing found; a shift of 4.0 mm or more would have been seen.'
    """
    who = f"Print {test.of}" if test.kind == "print_scale" else f"Tape {one_line(test.of)}"
    if not test.found:
        if not test.least < 1e6:
            return f"{who}: cannot be told from what was found already."
        least = format_length(test.least, units) if test.kind == "tape_zero" else _percent(test.least)
        kind = "shift" if test.kind == "tape_zero" else "ratio"
        return f"{who}: nothing found; a {kind} of {least} or more would have been seen."
    where = ", ".join(one_line(label) for label in test.labels)
    more = "more" if test.value > 0 else "less"
    if test.kind == "tape_zero":
        size, spread = format_length(abs(test.value), units), format_uncertainty(2.0 * test.u, units)
        what = f"the tape reads about {size} (+-{spread}) {more} than the photos at every length"
    else:
        what = f"the tape reads {_percent(abs(test.value))} (+-{_percent(2.0 * test.u)}) {more} than the photos"
    causes = list(dict.fromkeys(_CAUSES[kind] for kind, _ in test.group or ((test.kind, test.of),)))
    others = f" ({'; '.join(causes[1:])} would look the same)" if len(causes) > 1 else ""
    kinds = [kind for kind, _ in test.group] or [test.kind]
    return f"{where}: {what}. Suspect {causes[0]}{others}. {_REMEDIES[kinds[0]]} No reading is changed by this."


def another_opening(fits: Sequence[str], *, exchanged: bool) -> str:
    """Return that the readings of an opening fit the photo of another.

    Examples
    --------
    >>> another_opening(["W3"], exchanged=False)
    'These readings fit the photo of W3 far better than their own. Look at both openings before anything is ordered.'
    """
    photos = " or ".join(one_line(label) for label in fits)
    turn = f", and those of {one_line(fits[0])} fit this one's" if exchanged else ""
    return (
        f"These readings fit the photo of {photos} far better than their own{turn}. Look at both openings before "
        "anything is ordered."
    )


_LINES = {"photo_jambs": "a jamb as the photo sees it", "photo_head_or_sill": "head or sill as the photo sees it"}
_SCALE = "photo_scale"
_CAUSES = {
    "print_scale": "the print or the declared size of the reference",
    "tape_zero": "the hook, bent or packed, or a tape not started at its end",
    "tape_scale": "the blade of the tape, worn or stretched",
}
_REMEDIES = {
    "print_scale": "Measure the printed bars (150 mm across, 200 mm along) or the reference and enter what you find.",
    "tape_zero": "Check the hook against a known length.",
    "tape_scale": "Check the tape against another over its whole length.",
}


def _percent(ratio: float) -> str:
    return f"{100.0 * ratio:.2f} %"


def _group(names: Sequence[str]) -> str:
    said = ["the scale of the photo" if name == _SCALE else _LINES.get(name) or name_of(name) for name in names]
    return said[0] if len(said) == 1 else f"either {'; '.join(said[:-1])} or {said[-1]} (which one cannot be told)"
