"""Lines that run together in a photo as observation blocks: each segment by its ends, or courses of placed pieces."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import back_project, project
from vision.observations import PhotoState
from vision.request import Array, Wall
from vision.wall.courses import (
    LineBlock,
    Pieces,
    across_along,
    axes_of,
    course_block,
    group,
    reference_scale,
    whitening,
)
from vision.wall.line_noise import line_noise
from vision.wall.line_vote import Voted
from vision.wall.segments import pieces, place_pieces

U_PIECE_PX = 0.15  # of a piece placed to sub-pixel, until its residuals show it (a guess)
NEIGHBOURS = 1.5  # pieces side by side err together a little: this many count as one (a guess)
MOST = 250  # segments a direction in the first, coarse adjustment
LEAST_POINTS = 12  # fewer pieces are not worth adding


@dataclass(frozen=True, slots=True)
class LineKind:
    """How lines are made: longest piece and how true it lies (mm), slope of a line (rad), bow over a metre (mm).

    Lines within `alike_mm` run alike: both edges of one joint or lap, all of one member of a frame. `u_upright_mm`:
    how far (sd) pieces of uprights usually lie off their line, 0: not known.
    """

    piece_mm: float
    u_true_mm: float
    u_slope_rad: float
    u_bow_mm: float = 0.0
    alike_mm: float = 20.0
    u_upright_mm: float = 0.0


# A piece is about one brick, true to 1 mm (design); half of it for laps is a guess, as are all slopes.
WALL_LINES: dict[Wall, LineKind] = {
    # head joints stand over each other to 0.7 to 2.0 mm on 22 practice walls, 1.4 mm rms
    "masonry": LineKind(210.0, 1.0, 1.0e-3, u_upright_mm=1.4),
    "render": LineKind(210.0, 1.0, 1.5e-3),
    "siding": LineKind(150.0, 0.5, 1.0e-3),
    "panel": LineKind(150.0, 0.5, 1.0e-3),
}


def segment_block(voted: Voted, state: PhotoState, kind: LineKind) -> LineBlock:
    """Return every segment as one direction of its own, by its ends: no courses are needed for it, but it is coarse."""
    length = voted.segments.length_px()
    longest = np.concatenate(
        [of[np.argsort(-length[of])[:MOST]] for of in map(np.flatnonzero, (~voted.upright, voted.upright))]
    )
    pixel = voted.segments.ends_px[longest].reshape(-1, 2)
    upright = np.repeat(voted.upright[longest], 2)
    _, along = across_along(state, pixel, upright)
    scale = reference_scale(state, pixel)
    u = np.hypot(2 * U_PIECE_PX * scale, kind.u_true_mm)
    course = np.repeat(np.arange(len(longest)), 2)
    whiten = whitening(course, along, u, np.full(len(longest), 2 * kind.u_slope_rad))
    return course_block(state, pixel, upright, course, whiten, robust=True)


def line_block(grey: cv2.typing.MatLike, voted: Voted, state: PhotoState, kind: LineKind) -> LineBlock | None:
    """Return the courses as observations, each point placed to sub-pixel, its noise taken from their scatter."""
    found = _pieces_of(grey, voted, state, kind)
    label = group(state, found)
    keep = label >= 0
    if keep.sum() < LEAST_POINTS:
        return None
    found, label = found.some(keep), label[keep]
    across, along = across_along(state, found.pixel, found.upright)
    u = np.hypot(U_PIECE_PX * found.scale_mm, kind.u_true_mm)
    u, u_slope, good = line_noise(
        across, along, u, label, found.upright, kind.u_slope_rad, kind.alike_mm, kind.u_upright_mm
    )
    if good.sum() < LEAST_POINTS:
        return None
    found, label, along, u = found.some(good), label[good], along[good], u[good]
    _, course = np.unique(label, return_inverse=True)
    slopes = u_slope[np.unique(label)]
    bows = kind.u_bow_mm * slopes / kind.u_slope_rad if kind.u_bow_mm else None
    whiten = whitening(course, along, u * np.sqrt(NEIGHBOURS), slopes, bows)
    return course_block(state, found.pixel, found.upright, course, whiten)


def _pieces_of(grey: cv2.typing.MatLike, voted: Voted, state: PhotoState, kind: LineKind) -> Pieces:
    middle = voted.segments.middle_px()
    scale = reference_scale(state, middle)
    centre, half, owner = pieces(voted.segments, kind.piece_mm / scale)
    pixel, clear = place_pieces(grey, centre, half)
    axis = project_axis(state, pixel, voted.upright[owner])
    bright = np.sign((half * axis).sum(1))
    found = Pieces(pixel, voted.upright[owner], bright, 2 * np.linalg.norm(half, axis=1) * scale[owner], scale[owner])
    return found.some(clear)


def project_axis(state: PhotoState, pixel: Array, upright: NDArray[np.bool_]) -> Array:
    """Return the direction (N, 2) px in the photo of each point's wall direction."""
    q = back_project(state.camera, pixel, 0.0)
    along = axes_of(state, upright)[0]
    moved = project(state.camera, np.column_stack([q + along, np.zeros(len(q))]))
    return moved - pixel
