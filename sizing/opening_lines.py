"""Lines on one opening that the terminal and the report share: its warnings, its tolerance, what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sizing.messages import terminal_view
from sizing.messages.remedy import remedy_says
from sizing.messages.tolerance import tolerance_says
from sizing.outcome import OpeningResult
from sizing.photoresults import PhotoResult
from sizing.remedy import Advice
from sizing.units import Unit
from vision.request import Warning_

# Said elsewhere in the view already.
_SAID_ALREADY = frozenset({"readings-missing"})


def opening_warnings(result: OpeningResult) -> list[Warning_]:
    """Return the warnings of an opening and its photos, each once, but for what is said elsewhere."""
    return [w for w in all_warnings(result.warnings, result.photos) if w.code not in _SAID_ALREADY]


def tolerance_words(result: OpeningResult, unit: Unit) -> str:
    """Return the tolerance that the readings of an opening were judged by."""
    wide, high, across = (result.tolerance.of(group) for group in ("width", "height", "diagonal"))
    return tolerance_says(wide, high, across, unit)


def advice_line(advice: Advice, unit: Unit) -> str:
    """Return the one action that would settle an opening, as a sentence."""
    before, after = advice.U95_before_mm, advice.U95_after_mm
    return remedy_says(advice.steps, advice.name, before, after, unit, settles=advice.settles, thing=advice.thing)


def all_warnings(own: Iterable[Warning_], photos: Sequence[PhotoResult]) -> list[Warning_]:
    """Return all warnings once, those of photos after the opening's own; of several photos each with its file.

    Of one among several that was not used nothing is said but why.
    """
    found = {w.message: w for w in own}
    for photo in photos:
        if photo.report is None or (len(photos) > 1 and photo.error is not None):
            continue
        for w in photo.report.warnings:
            named = len(photos) > 1 and photo.file not in w.message
            says = terminal_view.of_photo(photo.file, w.message) if named else w.message
            found.setdefault(w.message, replace(w, message=says))
    return list(found.values())
