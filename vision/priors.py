"""What is known before looking: standard deviations of camera, print, paper and wall, as observation blocks.

Every figure here is a guess from practice unless a source stands beside it, and the contract fixes some of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.observations import (
    BLOOM,
    BULGE_X,
    BULGE_Y,
    DEPTH,
    SIZE,
    TILT_X,
    TILT_Y,
    TURN,
    WALL,
    PriorBlock,
    X,
    Y,
    reference_slice,
)
from vision.photo.exif import FULL_FRAME_DIAGONAL_MM
from vision.printed_scale import PrintedScale, printed_scale
from vision.request import Array, CheckBar, Reference, Wall

U_BULGE_MM = 0.5  # design: two parameters a sheet
STANDOFF_MM, U_STANDOFF_MM = 0.5, 0.3  # paper stands proud of the wall
U_DEPTH_MM = {"masonry": 1.5, "render": 3.0, "siding": 1.0, "panel": 1.0}  # design: wall not a plane
U_TILT_RAD = 0.003  # design
U_BLOOM_PX = 1.0  # loose: the sheet's own edges, of both polarities, tell it
# How far the wall's horizontal may lie from that of the first reference (paper taped on by eye), and its vertical from
# the right angle to it (masonry to about 3 mm a metre). Guesses: the first is loose, the second limits what lines give.
U_WALL_TURN_RAD, U_WALL_SKEW_RAD = 0.2, 0.003
U_GIVEN_MM = 0.1  # of a given size, stated to a tenth of a millimetre (a guess: edges are seldom cut better)
PAPER = ("letter", "a4")
PAGE_SIZE_MM = {"letter": (215.9, 279.4), "a4": (210.0, 297.0), "id1": (85.60, 53.98)}
# A4: ISO 216, +-2 mm as rectangular; card: ISO/IEC 7810, +-0.13 and 0.06 mm. Letter has no cut tolerance in an opened
# source: common practice, from memory, cuts office paper to 1/32 in (rectangular), and the weather widens or narrows
# any paper by up to 0.3 % across its fibres and 0.15 % along (from memory, rectangular; the long side runs along them).
U_PAGE_MM = {"letter": (0.6, 0.5), "a4": (1.155, 1.155), "id1": (0.075, 0.035)}
MAIN_LENS_F35_MM = 21.0  # shorter is an ultra-wide lens


@dataclass(frozen=True, slots=True, eq=False)
class CameraPrior:
    """Prior of the interior: focal length px and u of its logarithm, principal point px and u, u of k1 and k2.

    From a profile it has k1 and k2 and the covariance (5, 5) of (log focal, cx, cy, k1, k2), which then stands.
    `guessed`: neither file nor person named the focal length.
    """

    focal_px: float
    u_log_focal: float
    cx: float
    cy: float
    u_centre_px: float
    u_k1: float
    u_k2: float
    k1: float = 0.0
    k2: float = 0.0
    covariance: Array | None = None
    guessed: bool = False


def camera_prior(focal_px: float, u_log_focal: float, size_px: tuple[int, int], *, known: bool) -> CameraPrior:
    """Return the prior of a camera; `known` says that Exif or a person named the focal length."""
    width, height = size_px
    f35 = focal_px * FULL_FRAME_DIAGONAL_MM / np.hypot(width, height)
    wide = known and f35 < MAIN_LENS_F35_MM
    u_k1, u_k2 = (0.2, 0.1) if wide else (0.03, 0.01) if known else (0.12, 0.05)
    u_centre = max(width, height) * (0.006 if known else 0.01)
    return CameraPrior(
        focal_px, u_log_focal, (width - 1) / 2, (height - 1) / 2, u_centre, u_k1, u_k2, guessed=not known
    )


def camera_blocks(p: CameraPrior) -> list[PriorBlock]:
    """Return the camera's prior as observations."""
    if p.covariance is not None:
        u = np.sqrt(np.diag(p.covariance))
        value = np.array([np.log(p.focal_px), p.cx, p.cy, p.k1, p.k2])
        return [PriorBlock(np.arange(6, 11), value, u, "camera", correlation=p.covariance / np.outer(u, u))]
    centre = PriorBlock(
        np.array([6, 7, 8]),
        np.array([np.log(p.focal_px), p.cx, p.cy]),
        np.array([p.u_log_focal, p.u_centre_px, p.u_centre_px]),
        "camera",
    )
    return [centre, PriorBlock(np.array([9, 10]), np.zeros(2), np.array([p.u_k1, p.u_k2]), "distortion")]


def size_block(reference: Reference, bar: CheckBar) -> PriorBlock:
    """Return what is known of the references' size: check bars, the print scale's prior, or a standard's limits."""
    index = np.arange(SIZE.start, SIZE.stop)
    if reference.kind == "sheet":
        seen, u_seen = np.zeros(2), np.full(2, np.inf)
        for i, (quantity, nominal) in enumerate(((bar.across, 150.0), (bar.along, 200.0))):
            if quantity is not None:
                seen[i], u_seen[i] = quantity.value_mm / nominal - 1, quantity.u_mm / nominal
        return print_block(printed_scale(seen, u_seen))
    width, height = reference_size_mm(reference)
    u_mm = reference.u_mm or U_PAGE_MM.get(reference.kind, (U_GIVEN_MM, U_GIVEN_MM))
    return PriorBlock(index, np.zeros(2), np.array([u_mm[0] / width, u_mm[1] / height]), "reference_size")


def print_block(scale: PrintedScale) -> PriorBlock:
    """Return a print scale as observation of the references' size."""
    u = scale.u
    together = scale.covariance / np.outer(u, u)
    return PriorBlock(np.arange(SIZE.start, SIZE.stop), scale.value, u, "print_scale", correlation=together)


def reference_size_mm(reference: Reference) -> tuple[float, float]:
    """Return width and height of a page, card or given rectangle."""
    if reference.width_mm is not None and reference.height_mm is not None:
        return reference.width_mm, reference.height_mm
    return PAGE_SIZE_MM[reference.kind]


def reference_blocks(
    count: int, wall: Wall, *, sheets: bool, stiff: bool, u_bloom_px: float = 1e-3, turn_rad: float = 0.0
) -> list[PriorBlock]:
    """Return the priors of all references: depth and tilt, bulge, bloom, and the gauge (the first one's place).

    `u_bloom_px` is for other references than sheets, whose own edges show how far black has grown. `turn_rad` is that
    of the first one in the wall's frame, by which the frame is set.
    """
    blocks: list[Sequence[PriorBlock]] = [[_gauge(turn_rad), wall_block()]]
    for i in range(count):
        first = reference_slice(i).start
        u_depth = float(np.hypot(U_DEPTH_MM[wall], U_STANDOFF_MM))
        u_bulge = 0.05 if stiff else U_BULGE_MM
        blocks.append(
            [
                PriorBlock(
                    first + np.array([DEPTH, TILT_X, TILT_Y]),
                    np.array([-STANDOFF_MM, 0, 0]),
                    np.array([u_depth, U_TILT_RAD, U_TILT_RAD]),
                    "wall_plane",
                ),
                PriorBlock(first + np.array([BULGE_X, BULGE_Y]), np.zeros(2), np.full(2, u_bulge), "flatness"),
                PriorBlock(
                    first + np.array([BLOOM]),
                    np.zeros(1),
                    np.array([U_BLOOM_PX if sheets else u_bloom_px]),
                    "reference_image",
                ),
            ]
        )
    return [b for group in blocks for b in group]


def wall_block() -> PriorBlock:
    """Return what is known of the wall's directions before any line of it is seen."""
    index = np.arange(WALL.start, WALL.stop)
    return PriorBlock(index, np.zeros(2), np.array([U_WALL_TURN_RAD, U_WALL_SKEW_RAD]), "wall_plane")


def _gauge(turn_rad: float) -> PriorBlock:
    """Return what fixes the frame of the wall: the first reference's place and turn (no error: a choice)."""
    first = reference_slice(0).start
    at = np.array([0.0, 0.0, turn_rad])
    return PriorBlock(first + np.array([X, Y, TURN]), at, np.array([1e-4, 1e-4, 1e-7]), "gauge")
