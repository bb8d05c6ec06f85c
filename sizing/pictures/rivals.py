"""Which of the lines that a side could be are worth showing and offering."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from vision.request import Candidate, PhotoReport

# Lines of less weight are not shown (guess).
LEAST_WEIGHT = 0.02
SAME_MM = 0.01


def with_shown_rivals(report: PhotoReport, candidates: Sequence[Candidate]) -> PhotoReport:
    """Return a report with those of its other lines that have weight enough among the candidates of all photos."""
    shown = tuple(
        (side, shift, ends)
        for side, shift, ends in report.rivals_px
        if any(
            c.side == side and c.weight >= LEAST_WEIGHT and math.isclose(c.shift_mm, shift, abs_tol=SAME_MM)
            for c in candidates
        )
    )
    return replace(report, rivals_px=shown)
