"""The four sides of an opening traced in one photo of known camera, each with its noise, roughness and rivals.

Strip along the side, lines of consistent colour step, the outermost real one, its place to sub-pixels, and behind a
rounded arris the place where the inner face begins: modules `profiles`, `line_search`, `weights`, `place`, `arris`;
`finding` puts them together; `held` and `held_in_turn` check the sides against each other, `held_by_ears` a sill
against its own ends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.request import SIDES, Array, Side, Wall
from vision.sides.double_step import with_double_step
from vision.sides.finding import FailedSide, FoundSide, find_side
from vision.sides.held import held_against_depth, held_against_ends
from vision.sides.held_by_ears import held_against_ears
from vision.sides.held_in_turn import held_in_turn
from vision.sides.held_to_clicks import held_to_clicks
from vision.sides.inner_edge import InnerEdge, inner_edges
from vision.sides.laid_units import laid_units
from vision.sides.reweighed import whole_weights
from vision.sides.search import CLICK_PX_12MP
from vision.sides.sill_ghosts import Ghost
from vision.sides.weights import FAINT, SideCandidate
from vision.stations import LaidUnits

HIDDEN_COVERAGE = 0.4  # share of a side that must show its line, else the side counts as hidden
GHOST_TILT = 0.6  # error at the ends of an unseen arris against its middle's: 0.3 against 0.5 px on own renderings
UNSEEN_NAME = "front arris, not seen"
BY_STEPS_NAME = "edge by its mean steps"
POINTED_NAME = "as pointed at, no edge seen"
POINTED_WEIGHT = 0.49  # guess: no more than even, so that nothing is told by it
CLICKS = 2.5  # a careless click's reach in standard deviations (guess)
U_UNSEEN_LOCAL_MM = 0.5  # guess: how far an arris that is not seen strays from straight; its place is another matter


@dataclass(frozen=True, slots=True, eq=False)
class SideTrace:
    """One traced side in the plane z = depth_mm of the wall's frame.

    `origin_mm` (2,) lies on the straight line at its middle, `direction` (2,) is its unit direction (head and sill to
    the right, jambs down). `cov_offset_slope` (2, 2): offset along the outward normal in mm and slope in
    rad, noise of the trace only. `bow_mm` is the sagitta of the bow, its middle outward +; 0 where none is evident.
    `local_mm` (N,) at `s_mm` (N,): the edge against the straight line, outward +, bow included; `units` the same brick
    by brick, where courses are seen. `u_arris_mm`: of where the inner face begins behind an arris that is not resolved;
    None: the light does not tell, or shows it; `arris_with_mm2`: covariance of that with other sides. `over_texture`:
    its step over what the face beside it shows by chance.
    """

    side: Side
    depth_mm: float
    origin_mm: Array
    direction: Array
    cov_offset_slope: Array
    bow_mm: float
    s_mm: Array
    local_mm: Array
    u_local_mm: float
    scatter_mm: float
    coverage: float
    hidden: bool
    candidates: tuple[SideCandidate, ...]
    units: LaidUnits | None = None
    u_arris_mm: float | None = None
    arris_with_mm2: Mapping[Side, float] = field(default_factory=dict)
    over_texture: float = np.inf


def trace_sides(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    wall: Wall,
    sill_at: str = "front",
    blur_px: tuple[float, float] | None = None,
    *,
    find: Callable[[Side], FoundSide | FailedSide] | None = None,
) -> dict[Side, SideTrace | FailedSide]:
    """Return the four sides traced from rough corners.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, upright
    corners_px : (4, 2) px, top left first, clockwise, rough
    click_px : standard deviation of a corner per axis, px
    depth_mm : z of the plane of each side, + into the wall (edge offset with its sign turned)
    wall : kind of wall; sets how much bow is believed
    sill_at : "front", or another line of the sill, then nearest to the corners instead of outermost
    blur_px : spread of sharp edges in the photo, of those that run up and down and of those that run across
    find : in place of `find_side` with all of these, as `vision.last_trace` does.

    Notes
    -----
    Fails for a side outside the photo or without any step along it.
    """
    corners = np.asarray(corners_px, float)

    def anew(side: Side) -> FoundSide | FailedSide:
        return find_side(rgb, camera, corners, click_px, depth_mm, wall, sill_at, side)

    found = {side: (find or anew)(side) for side in SIDES}
    found = held_in_turn(found, wall)
    found = held_against_ends(rgb, camera, found, wall, sill_at)
    found = held_against_ears(rgb, camera, found, wall, sill_at)
    found = held_against_depth(rgb, camera, found, wall)
    found = held_to_clicks(camera, found, corners, click_px, depth_mm, wall)
    if sill_at == "front":
        found["sill"] = with_double_step(found["sill"], blur_px)
    edges = inner_edges({side: f for side, f in found.items() if isinstance(f, FoundSide)}, blur_px)
    u_px = max(CLICK_PX_12MP * float(np.sqrt(rgb.shape[0] * rgb.shape[1] / 12.2e6)) / CLICKS, click_px)
    made = {s: f if isinstance(f, FailedSide) else _finish(s, f, edges[s], u_px) for s, f in found.items()}
    return {s: _by_units(t, found[s]) if wall == "masonry" else t for s, t in made.items()}


def _by_units(trace: SideTrace | FailedSide, found: FoundSide | FailedSide) -> SideTrace | FailedSide:
    """Return a side of masonry with its bricks told apart, where its own line was seen."""
    if isinstance(trace, FailedSide) or isinstance(found, FailedSide) or not len(trace.s_mm):
        return trace
    units = laid_units(found.strip, found.placed)
    if units is None:
        return trace
    return replace(trace, units=replace(units, ends_mm=units.ends_mm - found.strip.u_mm[-1] / 2))


def _finish(side: Side, found: FoundSide, edge: InnerEdge, click_px: float) -> SideTrace:
    ghost = found.ghost
    if ghost is not None and ghost.leads and ghost.weight >= FAINT:
        return _unseen(side, found, ghost)
    if float(whole_weights(found).max()) >= FAINT:
        return _result(side, found, edge)
    # no line is the side: then the corners are the best that is known of it
    pointed = Ghost(np.zeros(3), POINTED_WEIGHT, click_px * found.strip.mm_per_px, leads=True)
    return _unseen(side, replace(found, ghost=pointed), pointed, POINTED_NAME)


def _result(side: Side, found: FoundSide, edge: InnerEdge) -> SideTrace:
    strip, placed = found.strip, found.placed
    half = strip.u_mm[-1] / 2
    slope = float(placed.shape[1] / half)
    direction = strip.direction + slope * strip.normal
    direction /= np.hypot(*direction)
    origin = strip.origin_mm + half * strip.direction + (placed.shape[0] + edge.shift_mm) * strip.normal
    scale = np.diag([1.0, 1 / half])
    cov = scale @ placed.cov[:2, :2] @ scale
    cov[0, 0] += edge.u_offset_mm**2
    sagitta = -1.5 * float(placed.shape[2])  # middle over the chord: P2 is -1/2 there and 1 at the ends
    evident = 6 * float(np.sqrt(placed.cov[2, 2])) < abs(sagitta)
    return SideTrace(
        side=side,
        depth_mm=strip.depth_mm,
        origin_mm=origin,
        direction=direction,
        cov_offset_slope=cov,
        bow_mm=sagitta if evident else 0.0,
        s_mm=placed.u_mm - half,
        local_mm=placed.local_mm,
        u_local_mm=placed.u_local_mm,
        scatter_mm=placed.scatter_mm,
        coverage=placed.coverage,
        hidden=bool(placed.coverage < HIDDEN_COVERAGE or found.weights[found.best] < FAINT),
        candidates=_candidates(found),
        u_arris_mm=edge.u_arris_mm,
        arris_with_mm2=edge.arris_with_mm2,
        over_texture=found.lines[found.best].over_texture,
    )


def _unseen(side: Side, found: FoundSide, ghost: Ghost, name: str = UNSEEN_NAME) -> SideTrace:
    """Return the side where other things say it is though no line shows it: hidden, wide, without local edge."""
    strip = found.strip
    half = strip.u_mm[-1] / 2
    slope = float(ghost.shape[1] / half)
    direction = strip.direction + slope * strip.normal
    return SideTrace(
        side=side,
        depth_mm=strip.depth_mm,
        origin_mm=strip.origin_mm + half * strip.direction + ghost.shape[0] * strip.normal,
        direction=direction / np.hypot(*direction),
        cov_offset_slope=_u_unseen(ghost, half),
        bow_mm=0.0,
        s_mm=np.zeros(0),
        local_mm=np.zeros(0),
        u_local_mm=U_UNSEEN_LOCAL_MM,
        scatter_mm=0.0,
        coverage=0.0,
        hidden=True,
        candidates=_candidates(found, name),
    )


def _u_unseen(ghost: Ghost, half: float) -> Array:
    """Return the covariance (2, 2) of offset and slope: known at both ends, or at the first or second one only."""
    if ghost.lever_mm == 0:
        return np.diag([ghost.u_mm**2, (GHOST_TILT * ghost.u_mm / half) ** 2])
    tilt = ghost.lever_mm**2
    both = float(np.copysign(tilt, ghost.lever_mm)) / half
    return np.array([[ghost.u_mm**2 + tilt, both], [both, tilt / half**2]])


def _candidates(found: FoundSide, unseen: str = UNSEEN_NAME) -> tuple[SideCandidate, ...]:
    """Return the lines that may be the side, the one taken first; shifts are against that one."""
    ghost = found.ghost
    leads = ghost is not None and ghost.leads
    placed = found.drifted or (ghost is not None and ghost.lever_mm)
    own = found.placed.shape if placed else found.lines[found.best].shape
    taken = ghost.shape if ghost is not None and leads else own

    def against(shape: Array, weight: float, name: str) -> SideCandidate:
        return SideCandidate(weight, float(shape[0] - taken[0]), name)

    out = []
    for i in np.argsort(-found.weights):
        best = int(i) == found.best and not leads
        shape, weight = own if int(i) == found.best else found.lines[i].shape, float(found.weights[i])
        if weight >= 0.005 or best:
            out.append(against(shape, weight, "edge" if best else "outside" if shape[0] > taken[0] else "inside"))
    if found.drifted:
        out.append(against(found.lines[found.best].shape, float(found.weights[found.best]), BY_STEPS_NAME))
    if ghost is not None:
        out.append(against(ghost.shape, ghost.weight, unseen))
    first = unseen if leads else "edge"
    return tuple(sorted(out, key=lambda c: (c.name != first, -c.weight)))
