"""The print scale of sheets by the outline of their paper: said when not 100 %, used when no bar was measured.

Paper is cut to a tolerance (ISO 216: +-2 mm), so the outline tells 'fit to page' but not a few tenths of a per cent.
Where it cannot tell them apart, both stand, each with its probability (`vision.printed_scale`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.adjustment import adjust
from vision.observations import PriorBlock
from vision.printed_scale import U_PRINT_SCALE, printed_scale
from vision.priors import print_block
from vision.request import CheckBar, Warning_
from vision.sheets.paper_outline import PageScale, page_scale
from vision.solving.solved import Solved
from vision.solving.unlike_sheets import DISAGREE, is_size

CLEAR = 4.0  # standard deviations from the bars, or of the bars from 100 %
LIKELY, WORTH_A_WORD = 0.5, 0.05  # probability of another scale than 100 %: how it is said
NAMES = {"letter": "US Letter", "a4": "A4"}


def scaled_by_outline(rgb: NDArray[np.uint8], solved: Solved, bar: CheckBar) -> Solved:
    """Return solved sheets with what the outlines of their paper say of the print scale.

    Without measured bars an outline that is clearly not at 100 % replaces the prior, one that is joins it, and what
    lies between is a mixture of both. With bars it is compared: where they contradict each other one of both is wrong
    and nothing tells which, so the bars' value stands and its uncertainty holds the other one.
    """
    state = solved.adjusted.state
    by_sheet = [(name, page_scale(rgb, state, i)) for i, name in enumerate(solved.names)]
    agreed = _agreed([s for _, s in by_sheet if s is not None])
    by_sheet = [(name, _of_its_own(s, solved.scales[i : i + 1])) for i, (name, s) in enumerate(by_sheet)]
    place = next((n for n, b in enumerate(solved.blocks) if is_size(b)), None)
    if place is None:
        return solved
    seen = [(name, s) for name, s in by_sheet if s is not None]
    if (apart := _apart([s for _, s in seen])) > 0:
        return _printed_unlike(solved, place, seen, apart)
    if agreed is None:
        return solved
    return _by_outline(solved, place, agreed) if bar == CheckBar() else _beside_bars(solved, place, agreed, bar)


def _printed_unlike(solved: Solved, place: int, seen: Sequence[tuple[str, PageScale]], apart: float) -> Solved:
    """Return sheets whose outlines show scales that lie apart, with the uncertainty of either."""
    each = " and ".join(f"{name} at {_percent(*s.common)}" for name, s in seen)
    says = (
        f"by the outlines of their paper the sheets were not printed alike, {each}; one of them makes every size "
        "wrong, and the uncertainty says so: print all sheets in one go at 100 % ('actual size'), or leave the "
        "other one out of the photo, and take it again"
    )
    warned = (*(w for w in solved.warnings if w.code != DISAGREE), Warning_("print-scale", says))
    named = replace(solved, warnings=warned, scale_seen=True)
    return named if solved.scales else _either(named, place, apart)


def _beside_bars(solved: Solved, place: int, agreed: PageScale, bar: CheckBar) -> Solved:
    """Return sheets whose bars were measured, compared with their outline."""
    scale, u = agreed.common
    told, u_told = _by_bars(bar)
    if abs(scale - told) <= CLEAR * np.hypot(u, 0.001):
        if abs(told - 1) <= CLEAR * U_PRINT_SCALE:
            return solved
        says = (
            f"the sheet was printed at {_percent(told, u_told)}, not at 100 %: bars and outline of the paper agree, "
            "and the bars were used; print it again at 100 % ('actual size') for the next job"
        )
        return replace(solved, warnings=(*solved.warnings, Warning_("print-scale", says)))
    says = (
        f"by the outline of its {NAMES[agreed.paper]} paper the sheet was printed at {_percent(scale, u)}, by the bars "
        f"at {_percent(told, u_told)}; the bars were used, but sizes are no surer than that: measure them again, on "
        "this very sheet"
    )
    doubted = replace(solved, warnings=(*solved.warnings, Warning_("print-scale", says)))
    return _either(doubted, place, abs(scale - told))


def _by_bars(bar: CheckBar) -> tuple[float, float]:
    """Return the scale by the bars that were measured, their mean, with its standard uncertainty."""
    bars = [(q, nominal) for q, nominal in ((bar.across, 150.0), (bar.along, 200.0)) if q is not None]
    told = float(np.mean([q.value_mm / nominal for q, nominal in bars]))
    return told, float(np.linalg.norm([q.u_mm / nominal for q, nominal in bars])) / len(bars)


def _by_outline(solved: Solved, place: int, agreed: PageScale) -> Solved:
    """Return sheets whose bars nobody measured, adjusted with what their outline says of the scale."""
    by_outline = printed_scale(
        np.array([agreed.across - 1, agreed.along - 1]), np.array([agreed.u_across, agreed.u_along])
    )
    value, u_value, other = by_outline.value, by_outline.u, by_outline.other
    known = print_block(by_outline)
    warned = solved.warnings
    if other > WORTH_A_WORD:
        was = "was" if other > LIKELY else "may have been"
        says = (
            f"by the outline of its {NAMES[agreed.paper]} paper the sheet {was} printed at {_percent(*agreed.common)}, "
            f"not at 100 %; the measure goes on with {_percent(1 + float(value.mean()), float(u_value.max()))}: "
            "measure both bars and enter them, or print it again at 100 % ('actual size')"
        )
        warned = (*warned, Warning_("print-scale", says))
    blocks = (*solved.blocks[:place], known, *solved.blocks[place + 1 :])
    start = replace(solved.adjusted.state, size=known.value.copy())
    result = adjust(blocks, start, iterations=30, near=True)
    return replace(solved, adjusted=result, blocks=blocks, warnings=warned, scale_seen=True)


def _percent(scale: float, u: float) -> str:
    return f"{100 * scale:.1f} % (U95 {200 * u:.1f} %)"


def _either(solved: Solved, place: int, apart: float) -> Solved:
    """Return the photo with a scale that is as likely wrong by `apart` (relative) as it is right: rms about it."""
    known = solved.blocks[place]
    if not isinstance(known, PriorBlock):
        return solved
    u = np.hypot(known.u, apart / np.sqrt(2))
    together = np.full((2, 2), (apart**2 / 2) / (u[0] * u[1]))  # both directions alike
    np.fill_diagonal(together, 1.0)
    blocks = (*solved.blocks[:place], replace(known, u=u, correlation=together), *solved.blocks[place + 1 :])
    return replace(solved, adjusted=adjust(blocks, solved.adjusted.state, iterations=30, near=True), blocks=blocks)


def _of_its_own(seen: PageScale | None, own: Sequence[float]) -> PageScale | None:
    """Return the print scale of a sheet by its outline, where the adjustment gave it a scale of its `own` (0 or 1)."""
    if seen is None or not own:
        return seen
    return replace(seen, across=seen.across * (1 + own[0]), along=seen.along * (1 + own[0]))


def _apart(seen: Sequence[PageScale]) -> float:
    """Return how far the scales of sheets lie apart where that is sure: they were printed one by one; else 0."""
    by_scale = sorted(s.common for s in seen)
    if not by_scale:
        return 0.0
    (low, u_low), (high, u_high) = by_scale[0], by_scale[-1]
    return high - low if high - low > CLEAR * np.hypot(u_low, u_high) else 0.0


def _agreed(seen: Sequence[PageScale]) -> PageScale | None:
    """Return one scale for all sheets, printed and cut alike; None where their outlines disagree."""
    if not seen or len({s.paper for s in seen}) > 1:
        return None
    across, along = np.array([s.across for s in seen]), np.array([s.along for s in seen])
    if max(np.ptp(across), np.ptp(along)) > 0.02:
        return None
    return replace(seen[0], across=float(across.mean()), along=float(along.mean()))
