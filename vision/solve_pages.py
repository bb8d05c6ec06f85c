"""Pages, cards and given rectangles -> camera and wall, with the covariance of all unknowns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.adjustment import Block
from vision.observations import PhotoState, point_block
from vision.priors import CameraPrior, camera_blocks, reference_blocks, reference_size_mm, size_block
from vision.request import Array, CheckBar, Reference, Wall
from vision.solved import Solved, best_of, misfit_warnings, outline_px
from vision.start import start_states


def solve_rectangles(
    quads: Sequence[Array], reference: Reference, prior: CameraPrior, wall: Wall, click_px: float
) -> Solved:
    """Return the adjusted photo from clicked corners (4, 2) of rectangles of one known size at unknown places."""
    half = np.array(reference_size_mm(reference)) / 2
    plane = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
    known: list[Block[PhotoState]] = [*camera_blocks(prior), size_block(reference, CheckBar())]
    known += reference_blocks(len(quads), wall, sheets=False, stiff=True)
    seen: list[Block[PhotoState]] = [
        replace(point_block(i, plane, half, q, max(click_px, 0.05)), robust=False) for i, q in enumerate(quads)
    ]
    starts = start_states(prior, [plane] * len(quads), quads)
    final = best_of(known + seen, starts)
    names = tuple(f"rectangle {i + 1}" for i in range(len(quads)))
    drawn = tuple(outline_px(final.state, i, plane, half) for i in range(len(quads)))
    return Solved(final, names, drawn, tuple(misfit_warnings(final, known, seen, names)), click_px, (*known, *seen))
