"""How sharp and how clean the printed edges of sheets, and the sides of pages and cards, stand in a photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeGuard

import cv2
import numpy as np

from vision.adjustment import Block, adjust
from vision.observations import EdgeBlock, PhotoState, point_block
from vision.page_sides.traced import TracedQuad
from vision.request import Array
from vision.sheets.markers import Sighting, apply_homography, first_outline
from vision.sheets.printed_edges import CELL_MM
from vision.sheets.sheet import HEIGHT_MM, OUTLINE_MM, WIDTH_MM, black_cells_mm
from vision.solving.solved import Solved
from vision.srgb import linear_light

STEPS = 33  # places across an edge
MOST_REACH_PX = 6.0  # to either side of an edge, less where the cells of the pattern are smaller
LEAST_EDGES = 40  # of a block, else it is one of saddles
PATTERN_MM = OUTLINE_MM.astype(np.float32)
SADDLE_OFF_PX, SADDLE_OFF = 1.5, 0.02  # of saddles off where edges put them: px, and share of a side of the sheet
WORTH_A_TRY = 0.2  # agreement from a sheet's markers alone; far from there no adjustment finds back
# Spread over reach: 0.45 at most on sound practice photos, 0.63 where nothing but blur is left. Saddles: guesses.
SMEARED, U_SMEARED_PX, U_SMEARED_CORNER_PX = 0.47, 0.4, 1.5
# A sheet shows six saddles. Where blur fills the cells and leaves fewer, those left and the markers mislead: practice
# photos blurred step by step were off by up to 3 standard uncertainties with six, by 3 to 13 (77 to 526 mm) with less.
ALL_SADDLES = 6
# Practice photos: 0.96 to 1.0 where a sheet was placed well, 0.0 to 0.7 where one or two smeared markers misled. Where
# more was read a low figure can be a plant or a shadow.
LEAST_AGREEMENT, LEAST_AGREEMENT_OF_FEW, FEW_MARKERS = 0.5, 0.9, 2
SMALL_BLUR_PX = 1.8  # sharp cards of 40 to 60 px are told up to 1.55 among joints, moved ones from 1.9 on (renderings)
MEAN_ABS = 0.7979  # of a Gaussian of unit spread: the area that blur takes from the ideal edge (both sides together)


@dataclass(frozen=True, slots=True)
class PrintedBlur:
    """Gaussian spread px of edges that run up and down and of those that run across; how far it was looked, px.

    `white` is the paper in linear light 0..1, `noise` that of one pixel on paper over the step from black to white (of
    a page: from wall to paper). Of a page or card there are no neighbours: it was looked as far as it was blurred.
    """

    spread_px: tuple[float, float]
    reach_px: float
    white: float
    noise: float


def printed_blur(
    grey: cv2.typing.MatLike, blocks: Sequence[Block[PhotoState]], outlines_px: Sequence[Array]
) -> PrintedBlur | None:
    """Return blur and light of the sheet that was seen worst; None where no printed edges were traced.

    Parameters
    ----------
    grey : (H, W) uint8.
    blocks : observations of the solved photo; the edges of sheets among them are used.
    outlines_px : outline (4, 2) of each reference.

    Notes
    -----
    The area between an edge's profile and the ideal step is 0.798 times the spread of a Gaussian blur; it takes noise
    evenly and is bounded where cells are small, so that a large blur among small cells is told too small.
    """
    found = []
    for block in blocks:
        if _is_printed(block):
            found.append(_of_sheet(grey, block, outlines_px[block.reference]))
    return max(found, key=lambda b: max(b.spread_px) / b.reach_px, default=None)


def sheets_white(grey: cv2.typing.MatLike, outlines_px: Sequence[Array]) -> float:
    """Return the light (full: 1) of the darkest sheet's paper, by its pattern (4, 2) px: about half of it is bare.

    It is there in the dark too, where too few printed edges are seen to tell blur and light by them.
    """
    found = []
    for outline in outlines_px:
        h = cv2.getPerspectiveTransform(PATTERN_MM, outline.astype(np.float32))
        square = cv2.warpPerspective(np.asarray(grey), np.linalg.inv(h), (int(WIDTH_MM), int(HEIGHT_MM)))
        found.append(float(linear_light(np.percentile(square, 75))))
    return min(found)


def _of_sheet(grey: cv2.typing.MatLike, block: EdgeBlock, outline: Array) -> PrintedBlur:
    area = abs(float(cv2.contourArea(outline.astype(np.float32))))
    reach = float(np.clip(0.46 * CELL_MM * np.sqrt(area / (WIDTH_MM * HEIGHT_MM)), 1.0, MOST_REACH_PX))
    steps = np.linspace(-1, 1, STEPS) * reach
    h, w = np.asarray(grey).shape[:2]
    low = np.clip(block.pixel.min(0).astype(int) - 10, 0, None)
    high = np.minimum(block.pixel.max(0).astype(int) + 11, [w, h])
    table = np.asarray(linear_light(np.arange(256)), np.float32)
    part = table[np.asarray(grey)[low[1] : high[1], low[0] : high[0]]]
    points = (block.pixel - low)[:, None] + steps[None, :, None] * block.normal[:, None]
    x, y = np.moveaxis(points.astype(np.float32), -1, 0)
    profile = np.asarray(cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), float)
    black, white = profile[:, :3].mean(1), profile[:, -3:].mean(1)
    step = np.maximum(white - black, 1e-3)
    share = ((profile - black[:, None]) / step[:, None]).clip(0, 1)
    spread = np.minimum(share, 1 - share).sum(1) * (steps[1] - steps[0]) / MEAN_ABS
    upright = np.abs(block.normal[:, 0]) > np.abs(block.normal[:, 1])
    both = [float(np.median(spread[m])) if m.sum() >= 10 else float(np.median(spread)) for m in (upright, ~upright)]
    far = np.round(block.pixel - low + 0.9 * reach * block.normal).astype(int)
    inside = ((far > 0) & (far < np.array(part.shape[::-1]) - 1)).all(1)
    c, r = far[inside].T
    rough = part[r, c] - (part[r - 1, c] + part[r + 1, c] + part[r, c - 1] + part[r, c + 1]) / 4
    noise = _grain(rough) if inside.any() else 0.0
    return PrintedBlur((both[0], both[1]), reach, float(np.median(white)), noise / float(np.median(step)))


def page_blur(
    grey: cv2.typing.MatLike, traced: Sequence[TracedQuad | None], px_limit: float, *, paper: bool
) -> PrintedBlur | None:
    """Return blur and light of the page or card that was seen worst; None where no sides were traced.

    Parameters
    ----------
    grey : (H, W) uint8.
    traced : sides of each; None: as clicked.
    px_limit : below that blur px, what is beside a side makes as much of a difference as the camera's motion does, and
        both directions are given as one.
    paper : whether the middle of the references is bare paper; what is printed on a card tells no light.
    """
    found = [_of_page(grey, t, px_limit, paper=paper) for t in traced if t is not None]
    worst = max(found, key=lambda b: max(b.spread_px), default=None)
    return None if worst is None or (not paper and max(worst.spread_px) < SMALL_BLUR_PX) else worst


def _of_page(grey: cv2.typing.MatLike, traced: TracedQuad, px_limit: float, *, paper: bool) -> PrintedBlur:
    first, second = traced.blur_px
    if max(first, second) < px_limit:
        first = second = float(np.hypot(first, second) / np.sqrt(2))
    nx, ny = np.abs(traced.sides[0].normal[0])
    both = (first, second) if nx > ny else (second, first)
    if not paper:
        return PrintedBlur(both, np.inf, 1.0, 0.0)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    h = np.asarray(cv2.getPerspectiveTransform(corners, traced.corners_px.astype(np.float32)), float)
    s = np.linspace(0.2, 0.8, 40)
    at = apply_homography(h, np.stack(np.meshgrid(s, s), -1).reshape(-1, 2))
    c, r = np.round(at).astype(int).T
    rows, columns = np.asarray(grey).shape[:2]
    inside = (c > 0) & (r > 0) & (c < columns - 1) & (r < rows - 1)
    c, r = c[inside], r[inside]
    if not len(c):
        return PrintedBlur(both, np.inf, 1.0, 0.0)
    table = np.asarray(linear_light(np.arange(256)))
    code = np.asarray(grey)
    here = table[code[r, c]]
    beside = (table[code[r - 1, c]] + table[code[r + 1, c]] + table[code[r, c - 1]] + table[code[r, c + 1]]) / 4
    # a side's contrast is the length of its three colours' steps
    contrast = max(float(np.median([s.contrast for s in traced.sides])) / 3**0.5, 1e-3)
    return PrintedBlur(both, np.inf, float(np.median(here)), _grain(here - beside) / contrast)


def _grain(rough: Array) -> float:
    """Return the noise of a pixel from pixels less the mean of their four neighbours: root of 1 + 1/4 times it."""
    return 1.4826 * float(np.median(np.abs(rough - np.median(rough))) / np.sqrt(1.25))


def too_smeared(grey: cv2.typing.MatLike, solved: Solved, sightings: Sequence[Sighting]) -> tuple[Sighting, ...]:
    """Return the sheets of a solved photo whose pattern is so blurred that what was read of it says nothing."""
    found = []
    for block in solved.blocks:
        if not _is_printed(block):
            continue
        seen = _sighting_at(solved.outlines_px[block.reference], sightings)
        if len(seen.saddles_px) < ALL_SADDLES:
            blur = _of_sheet(grey, block, solved.outlines_px[block.reference])
            if max(blur.spread_px) > SMEARED * blur.reach_px:
                found.append(seen)
    return tuple(found)


def _sighting_at(outline: Array, sightings: Sequence[Sighting]) -> Sighting:
    place = outline.mean(0)
    return min(sightings, key=lambda s: float(np.linalg.norm(first_outline(s).mean(0) - place)))


def weakened(solved: Solved, sightings: Sequence[Sighting], blur: PrintedBlur | None) -> Solved:
    """Return the photo adjusted again by the saddles of its sheets where edges are smeared; else the same.

    Where the blur fills a cell of the pattern, each edge is drawn toward its neighbours and the errors of one sheet go
    together. The saddles stand between squares eight cells wide, and any symmetric blur leaves them in place.
    """
    if blur is None or max(blur.spread_px) <= SMEARED * blur.reach_px:
        return solved
    half, middle = np.array([108.0, 140.0]), np.array([WIDTH_MM / 2, HEIGHT_MM / 2])
    blocks: list[Block[PhotoState]] = []
    for b in solved.blocks:
        if not _is_printed(b):
            blocks.append(b)
            continue
        s = _sighting_at(solved.outlines_px[b.reference], sightings)
        few = len(s.saddles_px) < 4
        mm, px = (s.corners_mm, s.corners_px) if few else (s.saddles_mm, s.saddles_px)
        blocks.append(point_block(b.reference, mm - middle, half, px, U_SMEARED_CORNER_PX if few else U_SMEARED_PX))
    return replace(solved, adjusted=adjust(blocks, solved.adjusted.state, near=True), blocks=tuple(blocks))


def _is_printed(block: Block[PhotoState]) -> TypeGuard[EdgeBlock]:
    return isinstance(block, EdgeBlock) and len(block.u_px) >= LEAST_EDGES and bool(block.polarity.all())


def looks_like_itself(grey: cv2.typing.MatLike, sighting: Sighting, outline: Array) -> bool:
    """Return whether a sheet looks like itself where it was placed: outline (4, 2) px of its pattern."""
    few = sighting.markers <= FEW_MARKERS
    if not np.isfinite(outline).all():
        return False
    if len(sighting.saddles_px):
        h = np.asarray(cv2.getPerspectiveTransform(PATTERN_MM, outline.astype(np.float32)), float)
        off = np.linalg.norm(apply_homography(h, sighting.saddles_mm) - sighting.saddles_px, axis=1)
        if np.median(off) > max(SADDLE_OFF_PX, SADDLE_OFF * float(np.linalg.norm(outline[1] - outline[0]))):
            return False  # the edges were traced one cell aside: saddles and edges of one sheet contradict each other
    return pattern_agreement(grey, sighting.letter, outline) >= (LEAST_AGREEMENT_OF_FEW if few else LEAST_AGREEMENT)


def pattern_agreement(grey: cv2.typing.MatLike, letter: int, outline: Array) -> float:
    """Return the correlation -1..1 of what a sheet's outline (4, 2) px encloses with its printed pattern.

    A sheet that was placed wrongly, as from a single smeared marker, does not look like itself there; light, blur and
    a hidden part lower the correlation, but far less.
    """
    if not np.isfinite(outline).all():
        return 0.0
    h = np.asarray(cv2.getPerspectiveTransform(PATTERN_MM, outline.astype(np.float32)), float)
    columns, rows = round(WIDTH_MM / CELL_MM), round(HEIGHT_MM / CELL_MM)
    c, r = np.meshgrid((np.arange(columns) + 0.5) * CELL_MM, (np.arange(rows) + 0.5) * CELL_MM)
    middles = np.stack([c.ravel(), r.ravel()], axis=1)
    black = np.zeros(len(middles), bool)
    for x0, y0, x1, y1 in black_cells_mm(letter):
        black |= (middles > [x0, y0]).all(1) & (middles < [x1, y1]).all(1)
    x, y = apply_homography(h, middles).astype(np.float32).T
    seen = cv2.remap(grey, x[:, None], y[:, None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = np.asarray(seen, float).ravel()
    if values.std() == 0:
        return 0.0
    return -float(np.corrcoef(values, black)[0, 1])
