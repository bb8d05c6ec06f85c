"""The print scale of sheets by the outline of their paper: said when not 100 %, used when no bar was measured.

Paper is cut to a tolerance (ISO 216: +-2 mm), so the outline tells 'fit to page' but not a few tenths of a per cent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.adjustment import adjust
from vision.observations import SIZE, PriorBlock
from vision.page_outline import PageScale, page_scale
from vision.priors import U_PRINT_SCALE
from vision.request import CheckBar, Warning_
from vision.solved import Solved

CLEAR = 4.0  # standard deviations from 100 %, or from the bars
NAMES = {"letter": "US Letter", "a4": "A4"}


def scaled_by_outline(rgb: NDArray[np.uint8], solved: Solved, bar: CheckBar) -> Solved:
    """Return solved sheets with what the outlines of their paper say of the print scale.

    Without measured bars an outline that is clearly not at 100 % replaces the prior, and one that is joins it; with
    bars it is only compared.
    """
    state = solved.adjusted.state
    seen = [s for i in range(len(solved.names)) if (s := page_scale(rgb, state, i)) is not None]
    agreed = _agreed(seen)
    place = next((n for n, b in enumerate(solved.blocks) if _is_size(b)), None)
    if agreed is None or place is None:
        return solved
    scale, u = agreed.common
    if bar != CheckBar():
        by_bars = [q.value_mm / nominal for q, nominal in ((bar.across, 150.0), (bar.along, 200.0)) if q is not None]
        told = float(np.mean(by_bars))
        if abs(scale - told) <= CLEAR * np.hypot(u, 0.001):
            if abs(scale - 1) <= CLEAR * np.hypot(u, U_PRINT_SCALE):
                return solved
            says = (
                f"the sheet was printed at {100 * told:.1f} %, not at 100 %: bars and outline of the paper agree, and "
                "the bars were used; print it again at 100 % ('actual size') for the next job"
            )
            return replace(solved, warnings=(*solved.warnings, Warning_("print-scale", says)))
        says = (
            f"by the outline of its {NAMES[agreed.paper]} paper the sheet was printed at {100 * scale:.1f} %, by the "
            f"bars at {100 * told:.1f} %; the bars were used: measure them again, on this very sheet"
        )
        return replace(solved, warnings=(*solved.warnings, Warning_("print-scale", says)))
    if abs(scale - 1) > CLEAR * np.hypot(u, U_PRINT_SCALE):
        known = PriorBlock(
            np.arange(SIZE.start, SIZE.stop),
            np.full(2, scale - 1),
            np.full(2, np.hypot(u, U_PRINT_SCALE)),
            "print_scale",
        )
        says = (
            f"by the outline of its {NAMES[agreed.paper]} paper the sheet was printed at {100 * scale:.1f} % (U95 "
            f"{200 * u:.1f} %), not at 100 %; the measure goes on with that: measure both bars and enter them, or "
            "print it again at 100 % ('actual size')"
        )
        warned = (*solved.warnings, Warning_("print-scale", says))
    else:
        w = np.array([[U_PRINT_SCALE, U_PRINT_SCALE], [agreed.u_across, agreed.u_along]]) ** -2.0
        value = (w[1] * [agreed.across - 1, agreed.along - 1]) / w.sum(0)
        known = PriorBlock(np.arange(SIZE.start, SIZE.stop), value, w.sum(0) ** -0.5, "print_scale")
        warned = solved.warnings
    blocks = (*solved.blocks[:place], known, *solved.blocks[place + 1 :])
    start = replace(state, size=known.value.copy())
    return replace(
        solved, adjusted=adjust(blocks, start, iterations=30), blocks=blocks, warnings=warned, scale_seen=True
    )


def _is_size(block: object) -> bool:
    return isinstance(block, PriorBlock) and list(block.index) == list(range(SIZE.start, SIZE.stop))


def _agreed(seen: Sequence[PageScale]) -> PageScale | None:
    """Return one scale for all sheets, printed and cut alike; None where their outlines disagree."""
    if not seen or len({s.paper for s in seen}) > 1:
        return None
    across, along = np.array([s.across for s in seen]), np.array([s.along for s in seen])
    if max(np.ptp(across), np.ptp(along)) > 0.02:
        return None
    return replace(seen[0], across=float(across.mean()), along=float(along.mean()))
