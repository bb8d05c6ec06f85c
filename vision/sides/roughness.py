"""How much of a traced side's departures from its line is the wall's own roughness, and how much the trace's noise.

Each local edge is a normal observation of a departure that is itself drawn from what such a side may have (normal
prior): the posterior is drawn toward the line (Gelman et al., Bayesian Data Analysis, section 2.5; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.request import Array, Side
from vision.sides.finding import FailedSide
from vision.sides.tracing import SideTrace
from vision.stations import LaidUnits

# guess: sd of a laid brick's arris about the straight or bowed side; a projecting sill is one piece, cast, cut or sawn
ROUGH_MM, ROUGH_LEVEL_MM, ROUGH_PIECE_MM = 1.5, 1.0, 0.5
PROJECTS_MM = 3.0  # a sill that stands further out than this before the jambs projects
ASTRAY, ASTRAY_MM = 0.05, 2.5  # share of bricks read at another line (a shadow, a stain), and how far off (guesses)
WORTH = 8.0  # bricks that the guess of a side's roughness counts as
SHAPE_MM = np.array([0.5, 0.5, 3.0])  # guess: sd of what the bricks' own line differs from the traced one, and of a bow
TURNS = 8  # of the expectation maximization


def roughness_mm(side: Side, traces: Mapping[Side, SideTrace | FailedSide]) -> float:
    """Return how far (sd) the edge of one brick or piece is expected off the line of its side."""
    if side in {"left", "right"}:
        return ROUGH_MM
    jambs = [t.depth_mm for s in ("left", "right") if isinstance(t := traces.get(s), SideTrace)]
    sill = traces.get("sill")
    piece = side == "sill" and isinstance(sill, SideTrace) and jambs and np.mean(jambs) - sill.depth_mm > PROJECTS_MM
    return ROUGH_PIECE_MM if piece else ROUGH_LEVEL_MM


def believed(t: SideTrace, rough_mm: float) -> tuple[Array, float, float]:
    """Return local edges (N,), u of one and scatter in mm, as far as they are the wall's own and not the trace's.

    Where the departures from the (bowed) line scatter more than `rough_mm` and their own noise explain, the rest is
    noise of the trace too (a line that jumps between joint, shadow and arris).
    """
    if not len(t.s_mm):
        return t.local_mm, t.u_local_mm, t.scatter_mm
    x = t.s_mm / max(float(np.abs(t.s_mm).max()), 1e-9)
    bow = -t.bow_mm * (x**2 - 1 / 3)
    off = t.local_mm - bow
    noise = max(t.u_local_mm**2, float(np.mean(off**2)) - rough_mm**2)
    share = rough_mm**2 / (rough_mm**2 + noise)
    return bow + share * off, float(np.sqrt(share * noise)), share * t.scatter_mm


def believed_units(t: SideTrace, rough_mm: float) -> LaidUnits | None:
    """Return the bricks of a side with posterior departures and standard uncertainties, or None where none are told.

    Bricks scatter about the side's line and bow, by `rough_mm` as guessed beforehand and as they are seen to. A reading
    is either of the brick's arris or of another line beside it: the posterior is that mixture's mean and standard
    deviation (Box & Tiao 1968, A Bayesian approach to some outlier problems; from memory), found by expectation
    maximization. A brick that is not seen has what such a side may have.
    """
    if t.units is None:
        return None
    x = t.units.ends_mm.mean(axis=1) / max(float(np.abs(t.units.ends_mm).max()), 1e-9)
    base = np.column_stack([np.ones_like(x), x, x**2 - 1 / 3])
    seen = np.isfinite(t.units.local_mm)
    read, noise = np.where(seen, t.units.local_mm, 0.0), np.where(seen, t.units.u_mm, 0.0) ** 2
    sound, rough2, shape = seen.astype(float), rough_mm**2, np.zeros(3)
    for _ in range(TURNS):
        weight = sound / (rough2 + noise)
        shape = np.linalg.solve((base.T * weight) @ base + np.diag(1 / SHAPE_MM**2), (base.T * weight) @ read)
        off = read - base @ shape
        share = rough2 / (rough2 + noise)
        likely, astray = (
            k * np.exp(-(off**2) / (2 * v)) / np.sqrt(v)
            for k, v in ((1 - ASTRAY, rough2 + noise), (ASTRAY, rough2 + ASTRAY_MM**2))
        )
        sound = np.where(seen, likely / (likely + astray), 0.0)
        own = share * noise + (share * off) ** 2
        rough2 = (WORTH * rough_mm**2 + float(sound @ own)) / (WORTH + float(sound.sum()))
    mean = sound * share * off
    square = sound * own + (1 - sound) * rough2
    # as far as a brick is not read for itself it stands where the others' line does, and shares its uncertainty
    line = np.linalg.inv((base.T * (sound / (rough2 + noise))) @ base + np.diag(1 / SHAPE_MM**2))
    square += (1 - sound * share) ** 2 * np.einsum("ij,jk,ik->i", base, line, base)
    return LaidUnits(t.units.ends_mm, base @ shape + mean, np.sqrt(np.maximum(square - mean**2, 0.0)))
