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

# guess: sd of a laid brick's arris about the straight or bowed side; a projecting sill is one piece, cast, cut or sawn
ROUGH_MM, ROUGH_LEVEL_MM, ROUGH_PIECE_MM = 1.5, 1.0, 0.5
PROJECTS_MM = 3.0


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
