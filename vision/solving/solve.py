"""Sheets seen in a photo -> camera and wall, with the covariance of all unknowns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from vision.adjustment import Adjusted, Block, adjust
from vision.camera import project
from vision.observations import EdgeBlock, PhotoState, point_block, reference_points
from vision.priors import CameraPrior, camera_blocks, reference_blocks, size_block
from vision.request import Array, CheckBar, Reference, Wall
from vision.sheets import markers, printed_edges, sheet
from vision.solving.solved import Solved, best_of, lifted_warnings, misfit_warnings, outline_px
from vision.solving.start import start_states
from vision.srgb import linear_light

U_SADDLE_PX = 0.12  # design, lesson 1: 0.10 px rms, no bias
U_MARKER_PX = 0.7  # raw marker corners carry a start only, never the scale
SHEET_HALF_MM = np.array([108.0, 140.0])  # half a page: where the bulge vanishes
SHEET_MIDDLE_MM = np.array([sheet.WIDTH_MM / 2, sheet.HEIGHT_MM / 2])
NEIGHBOURS = 2.0  # unit edges of one row err together: this many count as one (from simulation)
FLOOR_PX = 0.03  # standard uncertainty of one printed edge at least (a guess)


def solve_sheets(
    grey: cv2.typing.MatLike,
    sightings: Sequence[markers.Sighting],
    prior: CameraPrior,
    bar: CheckBar,
    wall: Wall,
    scales: Sequence[float] = (),
) -> Solved:
    """Return the adjusted photo from its sheets: saddles first, then all printed edges, traced twice.

    `scales` are those of sheets that were not printed alike, relative and less 1: theirs are not one.
    """
    factor = [1 + s for s in scales] or [1.0] * len(sightings)
    plane = [k * (s.saddles_mm - SHEET_MIDDLE_MM) for k, s in zip(factor, sightings, strict=True)]
    corners = sheet.OUTLINE_MM
    outline = [markers.first_outline(s) for s in sightings]
    known: list[Block[PhotoState]] = [*camera_blocks(prior), size_block(Reference("sheet"), bar)]
    turn = float(np.pi / 2 * markers.quarter_turns(sightings[0]))  # the frame of the wall stays upright
    known += reference_blocks(len(sightings), wall, sheets=True, stiff=False, turn_rad=turn)
    first: list[Block[PhotoState]] = []
    for i, s in enumerate(sightings):
        if len(s.saddles_px) >= 4:
            first.append(point_block(i, factor[i] * (corners - SHEET_MIDDLE_MM), SHEET_HALF_MM, outline[i], 3.0))
        else:  # the outline is carried too far by few markers: their own corners are what was seen
            first.append(
                point_block(i, factor[i] * (s.corners_mm - SHEET_MIDDLE_MM), SHEET_HALF_MM, s.corners_px, U_MARKER_PX)
            )
        if len(plane[i]):
            first.append(point_block(i, plane[i], SHEET_HALF_MM, s.saddles_px, U_SADDLE_PX))
    starts = start_states(prior, [k * (corners - SHEET_MIDDLE_MM) for k in factor], outline, turn)
    best = best_of(known + first, starts)
    edge_blocks = _edge_blocks(grey, sightings, best.state, first, factor)
    final = adjust([*known, *edge_blocks], best.state, iterations=12, near=True)
    edge_blocks = _edge_blocks(grey, sightings, final.state, first, factor)  # again, from where they are expected now
    final, used = _rescaled(known, edge_blocks, final.state)
    names = tuple(f"sheet {sheet.LETTERS[s.letter]}" for s in sightings)
    printed = [k * (corners - SHEET_MIDDLE_MM) for k in factor]
    drawn = tuple(outline_px(final.state, i, p, SHEET_HALF_MM) for i, p in enumerate(printed))
    warned = [*misfit_warnings(final, known, edge_blocks, names), *lifted_warnings(edge_blocks, used, names)]
    noise = _noise(edge_blocks)
    return Solved(final, names, drawn, tuple(warned), noise, (*known, *used), scales=tuple(scales))


def _edge_blocks(
    grey: cv2.typing.MatLike,
    sightings: Sequence[markers.Sighting],
    state: PhotoState,
    first: Sequence[Block[PhotoState]],
    factor: Sequence[float],
) -> list[Block[PhotoState]]:
    """Return the printed edges as blocks, sheets larger by a factor; one too small for them keeps its saddles."""
    blocks: list[Block[PhotoState]] = []
    for i, s in enumerate(sightings):

        def to_photo(points: Array, i: int = i) -> Array:
            wall = reference_points(state, i, factor[i] * (points - SHEET_MIDDLE_MM), SHEET_HALF_MM)[0]
            return project(state.camera, wall)

        crop, shift = _cropped(
            grey, outline_px(state, i, SHEET_HALF_MM * [[-1, -1], [1, -1], [1, 1], [-1, 1]], SHEET_HALF_MM)
        )
        seen = printed_edges.trace_edges(crop, s.letter, lambda p, m=to_photo, o=shift: m(p) - o)  # type: ignore[misc]
        if len(seen.index) < 40:
            blocks += [b for b in first if isinstance(b, EdgeBlock) and b.reference == i]
            continue
        middle = factor[i] * (printed_edges.unit_edges(s.letter).middle_mm[seen.index] - SHEET_MIDDLE_MM)
        n = len(middle)
        pixel = seen.pixel + shift
        blocks.append(EdgeBlock(i, middle, SHEET_HALF_MM, pixel, seen.normal, seen.u_px, np.ones(n)))
    return blocks


def _cropped(grey: cv2.typing.MatLike, outline: Array) -> tuple[Array, Array]:
    """Return the sheet's part of the picture in linear light, float32, and its top left pixel."""
    h, w = grey.shape[:2]
    low = np.clip(np.floor(outline.min(0)) - 12, 0, [w - 2, h - 2]).astype(int)
    high = np.clip(np.ceil(outline.max(0)) + 13, low + 2, [w, h]).astype(int)
    table = linear_light(np.arange(256)).astype(np.float32)
    return table[np.asarray(grey)[low[1] : high[1], low[0] : high[0]]], low.astype(float)


def _rescaled(
    known: Sequence[Block[PhotoState]], seen: Sequence[Block[PhotoState]], state: PhotoState
) -> tuple[Adjusted[PhotoState], list[Block[PhotoState]]]:
    """Return the adjustment with gross errors left out and noise from residuals, and the blocks it rests on."""
    result = adjust([*known, *seen], state, iterations=20, near=True)
    blocks: list[Block[PhotoState]] = []
    for block in seen:
        if not isinstance(block, EdgeBlock) or len(block.u_px) < 40:
            blocks.append(block)
            continue
        w, _ = block.linearised(result.state)
        spread = 1.4826 * float(np.median(np.abs(w - np.median(w))))
        u = np.maximum(block.u_px * spread, FLOOR_PX)
        keep = np.abs(w * block.u_px / u) < 4
        blocks.append(
            replace(
                block,
                plane_mm=block.plane_mm[keep],
                pixel=block.pixel[keep],
                normal=block.normal[keep],
                polarity=block.polarity[keep],
                u_px=u[keep] * np.sqrt(NEIGHBOURS),
            )
        )
    return adjust([*known, *blocks], result.state, iterations=30, near=True), blocks


def _noise(seen: Sequence[Block[PhotoState]]) -> float:
    """Return the usual standard deviation of one edge position, px."""
    sizes = [np.median(b.u_px) for b in seen if isinstance(b, EdgeBlock)]
    return float(np.median(sizes)) if sizes else U_SADDLE_PX
