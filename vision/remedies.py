"""What one more observation would bring: each remedy is added to the adjustment as it would be, not taken from a table.

The covariance of a least-squares adjustment depends on the design alone, not on the values observed, so it is known
before a sheet is taped up or a bar is measured (Mikhail and Ackermann 1976, ch. 7; planning of networks).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.adjustment import Adjusted, Block, adjust
from vision.camera import project
from vision.depths import EdgeDepths, edge_depths
from vision.measures import Measured, Sensitivity, covariances, total_of
from vision.observations import DEPTH, PER_REFERENCE, SIZE, TURN, EdgeBlock, PhotoState, PriorBlock, X, Y
from vision.one_photo import PhotoTraced
from vision.priors import PAPER, STANDOFF_MM, reference_blocks, reference_size_mm
from vision.request import SIDES, Array, CheckBar, OpeningRequest, Remedy, Side
from vision.solving.solve import SHEET_HALF_MM
from vision.stations import Line, corners, lines_of

# A steel rule against a printed bar or a page, read to half a millimetre (guess), and the bars' nominal lengths.
U_RULE_MM = 0.25
U_BAR = U_RULE_MM / np.array([150.0, 200.0])
U_OFFSET_MM = 1.0  # contract: an offset that is given is good to that
BESIDE_MM = 180.0  # a second reference hangs so far off the jamb, from its middle
GRID = np.stack(np.meshgrid(np.linspace(-0.85, 0.85, 7), np.linspace(-0.85, 0.85, 9)), -1).reshape(-1, 2)


def remedies(request: OpeningRequest, photo: PhotoTraced, measured: Measured) -> tuple[Remedy, ...]:
    """Return what could be done about the uncertainty of one photo's measures, and what each would bring."""
    depths = edge_depths(request)
    adjusted, blocks, by = photo.solved.adjusted, photo.solved.blocks, measured.sensitivity
    if not blocks or by is None or set(photo.sides) != set(SIDES):
        return ()
    u_click = 0.0 if photo.clicks is None else photo.clicks[1]
    station = np.diag(measured.station_u_mm**2)

    def cov(solution: Adjusted[PhotoState], known: EdgeDepths = depths, by: Sensitivity = by) -> Array:
        parts = covariances(by, solution.parts, photo.sides, known.u_common_mm, known.u_each_mm, u_click)
        return total_of(parts | {"station": station})

    found = []
    lines = lines_of(adjusted.state.camera, photo.sides, {s: photo.sides[s].depth_mm for s in SIDES})
    side, state, more = _second_reference(request, photo, lines)
    found.append(Remedy("second-reference", side, cov(adjust([*blocks, *more], state, iterations=0))))
    sheets = "sheet" in photo.solved.names[0]
    if sheets and request.check_bar == CheckBar():
        index = np.arange(SIZE.start, SIZE.stop)
        bars = PriorBlock(index, adjusted.state.size, U_BAR, "print_scale")
        found.append(Remedy("measure-bars", "", cov(adjust([*blocks, bars], adjusted.state, iterations=0))))
    if request.reference.kind in PAPER:
        index = np.arange(SIZE.start, SIZE.stop)
        size = U_RULE_MM / np.array(reference_size_mm(request.reference))
        ruled = PriorBlock(index, adjusted.state.size, size, "reference_size")
        found.append(Remedy("measure-page", "", cov(adjust([*blocks, ruled], adjusted.state, iterations=0))))
    if request.edge_offset is None:
        given = EdgeDepths(depths.z_mm, U_OFFSET_MM, dict.fromkeys(SIDES, 0.0))
        found.append(Remedy("give-edge-offset", "", cov(adjusted, given)))
    return tuple(found)


def _second_reference(
    request: OpeningRequest, photo: PhotoTraced, lines: Mapping[Side, Line]
) -> tuple[str, PhotoState, Sequence[Block[PhotoState]]]:
    """Return the side for one more reference like the first, and state and observations with it."""
    old = photo.solved.adjusted.state
    at = corners(lines)
    middle = at.mean(0)
    across = (at[1] - at[0]) / np.linalg.norm(at[1] - at[0])
    seen = old.references[:, [X, Y]]
    wide = float(np.linalg.norm(at[1] - at[0]))
    mean = float(((seen - middle) @ across).mean())
    sign = -1.0 if mean > 0 else 1.0
    place = middle + sign * (wide / 2 + BESIDE_MM) * across
    reference = np.zeros(PER_REFERENCE)
    reference[[X, Y, TURN, DEPTH]] = [*place, float(np.arctan2(across[1], across[0])), -STANDOFF_MM]
    state = replace(old, references=np.vstack([old.references, reference]))
    last = len(old.references)
    half = _half_mm(photo)
    plane = GRID * half
    c, s = np.cos(reference[TURN]), np.sin(reference[TURN])
    wall = plane @ np.array([[c, s], [-s, c]]) + place
    pixel = project(old.camera, np.column_stack([wall, np.full(len(wall), -STANDOFF_MM)]))
    u_px = _u_of_point(photo, len(plane))
    normals = np.tile([[1.0, 0.0], [0.0, 1.0]], (len(plane), 1))
    seen_again = EdgeBlock(
        last, np.repeat(plane, 2, axis=0), half, np.repeat(pixel, 2, axis=0), normals,
        np.full(2 * len(plane), u_px), np.zeros(2 * len(plane)),
    )  # fmt: skip
    sheets = "sheet" in photo.solved.names[0]
    priors = reference_blocks(last + 1, request.wall, sheets=sheets, stiff=not sheets)
    first = int(PER_REFERENCE * last + old.unknowns - old.references.size)
    own = [b for b in priors if isinstance(b, PriorBlock) and (b.index >= first).all()]
    return ("left" if sign < 0 else "right"), state, [seen_again, *own]


def _half_mm(photo: PhotoTraced) -> Array:
    for block in photo.solved.blocks:
        if isinstance(block, EdgeBlock):
            return block.half_mm
    return SHEET_HALF_MM


def _u_of_point(photo: PhotoTraced, count: int) -> float:
    """Return the noise px of one point of the new reference, so that all weigh as the first reference's do."""
    weight = [float((1 / b.u_px**2).sum()) for b in photo.solved.blocks if isinstance(b, EdgeBlock)]
    return float(np.sqrt(2 * count / max(np.median(weight), 1e-9))) if weight else 0.5
