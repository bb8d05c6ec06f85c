"""What one more observation would bring: each remedy is added to the adjustment as it would be, not taken from a table.

The covariance of a least-squares adjustment depends on the design alone, not on the values observed, so it is known
before a sheet is taped up or a bar is measured (Mikhail and Ackermann 1976, ch. 7; planning of networks).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from vision.adjustment import Adjusted, Block, adjust
from vision.camera import project
from vision.depths import EdgeDepths, edge_depths, once_given
from vision.measures import Measured, Sensitivity, covariances, total_of
from vision.observations import (
    DEPTH,
    FIRST_REFERENCE,
    PER_REFERENCE,
    SIZE,
    TURN,
    EdgeBlock,
    PhotoState,
    PriorBlock,
    X,
    Y,
    reference_points,
)
from vision.one_photo import PhotoTraced
from vision.page_sides.block import SideBlock
from vision.photo.exif import U_LOG_KNOWN
from vision.priors import (
    PAPER,
    STANDOFF_MM,
    camera_blocks,
    camera_prior,
    reference_blocks,
    reference_size_mm,
    size_block,
)
from vision.request import LOW, SIDES, Array, CheckBar, OpeningRequest, Quantity, Reference, Remedy, Side, Wall
from vision.solving.solve import SHEET_HALF_MM
from vision.solving.solved import CAMERA_PARTS, but_camera
from vision.stations import Line, corners, lines_of

# A page measured with a steel rule, as any size that a person gives to the millimetre; bars of 150 and 200 mm written
# down to a tenth of a millimetre, which is then what is known of them (contract: the last digit; rectangular).
U_RULE_MM = 0.25
BARS_MM, U_BAR_MM = (150.0, 200.0), 0.1 / 12**0.5
U_BAR = U_BAR_MM / np.array(BARS_MM)
BESIDE_MM = 180.0  # a second reference hangs so far off the jamb, from its middle
# A sheet as 63 points seen in both directions: as much as its printed edges weigh on photos for practice and renderings
# of 0.4 to 2 px a mm (0.02 to 0.09 px, 0.04 in the middle).
GRID = np.stack(np.meshgrid(np.linspace(-90, 90, 7), np.linspace(-120, 120, 9)), -1).reshape(-1, 2)
U_SHEET_PX = 0.04
# What a profile from six photos of sheets leaves open, with what a lens moves from photo to photo (calibrations of made
# corners, 4032 px: 0.25 %, 3 px, 0.001 to 0.002, 0.002 to 0.009): log of the focal length, share of the long side,
# k1 and k2.
U_PROFILE_LOG, U_PROFILE_CENTRE, U_PROFILE_RADIAL = 0.005, 0.002, (0.003, 0.009)
CameraAction = Literal["original-photo", "lens-profile"]
FIRST = np.arange(FIRST_REFERENCE, FIRST_REFERENCE + PER_REFERENCE)  # the unknowns of the first reference


def remedies(request: OpeningRequest, photo: PhotoTraced, measured: Measured) -> tuple[Remedy, ...]:
    """Return what could be done about the uncertainty of one photo's measures, and what each would bring."""
    depths = edge_depths(request)
    adjusted, blocks, by = photo.solved.adjusted, photo.solved.blocks, measured.sensitivity
    if not blocks or by is None or set(photo.sides) != set(SIDES):
        return ()
    u_click = 0.0 if photo.clicks is None else photo.clicks[1]
    station = np.diag(measured.station_u_mm**2)

    def cov(solution: Adjusted[PhotoState], known: EdgeDepths = depths, by: Sensitivity = by) -> Array:
        parts = covariances(by, solution.parts, photo.sides, known.cov_mm2, u_click)
        return total_of(parts | {"station": station})

    found = []
    lines = lines_of(adjusted.state.camera, photo.sides, {s: photo.sides[s].depth_mm for s in SIDES})
    for where, state, more in _one_more(photo, lines):
        found.append(Remedy("second-reference", where, cov(adjust([*blocks, *more], state, iterations=0))))
    sheets = photo.reference.kind == "sheet"
    if not sheets:
        state, instead = _two_sheets(request.wall, photo, lines)
        found.append(Remedy("two-sheets", "", cov(adjust(instead, state, iterations=0))))
    if sheets and request.check_bar == CheckBar():
        index = np.arange(SIZE.start, SIZE.stop)
        bars = PriorBlock(index, adjusted.state.size, U_BAR, "print_scale")
        found.append(Remedy("measure-bars", "", cov(adjust([*blocks, bars], adjusted.state, iterations=0))))
    if photo.reference.kind in PAPER:
        index = np.arange(SIZE.start, SIZE.stop)
        size = U_RULE_MM / np.array(reference_size_mm(photo.reference))
        ruled = PriorBlock(index, adjusted.state.size, size, "reference_size")
        found.append(Remedy("measure-page", "", cov(adjust([*blocks, ruled], adjusted.state, iterations=0))))
    for action, camera in _camera_known(blocks):
        found.append(Remedy(action, "", cov(adjust(camera, adjusted.state, iterations=0))))
    if depths.assumed:
        found.append(Remedy("give-edge-offset", "", cov(adjusted, once_given(request))))
    return tuple(replace(remedy, thing=photo.reference.thing) for remedy in found)


def _beside(lines: Mapping[Side, Line], sign: float, *, low: bool = False) -> Array:
    """Return place mm and turn of a reference beside the opening, left (-1) or right (1), maybe `low` as its sill."""
    at = corners(lines)
    across = (at[1] - at[0]) / np.linalg.norm(at[1] - at[0])
    wide = float(np.linalg.norm(at[1] - at[0]))
    reference = np.zeros(PER_REFERENCE)
    place = (at[2:].mean(0) if low else at.mean(0)) + sign * (wide / 2 + BESIDE_MM) * across
    reference[[X, Y, TURN, DEPTH]] = [*place, float(np.arctan2(across[1], across[0])), -STANDOFF_MM]
    return reference


def _two_sheets(
    wall: Wall, photo: PhotoTraced, lines: Mapping[Side, Line]
) -> tuple[PhotoState, Sequence[Block[PhotoState]]]:
    """Return state and observations of the same view with two sheets, bars measured, in place of what is there."""
    old = photo.solved.adjusted.state
    state = replace(old, size=np.zeros(2), references=np.array([_beside(lines, -1.0), _beside(lines, 1.0)]))
    kept = [b for b in photo.solved.blocks if not isinstance(b, PriorBlock | EdgeBlock | SideBlock)]
    kept += [b for b in photo.solved.blocks if isinstance(b, PriorBlock) and (b.index < SIZE.start).all()]
    bars = size_block(Reference("sheet"), CheckBar(*(Quantity(mm, U_BAR_MM) for mm in BARS_MM)))
    known = reference_blocks(2, wall, sheets=True, stiff=False)
    known = [replace(b, value=state.references[0, [X, Y, TURN]]) if b.part == "gauge" else b for b in known]
    plane = np.repeat(GRID, 2, axis=0)
    normals = np.tile([[1.0, 0.0], [0.0, 1.0]], (len(GRID), 1))
    at = np.zeros_like(plane), normals, np.full(len(plane), U_SHEET_PX), np.zeros(len(plane))
    seen = [_moved(EdgeBlock(i, plane, SHEET_HALF_MM, *at), i, state) for i in range(2)]
    return state, [*kept, bars, *known, *seen]


def _one_more(
    photo: PhotoTraced, lines: Mapping[Side, Line]
) -> Iterator[tuple[str, PhotoState, Sequence[Block[PhotoState]]]]:
    """Give the places for one more reference like the first, and state and observations with it.

    It hangs on the other side of the opening, or level with the sill: others at one height say little of how the view
    is pitched. None is higher, where it takes a ladder.
    """
    old = photo.solved.adjusted.state
    at = corners(lines)
    mean = float(((old.references[:, [X, Y]] - at.mean(0)) @ (at[1] - at[0])).mean())
    sign = -1.0 if mean > 0 else 1.0
    last = len(old.references)
    moved = PER_REFERENCE * last
    own = [
        replace(b, index=b.index + moved)
        for b in photo.solved.blocks
        if isinstance(b, PriorBlock) and b.part != "gauge" and np.isin(b.index, FIRST).all()
    ]
    for to, low in ((sign, False), (sign, True), (-sign, True)):
        state = replace(old, references=np.vstack([old.references, _beside(lines, to, low=low)]))
        seen_again = [_elsewhere(b, last, state) for b in _seen(photo) if b.reference == 0]
        yield ("left" if to < 0 else "right") + (LOW if low else ""), state, [*seen_again, *own]


def _camera_known(blocks: Sequence[Block[PhotoState]]) -> Iterator[tuple[CameraAction, list[Block[PhotoState]]]]:
    """Give what would make the lens better known, where it is not as well known, and the observations with it."""
    known = [b for b in blocks if isinstance(b, PriorBlock) and b.part in CAMERA_PARTS and (b.index < SIZE.start).all()]
    if not known or any(b.correlation is not None for b in known):  # clicked, or a profile
        return
    interior = known[0]
    focal_px = float(np.exp(interior.value[0]))
    width, height = (round(float(2 * middle + 1)) for middle in interior.value[1:])
    kept = but_camera(blocks)
    if interior.u[0] > U_LOG_KNOWN:
        named = camera_prior(focal_px, U_LOG_KNOWN, (width, height), known=True)
        yield "original-photo", [*kept, *camera_blocks(named)]
    u = np.array([U_PROFILE_LOG, *(U_PROFILE_CENTRE * max(width, height),) * 2, *U_PROFILE_RADIAL])
    at = np.concatenate([np.ravel(b.value) for b in known])
    yield "lens-profile", [*kept, PriorBlock(np.arange(6, 11), at, u, "camera")]


def _seen(photo: PhotoTraced) -> list[EdgeBlock | SideBlock]:
    return [b for b in photo.solved.blocks if isinstance(b, EdgeBlock | SideBlock)]


def _elsewhere(block: EdgeBlock | SideBlock, last: int, state: PhotoState) -> EdgeBlock | SideBlock:
    """Return what was seen of the first reference as it would be of reference `last`: as sharply, as much of it."""
    if isinstance(block, SideBlock):
        return replace(block, points=_moved(block.points, last, state))
    return _moved(block, last, state)


def _moved(points: EdgeBlock, last: int, state: PhotoState) -> EdgeBlock:
    wall, _ = reference_points(state, last, points.plane_mm, points.half_mm)
    return replace(points, reference=last, pixel=project(state.camera, wall))
