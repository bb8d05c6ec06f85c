"""Words of verdicts: of readings, openings and jobs, why they are so, and what to do next.

Terminal, pictures and result say the same because they say it from here. Functions take facts (names, codes,
millimetres and the job's unit) and return text.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from sizing.messages.check_warnings import TAKE_A_PHOTO
from sizing.messages.names import name_of, names_of
from sizing.messages.order_problems import in_short
from sizing.messages.photo_figures import about, at_least
from sizing.messages.tape_figure import tape_figure
from sizing.units import Unit

VERDICTS = {"send": "may be ordered", "hold": "stop: ask", "unproven": "the photo cannot tell"}
# In lists, where the reason is not said: no photo and missing readings are among them.
LISTED_VERDICTS = {**VERDICTS, "unproven": "cannot be told"}
NOT_CHECKED = "not checked yet"
READING_VERDICTS = {"agrees": "agrees", "differs": "differs", "unproven": "cannot tell"}
ENOUGH_SHEETS = 2
_ASK = "Ask before ordering."
_PRINT_FIRST = "put right what is noted of the print's scale; then run the check once more."
# What is wrong with an order beside readings that differ: something else, or what follows from them.
OrderBesides = Literal["", "wrong", "may-be-wrong"]
_ORDER_BESIDES: Mapping[OrderBesides, str] = {
    "": "",
    "wrong": " The order has a problem besides: put it right too, or ask.",
    "may-be-wrong": " What is said of the order hangs on these readings: look at it anew then.",
}
DECISIONS = {"send": "may be ordered", "hold": "stopped", "override": "ordered against the check"}
CAUTION = (
    "Order from the tape's readings only, never from a photo's figure. Mind ladders; escape openings and "
    "local codes are not checked here."
)


def verdict_of(verdict: str, has_photo: bool, why: str = "", *, readings: bool = True) -> str:
    """Return the verdict of an opening in plain words; `why` is its code, `readings` whether it has any.

    Examples
    --------
    >>> verdict_of("unproven", True), verdict_of("unproven", False)
    ('the photo cannot tell', 'not checked: no photo')
    >>> verdict_of("unproven", True, "readings-missing", readings=False)
    'pre-quote: no readings yet'
    """
    if verdict == "unproven" and not has_photo:
        return "not checked: no photo"
    if verdict == "unproven" and why == "readings-missing":
        return "readings are missing" if readings else "pre-quote: no readings yet"
    return VERDICTS[verdict]


def listed_verdict(verdict: str) -> str:
    """Return the verdict of an opening or job as lists say it; of one without a verdict that it was not checked.

    Examples
    --------
    >>> listed_verdict("hold"), listed_verdict("none")
    ('stop: ask', 'not checked yet')
    """
    return LISTED_VERDICTS.get(verdict, NOT_CHECKED)


def why_verdict(why: str, names: Sequence[str], reason: str) -> str:
    """Return one sentence on why an opening has its verdict.

    Parameters
    ----------
    why : str
        Code of `sizing.decision.judge_opening`, or `fault`.
    names : sequence of str
        Readings that carry it, or codes of the order's problems.
    reason : str
        What stood in the way of measuring, where something did.
    """
    listed = names_of(list(dict.fromkeys(names)))
    sentences = {
        "reading-differs": f"{'No opening has that size' if reason else 'The photo does not support the tape here'}: "
        f"{listed}.",
        "order-problem": f"The order has a problem: {in_short(names)}.",
        "readings-inconsistent": "No opening can have all these readings; "
        f"{'one of these' if len(names) > 1 else 'this one'} is off: {listed}.",
        "no-photo": reason or "No photo measures this opening.",
        "reading-unproven": f"The photo can neither support nor refute: {listed}.",
        "readings-missing": f"Readings are missing: {listed}." if names else "There are no readings.",
        "all-agree": "The photo supports every reading.",
        "agree-that-count": "The photo supports every reading that decides the size; it does not support "
        f"{listed}, which cannot change it.",
        "fault": reason,
    }
    return sentences.get(why, why)


def next_step(
    verdict: str,
    why: str,
    names: Sequence[str],
    *,
    doubtful: Sequence[str] = (),
    match: bool = False,
    sheets: int = 0,
    advised: bool = False,
    order: OrderBesides = "",
    untold: Sequence[str] = (),
    contrary: bool = False,
    print_open: bool = False,
) -> str:
    """Return what to do next with an opening, or nothing where nothing is to do.

    Parameters
    ----------
    verdict, why : str
        As of `sizing.decision.judge_opening`.
    names : sequence of str
        Readings to take again, or codes of the order's problems.
    doubtful : sequence of str
        Sides with a rival line, where the verdict may hang on which one is meant.
    match : bool
        Whether tape and photo say the same within their uncertainties, so that the tape is not suspect.
    sheets : int
        Printed sheets in view.
    advised : bool
        Whether the cheapest remedy is said besides.
    order : str
        What is wrong with the order beside readings that differ.
    untold : sequence of str
        Readings to take again beside a problem of the order.
    contrary : bool
        Whether photos of the opening contradict each other, so that none of them tells anything.
    print_open : bool
        Whether most of the uncertainty is the print's scale, of which a note says more: another photo leaves it open.
    """
    listed = names_of(names)
    look = _look(doubtful) if doubtful else ""
    again = f"Measure again: {listed}; then run the check once more."
    photo = _PRINT_FIRST if print_open else _another_photo(sheets)
    if contrary:
        unproven = (
            "Look which photo is of another opening or has a corner on another line; then run the check once more."
        )
    elif match and not look:
        unproven = "Tape and photo match; the photo is only too vague to vouch for the tape."
        unproven += "" if advised else f" {photo[0].upper()}{photo[1:]}"
    else:
        unproven = f"{look}Or {photo}" if look else f"Measure again: {listed}; or {photo}"
    steps = {
        "no-photo": "",
        "reading-differs": f"Do not order. {look}{again}{_ORDER_BESIDES[order]}",
        "readings-inconsistent": f"Do not order. Measure again: {listed}.",
        "reading-unproven": unproven,
        "readings-missing": "Take the missing readings; three widths and three heights are needed.",
    }
    if why == "order-problem":
        too = f" Measure again too, as the photo cannot tell: {names_of(untold)}." if untold and not match else ""
        if names and all(code.startswith("typed-") for code in names):
            return f"The typed order is not the job's: see the end of this job. Put it right before it goes out.{too}"
        return f"Do not order it as it stands: put the order right, or ask; then run the check once more.{too}"
    return "" if verdict == "send" else steps.get(why, _ASK)


def _look(sides: Sequence[str]) -> str:
    """Return the request to look at the lines of sides that have a rival."""
    if len(sides) == 1:
        asked = f"is the {name_of(sides[0])} drawn on the right line? Give corners exactly on that one"
        return f"Look at the picture: {asked} (click_px = 1 in the job). "
    listed = " and ".join(name_of(side) for side in sides)
    asked = f"are {listed} drawn on the right lines? Give corners exactly on those"
    return f"Look at the picture: {asked} (click_px = 1 in the job). "


def _another_photo(sheets: int) -> str:
    """Return what photo to take, with so many printed sheets in view of the last one."""
    if sheets < ENOUGH_SHEETS:
        return TAKE_A_PHOTO[0].lower() + TAKE_A_PHOTO[1:]
    return (
        "take another photo, nearer and squarer to the wall, with the whole opening and all sheets in view and sharp."
    )


def ask_where_they_stood(side: str, verdict: str, otherwise: str, others: Sequence[str]) -> str:
    """Return what to do next where left and right look as seen from the other side of the wall.

    `side` is where the crew would have stood; `otherwise` the step without that cause; `others` readings that are off
    by another one.

    Examples
    --------
    >>> ask_where_they_stood("inside", "unproven", "Measure again.", []).split(". ")[0]
    'Ask the crew where they stood: left and right look as seen from inside'
    """
    stop = "Do not order. "
    rest = otherwise.removeprefix(stop)
    again = f" Measure again in any case: {names_of(others)}." if others else ""
    return (
        f"{stop if verdict == 'hold' else ''}Ask the crew where they stood: left and right look as seen from {side}. "
        f'If they stood there, set seen_from = "{side}" in the job (or the visit) and run the check once more. If not, '
        f"{rest[0].lower()}{rest[1:]}{again}"
    )


def reading_differs(
    name: str, tape_mm: float, photo: tuple[float, float] | None, unit: Unit, *, written: str = ""
) -> str:
    """Return the line of a reading that the photo does not support; `photo` is value and U95 in mm."""
    said = f"{name_of(name)}: the tape says {tape_figure(written, tape_mm, unit)}; "
    if photo is None:
        return said + "no opening has that size."
    return said + f"the photo does not support it (it sees {about(*photo, unit)})."


def reading_unproven(
    name: str,
    tape_mm: float,
    photo: tuple[float, float],
    unit: Unit,
    *,
    sides: Sequence[str],
    slip_mm: float | None,
    written: str = "",
) -> str:
    """Return the line of a reading that the photo can neither support nor refute; `written` is how it was put down.

    `sides`: those whose line may be the wrong one; `slip_mm`: the error that would be seen, if any.
    """
    said = f"{name_of(name)}: the tape says {tape_figure(written, tape_mm, unit)}; the photo cannot tell"
    seen = f"it sees {about(*photo, unit)}"
    if sides:
        return f"{said}, as more than one line could be the {' or the '.join(name_of(s) for s in sides)} ({seen})."
    if slip_mm is None or not math.isfinite(slip_mm):
        return f"{said} ({seen}: too vague)."
    return f"{said} ({seen}; it would be sure of an error of {at_least(slip_mm, unit)} or more)."


def would_have_stopped(slip_mm: float, unit: Unit, *, diagonals_mm: float | None = None) -> str:
    """Return what error would have been caught; `slip_mm` is the largest of the smallest slips."""
    text = f"An error of {at_least(slip_mm, unit)} or more would have stopped this order"
    if diagonals_mm is not None and at_least(diagonals_mm, unit) != at_least(slip_mm, unit):
        text += f" (of a diagonal: {at_least(diagonals_mm, unit)})"
    return text + "."


def job_summary(counts: Mapping[str, int]) -> str:
    """Return the closing line of a job with several openings.

    Examples
    --------
    >>> job_summary({"send": 2, "hold": 1, "unproven": 0})
    '3 openings: 2 may be ordered, 1 stop and ask'
    """
    parts = [f"{counts[v]} {words.replace(': ', ' and ')}" for v, words in LISTED_VERDICTS.items() if counts.get(v)]
    total = sum(counts.values())
    return f"{total} opening{'' if total == 1 else 's'}: " + ", ".join(parts)
