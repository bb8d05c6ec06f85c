"""Lengths within a sentence, in the unit that people of the job read."""

from __future__ import annotations

import re

from sizing.units import INCH_MM, Unit, format_length, format_uncertainty

# Not those of a standard (210 x 297 mm), of a lens (28 mm in 35 mm terms), or of the printed bars.
_LENGTH = re.compile(
    r"(?P<before>\+- |known to |, )?(?<!x )\b(?P<mm>\d+(?:\.\d+)?) mm\b(?P<after> of it from this)?"
    r"(?! in 35| in the p| terms| x | bar| and 200)(?= \+- (?P<u>\d+(?:\.\d+)?) mm)?"
)
# A length is told no finer than its uncertainty (JCGM 100, 7.2.6): from so many mm on in such parts of an inch.
_PARTS = ((6.0, 8), (2.0, 16))


def in_unit(text: str, unit: Unit) -> str:
    """Return a sentence of `vision`, whose lengths are in mm, as people of a job in `unit` read it.

    Uncertainties are rounded up, lengths to the nearest 1/32 in, or 1/16 or 1/8 in where they are that uncertain.

    Examples
    --------
    >>> in_unit("the head stands 19 mm +- 4 mm in front of the wall, not 0 mm as declared", "in")
    'the head stands 3/4 in +- 3/16 in in front of the wall, not 0 in as declared'
    >>> in_unit("an ultra-wide lens (18 mm in 35 mm terms)", "in")
    'an ultra-wide lens (18 mm in 35 mm terms)'
    """
    return text if unit == "mm" else _LENGTH.sub(_inches, text)


def _inches(found: re.Match[str]) -> str:
    before, after, mm = found["before"] or "", found["after"] or "", float(found["mm"])
    unsure = before not in ("", ", ") or bool(after)
    parts = next((parts for least, parts in _PARTS if float(found["u"] or 0.0) >= least), 0)
    told = round(mm / INCH_MM * parts) * INCH_MM / parts if parts else mm
    return before + (format_uncertainty(mm, "in") if unsure else format_length(told, "in")) + after
