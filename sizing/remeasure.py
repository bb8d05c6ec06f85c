"""The request to measure again: which readings, what was read, what to look out for; never the number to find."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from sizing.explaining.slips import NONE
from sizing.judging import ReadingResult
from sizing.messages import remeasure as messages
from sizing.messages.tape_figure import typed_figure
from sizing.units import Unit

# Contract, Decision: below this a reading cannot change the order.
_CHANGES = 0.01
# A slip is named to the crew when it is likelier than not; below, the usual care is asked for (guess).
LIKELIER_THAN_NOT = 0.5


@dataclass(frozen=True, slots=True)
class Again:
    """One reading to take again: its name, what was read, what to look out for; `named` after a slip."""

    name: str
    read_mm: float
    written: str
    look_out: str
    named: bool = False


def again(readings: Sequence[ReadingResult], standing_out: Collection[str] = ()) -> tuple[Again, ...]:
    """Return the readings of one opening to take again, in the order of the form.

    Parameters
    ----------
    readings : all readings of the opening as judged.
    standing_out : names of those that stand out when all are tested together.

    Returns
    -------
    tuple of Again
        Those that hold the order, and those that the photo can neither support nor refute; what cannot change
        the order is left out, and where nothing holds it what a photo is only too vague for (`only_vague`),
        unless it stands out. The photo's figures and the sizes that would fit are not in it: who knows the number
        finds it.
    """
    found = []
    idle = only_vague(readings) and not any(result.holds for result in readings)
    for result in readings:
        suspect = not idle or result.reading.name in standing_out
        doubtful = result.judgement.verdict == "unproven" and result.judgement.photo_mm is not None and suspect
        if result.holds or (doubtful and (result.p_changes is None or result.p_changes >= _CHANGES)):
            slip = named_slip(result)
            length = result.reading.length
            watch = messages.look_out(slip or None)
            found.append(Again(result.reading.name, length.mm, length.as_written, watch, bool(slip)))
    return tuple(found)


def only_vague(readings: Sequence[ReadingResult]) -> bool:
    """Return whether all readings that cannot be told match the photo (E_n to 1, ISO 13528) and no slip is named.

    Then the tape is not suspect, and to measure again would change nothing.
    """
    suspect = [r for r in readings if r.judgement.verdict == "unproven"]
    return bool(suspect) and all(
        r.judgement.e_n is not None and r.judgement.e_n <= 1.0 and not named_slip(r) for r in suspect
    )


def named_slip(result: ReadingResult) -> str:
    """Return the likeliest slip of a reading that is not borne out, nothing where none is likelier than not."""
    best = result.likely[0] if result.likely and result.judgement.verdict != "agrees" else None
    return best.slip if best is not None and best.slip != NONE and best.probability >= LIKELIER_THAN_NOT else ""


def unexplained(result: ReadingResult) -> bool:
    """Return whether 'another cause' is likelier than any slip of a reading that is not borne out."""
    return result.judgement.verdict != "agrees" and bool(result.likely) and result.likely[0].slip == NONE


def request(
    label: str,
    readings: Sequence[ReadingResult],
    unit: Unit,
    *,
    job: str = "",
    on: date | None = None,
    standing_out: Collection[str] = (),
) -> str:
    """Return the text for the crew on one opening, empty where nothing is to be measured again.

    What is to be looked out for stands once, below the readings that it is said of. It names the job and the day on
    which it was measured, where they are given: a crew has more than one W1.
    """
    asked: dict[str, list[str]] = {}
    for a in again(readings, standing_out):
        asked.setdefault(a.look_out, []).append(messages.item(a.name, typed_figure(a.written, a.read_mm, unit)))
    items = [line for look_out, read in asked.items() for line in messages.items(read, look_out)]
    return messages.request(label, items, job=job, on=on)
