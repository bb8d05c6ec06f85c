"""How far behind the step that is seen the inner face of each side begins: by its arris, where the light tells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from vision.request import Side
from vision.sides.arris import RESOLVED_MM_PER_PX, find_arris, offsets_px, step_blur_px
from vision.sides.finding import FoundSide, room_px
from vision.sides.place import place_line, stack_profile
from vision.sides.usual_arris import Round, UsualArris, read_round, usual_arrises

ARRIS_MM, ARRIS_PX = 4.5, 1.5  # lines nearer than this may be the two ends of one rounded arris
USUAL_BLUR_PX = 1.0  # guess: lens, pixel and sampling of the strip together
SAMPLED_PX = 0.35  # guess: blur that sampling the strip adds
JITTER_SHARE = 0.7  # guess: how much of the roughness that is not followed widens the mean profile


@dataclass(frozen=True, slots=True)
class InnerEdge:
    """Where the inner face begins against the step as placed, mm outward, and what it adds to the offset's u.

    `u_arris_mm`: u of the same where what is usual of arrises stands in it; None: that is another's to state.
    `arris_with_mm2`: covariance of the same with other sides.
    """

    shift_mm: float = 0.0
    u_offset_mm: float = 0.0
    u_arris_mm: float | None = None
    arris_with_mm2: Mapping[Side, float] = field(default_factory=dict)


def inner_edges(found: Mapping[Side, FoundSide], blur_px: tuple[float, float] | None) -> dict[Side, InnerEdge]:
    """Return the inner edge of each side that was found.

    Parameters
    ----------
    blur_px : spread of sharp edges in the photo, of those that run up and down and of those that run across; None: not
        known.

    Notes
    -----
    A photo that resolves an arris shows its round; what a coarser one leaves open is held together for all sides.
    """
    fine = {s: f for s, f in found.items() if f.strip.mm_per_px <= RESOLVED_MM_PER_PX}
    coarse = {s: f for s, f in found.items() if s not in fine}
    return _resolved(fine, found) | _usual(coarse, found, blur_px)


def _resolved(fine: Mapping[Side, FoundSide], found: Mapping[Side, FoundSide]) -> dict[Side, InnerEdge]:
    if not fine:
        return {}
    blur = min(map(_blur, found.values()))
    edges = {}
    for side, f in fine.items():
        mm = f.strip.mm_per_px
        spread, inner, outer = _as_seen(f, blur)
        arris = find_arris(f.profile, spread, float(np.clip(inner, 2, 6)), float(np.clip(outer, 3, 7)), mm)
        edges[side] = InnerEdge(arris.shift_px * mm, arris.u_px * mm) if arris else InnerEdge()
    return edges


def _blur(found: FoundSide) -> float:
    """Return the blur px of the sharpest clear line of a strip: the photo's own blur is no more than that."""
    least = step_blur_px(found.profile)
    mm = found.strip.mm_per_px
    if mm > RESOLVED_MM_PER_PX:
        return least
    clear = [i for i, x in enumerate(found.lines) if x.contrast > 0.05 and x.t_value > 10 and x.coverage > 0.9]
    for i in [i for i in clear if i != found.best][:2]:
        placed = place_line(found.strip, found.lines[i].shape, *room_px(found.lines, i, mm))
        if placed is not None:
            least = min(least, step_blur_px(stack_profile(found.strip, placed, offsets_px())))
    return least


def _usual(
    coarse: Mapping[Side, FoundSide], found: Mapping[Side, FoundSide], blur_px: tuple[float, float] | None
) -> dict[Side, InnerEdge]:
    """Return the inner edges of sides in a coarse photo, blurred no more than its sharpest side."""
    if not coarse:
        return {}
    most = min((b for f in found.values() if np.isfinite(b := step_blur_px(f.profile))), default=USUAL_BLUR_PX)
    upright, across = (most, most) if blur_px is None else (min(float(np.hypot(b, SAMPLED_PX)), most) for b in blur_px)
    arrises = usual_arrises([_round(s, f, across if s in ("head", "sill") else upright) for s, f in coarse.items()])
    return {
        side: InnerEdge() if arris is None else _edge_of(arris, side, tuple(coarse))
        for side, arris in zip(coarse, arrises, strict=True)
    }


def _edge_of(arris: UsualArris, side: Side, sides: tuple[Side, ...]) -> InnerEdge:
    others = {s: cov for s, cov in zip(sides, arris.with_mm2, strict=True) if s != side}
    return InnerEdge(arris.shift_mm, 0.0, arris.u_mm, others)


def _round(side: Side, found: FoundSide, blur_px: float) -> Round | None:
    return read_round(found.profile, side, *_as_seen(found, blur_px), found.strip.mm_per_px)


def _as_seen(found: FoundSide, blur_px: float) -> tuple[float, float, float]:
    """Return how far (px) a side's mean profile is spread, and how far in and out it is free of other lines."""
    mm = found.strip.mm_per_px
    inner, outer = (room - ARRIS_PX for room in room_px(found.lines, found.best, mm, ARRIS_MM))
    return float(np.hypot(blur_px, JITTER_SHARE * found.placed.jitter_mm / mm)), inner, outer
