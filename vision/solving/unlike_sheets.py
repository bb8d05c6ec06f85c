"""Sheets of one photo whose printed sizes differ although one print scale was said: seen, named, and left open.

All sheets share one print scale in the adjustment. That each has a scale of its own is tested as one more unknown a
sheet, without adjusting anew: the generalised likelihood ratio test of a specified error (Baarda 1968, A testing
procedure for use in geodetic networks; from memory). Its standard deviation is the limit of what the photo can tell:
in 24 renderings (2 sheets, 2 MP) 0.23 % by the sheets alone and 0.15 % with the wall's lines. A sheet that hangs in
front of the wall looks larger in the same way.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtrc, ndtri

from vision.adjustment import Block, adjust, huber_weights
from vision.camera import back_project
from vision.observations import SIZE, EdgeBlock, PhotoState, PriorBlock
from vision.request import Array, Warning_
from vision.solving.solved import Solved

P_UNLIKE, UNLIKE = 0.02, 0.16  # guesses: how often sheets are printed unlike, and the range of how much, evenly
# Chance under which it is tried: bent by one scale for all, an adjustment tells it less clearly. With lines it must
# show before: those that are then found anew are chosen by what is tried.
TRIED, TRIED_LINES = 0.05, 0.001
LEVEL = 1e-4  # chance under which they are not alike, as of lines that contradict references
NEGLIGIBLE = 5e-5  # of the common scale
ROUNDS = 8  # solved anew: what they say is exact only where the adjustment is not bent by it
DISAGREE, LINES_DISAGREE = "references-disagree", "lines-disagree"


@dataclass(frozen=True, slots=True, eq=False)
class SheetScales:
    """Scale of each sheet against their middle (R,), how far they lie apart and its u.

    `chance` is that of alike sheets to lie so far apart or farther, `p_unlike` the probability that they are unlike.
    """

    relative: Array
    apart: float
    u_apart: float
    chance: float
    p_unlike: float

    @property
    def unlike(self) -> bool:
        """Whether it is no chance that they lie apart."""
        return self.chance < LEVEL

    @property
    def u_common(self) -> float:
        """Standard deviation of the common scale, which is as likely that of one sheet as that of another."""
        return float(np.sqrt(1.0 if self.unlike else self.p_unlike)) * self.apart / 2


def sheet_scales(blocks: Sequence[Block[PhotoState]], state: PhotoState, before: Sequence[float] = ()) -> SheetScales:
    """Return what an adjustment says of each sheet's own scale; `before` are those that its blocks have by now.

    Notes
    -----
    With residuals w, design A, columns B of the scales and R the projector off A: scales (B'RB)^-1 B'Rw, covariance
    (B'RB)^-1. That they are alike, and that they differ by anything in a range, are weighed by it (Bayes).
    """
    count = len(state.references)
    contrast = np.linalg.svd(np.ones((1, count)))[2][1:].T  # (R, R - 1): their common scale is the print's
    rows, wanted, misfits = [], [], []
    for block in blocks:
        w, a = block.linearised(state)
        p = np.sqrt(huber_weights(w, block.robust))[:, None]
        rows.append(p * a)
        misfits.append(p[:, 0] * w)
        own = np.zeros((len(w), count))
        if isinstance(block, EdgeBlock):
            own[:, block.reference] = (p * a)[:, SIZE].sum(1)
        wanted.append(own @ contrast)
    design = np.vstack(rows)
    design = design / np.sqrt((design**2).sum(0))
    right = np.column_stack([*np.vstack(wanted).T, np.concatenate(misfits)])
    left = right - design @ np.linalg.solve(design.T @ design, design.T @ right)
    by, w = left[:, :-1], left[:, -1]
    covariance = np.linalg.inv(by.T @ by)
    known = np.asarray(before if len(before) else np.zeros(count))
    relative = known + contrast @ covariance @ by.T @ w
    relative = relative - (relative.max() + relative.min()) / 2
    low, high = int(relative.argmin()), int(relative.argmax())
    step = contrast[high] - contrast[low]
    apart, u = float(relative[high] - relative[low]), float(np.sqrt(step @ covariance @ step))
    told = contrast.T @ relative
    chance = float(chdtrc(count - 1, told @ (by.T @ by) @ told))
    z = -float(ndtri(max(chance, 1e-300) / 2))  # as of one difference
    alike = (1 - P_UNLIKE) * float(np.exp(-(z**2) / 2)) / (u * np.sqrt(2 * np.pi))
    other = P_UNLIKE / UNLIKE
    return SheetScales(relative, apart, u, chance, other / (alike + other))


def taken_apart(solved: Solved, solve: Callable[[Sequence[float]], Solved]) -> Solved:
    """Return sheets as `solve` gives them with scales of their own, where they surely have them; else as they are.

    Where they contradict each other with their own scales too, another cause is likelier and they stay as they are.
    """
    if len(solved.names) < 2:  # one sheet has nothing to be unlike
        return solved
    scales = sheet_scales(solved.blocks, solved.adjusted.state)
    if scales.chance > TRIED:
        return solved
    apart, scales = _settled(lambda own: solve(tuple(own.tolist())), scales)
    if not scales.unlike or DISAGREE in {w.code for w in apart.warnings}:
        return solved
    return replace(apart, warnings=(*apart.warnings, unlike_warning(apart, scales)))


def with_lines_as_printed(alone: Solved, lined: Callable[[Solved], Solved]) -> Solved:
    """Return sheets `alone` with the wall's lines, as `lined` adds them, their scales judged by both.

    The lines tell better than the sheets how the wall slants, and so which sheet is larger. Where they contradict
    sheets of one scale, sheets of their own scales are tried. What is left open is in the print scale's uncertainty.
    """
    solved = lined(alone)
    if len(alone.names) < 2:
        return solved
    scales = sheet_scales(solved.blocks, solved.adjusted.state, alone.scales)
    if not alone.scales and (scales.chance < TRIED_LINES or _contradicted(solved)):
        other, told = _settled(lambda own: lined(_own(alone, own)), scales)
        if told.unlike and not _contradicted(other):
            warned = (*other.warnings, unlike_warning(other, told))
            solved, scales = replace(other, warnings=warned), told
    if solved.scales:
        warned = tuple(unlike_warning(solved, scales) if w.code == DISAGREE else w for w in solved.warnings)
        solved = _own(replace(solved, warnings=warned), scales.relative)
    return less_sure_scale(solved, scales.u_common)


def _settled(solve: Callable[[Array], Solved], scales: SheetScales) -> tuple[Solved, SheetScales]:
    """Return sheets solved with scales of their own, and what they then say of them, until both are one.

    A step that turns back is halved: where nothing is known of the lens, a wrong scale bends it, and they would swing.
    """
    own, before = scales.relative, np.zeros_like(scales.relative)
    for _ in range(ROUNDS):
        apart = solve(own)
        scales = sheet_scales(apart.blocks, apart.adjusted.state, apart.scales)
        step = scales.relative - own
        if np.abs(step).max() < scales.u_apart / 2:
            break
        before = step if step @ before >= 0 else step / 2
        own = own + before
    return apart, scales


def _contradicted(solved: Solved) -> bool:
    return LINES_DISAGREE in {w.code for w in solved.warnings}


def _own(solved: Solved, relative: Array) -> Solved:
    """Return sheets adjusted again with scales (R,) of their own."""
    before = np.asarray(solved.scales or np.zeros(len(solved.names)))
    blocks = with_own_scales(solved.blocks, (1 + relative) / (1 + before))
    result = adjust(blocks, solved.adjusted.state, iterations=30, near=True)
    return replace(solved, blocks=blocks, adjusted=result, scales=tuple(relative.tolist()))


def with_own_scales(blocks: Sequence[Block[PhotoState]], factors: Array) -> tuple[Block[PhotoState], ...]:
    """Return blocks with each sheet larger by its factor (R,)."""
    return tuple(
        replace(b, plane_mm=b.plane_mm * factors[b.reference]) if isinstance(b, EdgeBlock) else b for b in blocks
    )


def less_sure_scale(solved: Solved, u_common: float) -> Solved:
    """Return a solved photo whose print scale is less sure by a standard deviation, in both directions alike."""
    if u_common < NEGLIGIBLE:
        return solved
    blocks = tuple(_less_sure(b, u_common) if is_size(b) else b for b in solved.blocks)
    return replace(solved, blocks=blocks, adjusted=adjust(blocks, solved.adjusted.state, iterations=30, near=True))


def is_size(block: Block[PhotoState]) -> bool:
    """Return whether a block is what is known of the print scale."""
    return isinstance(block, PriorBlock) and list(block.index) == list(range(SIZE.start, SIZE.stop))


def _less_sure(block: Block[PhotoState], u_common: float) -> Block[PhotoState]:
    if not isinstance(block, PriorBlock):
        return block
    together = np.eye(2) if block.correlation is None else block.correlation
    covariance = together * np.outer(block.u, block.u) + u_common**2
    u = np.sqrt(np.diag(covariance))
    return replace(block, u=u, correlation=covariance / np.outer(u, u))


def unlike_warning(solved: Solved, scales: SheetScales) -> Warning_:
    """Return `references-disagree` with which sheet is larger and by how much, and what else would look so."""
    low, high = int(scales.relative.argmin()), int(scales.relative.argmax())
    camera = solved.adjusted.state.camera
    middle = back_project(camera, np.mean([o.mean(0) for o in solved.outlines_px], axis=0)[None], 0.0)[0]
    far = float((camera.rotation @ [*middle[:2], 0.0] + camera.translation_mm)[2])
    says = (
        f"{solved.names[high]} is {100 * scales.apart:.1f} % larger (U95 {200 * scales.u_apart:.1f} %) than "
        f"{solved.names[low]}, so they were not printed alike, or one hangs {abs(far) * scales.apart:.0f} mm +- "
        f"{2 * abs(far) * scales.u_apart:.0f} mm in front of the other's wall; the measure lies between both scales "
        "and its uncertainty holds either: measure the bars of both, print all sheets in one go at 100 % ('actual "
        "size'), tape them flat on the wall, and take the photo again"
    )
    return Warning_("references-disagree", says)
