"""From where to where both jambs run: their step of colour begins at the head and ends at the sill.

Above a lintel and below a sill the wall, the lintel or the sill runs on across the line of a jamb. Where the step of
the jambs' middle is present counts for the opening, where it is absent against it; so does what fills the row between
them.
The rows taken are those of the largest sum (Bentley 1984, Programming pearls: maximum subarray).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.finder.wall_mask import PITCH_MM, Mask, WallView
from vision.request import Array

BESIDE_MM = 30.0  # how far beside a jamb's line colours are compared
FILLED = 0.6  # guess: what fills a row counts so much against what its jambs show
FURTHER_MM, FAR_MM = 50.0, 160.0  # how far a step of another colour is looked for, and what is beyond it
ABOVE = 0.25  # guess: how much larger it is than what steps are there anyway
NEAR_MM = 40.0  # another end within this is the same end


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """First and last row of the opening, how far the next best ends fall short, and whether each lies in the photo.

    `present` (H,) is by how much each row shows the jambs' step, 1 as in their middle. `shown` are the rows up to which
    there is a step of any colour: a shaded head or a lit sill may turn it.
    """

    top: float
    bottom: float
    margin: tuple[float, float]
    seen: tuple[bool, bool]
    present: Array
    shown: tuple[float, float]


def jamb_rows(view: WallView, other: Mask, left: Array, right: Array, middle: tuple[float, float]) -> Rows | None:
    """Return from where to where both jambs run, or None where they show no step.

    Parameters
    ----------
    view : the rectified wall.
    other : (H, W) pixels whose colour is not the wall's.
    left, right : column = polynomial(row) of the jambs.
    middle : rows between which both jambs surely run.
    """
    rows = np.arange(len(view.valid), dtype=float)
    present, size, seen = _present(view, left, right, middle, rows)
    if present is None:
        return None
    filled = _filled(other, left, right, rows)
    vote = (2 * np.clip(present, -0.5, 1.5) - 1) + FILLED * (2 * filled - 1)
    start = int(np.clip(0.5 * (middle[0] + middle[1]), 0, len(rows) - 1))
    if not seen[start]:
        return None
    up = _run(vote, seen, start, -1)
    down = _run(vote, seen, start, 1)
    shown = (_further(size, seen, up[0], -1) - 0.5, _further(size, seen, down[0], 1) + 0.5)
    return Rows(up[0] - 0.5, down[0] + 0.5, (up[1], down[1]), (up[2], down[2]), present, shown)


def _further(size: Array, seen: Array, end: int, step: int) -> int:
    """Return the row up to which a step of any colour goes on beyond the end of the jambs' usual one."""
    order = np.arange(end + step, end + step * int(FAR_MM / PITCH_MM), step)
    order = order[(order >= 0) & (order < len(size))]
    order = order[seen[order]]
    near = int(FURTHER_MM / PITCH_MM)
    if len(order) < 2 * near:
        return end
    total = np.cumsum(size[order[:near]] - float(np.median(size[order[near:]])) - ABOVE)
    k = int(np.argmax(total))
    return int(order[k]) if total[k] > 0 else end


def _run(vote: Array, seen: Array, start: int, step: int) -> tuple[int, float, bool]:
    """Return the last row of the largest sum of votes from a row on, its margin, and whether more is seen beyond."""
    order = np.arange(start, len(vote) if step > 0 else -1, step)
    n = int(np.argmin(seen[order])) if not seen[order].all() else len(order)
    total = np.cumsum(vote[order[:n]])
    k = int(np.argmax(total))
    far = np.abs(np.arange(n) - k) > NEAR_MM / PITCH_MM
    margin = float(total[k] - total[far].max()) if far.any() else np.inf
    return int(order[k]), margin, k < n - 1 - NEAR_MM / PITCH_MM / 2


def _present(
    view: WallView, left: Array, right: Array, middle: tuple[float, float], rows: Array
) -> tuple[Array | None, Array, Array]:
    """Return by how much each row shows the jambs' step and how large a step it has (H,), 1 as in their middle.

    And which rows are seen (H,).
    """
    h = len(rows)
    a, b = middle
    usual = (rows > a + 0.2 * (b - a)) & (rows < b - 0.2 * (b - a))
    seen = np.ones(h, bool)
    along, size, norm = np.zeros(h), np.zeros(h), 0.0
    for line, outward in ((left, -1.0), (right, 1.0)):
        step, valid = _across(view, np.asarray(np.polyval(line, rows), float), outward)
        seen &= valid
        if not (usual & seen).any():
            return None, size, seen
        typical = np.median(step[usual & seen], axis=0)
        along += step @ typical
        size += (step**2).sum(axis=1)
        norm += float(typical @ typical)
    if norm <= 0:
        return None, size, seen
    return np.clip(along / norm, -1.5, 1.5), np.clip(np.sqrt(size / norm), 0.0, 1.5), seen


def _across(view: WallView, columns: Array, outward: float) -> tuple[Array, Array]:
    """Return the step of colour (H, 3) from inside to outside of a column in each row, and which rows are seen."""
    h, w = view.valid.shape
    rows, seen = np.arange(h)[:, None], np.ones(h, bool)
    sides = []
    for sign in (outward, -outward):
        at = columns[:, None] + sign * (np.arange(BESIDE_MM / PITCH_MM) + 0.5)
        x = np.rint(np.round(at, 6)).astype(int)
        inside = (x >= 0) & (x < w)
        x = x.clip(0, w - 1)
        seen &= (inside & (view.valid[rows, x] > 0)).all(axis=1)
        sides.append(view.lab[rows, x].mean(axis=1))
    return (sides[0] - sides[1]).astype(float), seen


def _filled(other: Mask, left: Array, right: Array, rows: Array) -> Array:
    """Return which share of each row (H,) between the jambs is unlike the wall."""
    h, w = other.shape
    total = np.cumsum(np.pad(other.astype(float), ((0, 0), (1, 0))), axis=1)
    inset = 20.0 / PITCH_MM
    a = np.rint(np.round(np.polyval(left, rows) + inset, 6)).clip(0, w).astype(int)
    b = np.rint(np.round(np.polyval(right, rows) - inset, 6)).clip(0, w).astype(int)
    return np.asarray((total[np.arange(h), b] - total[np.arange(h), a]) / np.maximum(b - a, 1))
