"""A reading of the tape in words: as a length, and as it was put down."""

from __future__ import annotations

from sizing.messages.one_line import one_line
from sizing.units import Unit, format_length


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
