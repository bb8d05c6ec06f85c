"""The four sides of an opening traced in one photo of known camera, each with its noise, roughness and rivals.

Strip along the side, lines of consistent colour step, the outermost real one, its place to sub-pixels, and behind a
rounded arris the place where the inner face begins: modules `profiles`, `side_fit`, `side_weights`, `side_place`,
`arris`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.request import SIDES, Array, Side, Wall
from vision.sides.arris import RESOLVED_MM_PER_PX, find_arris, offsets_px, step_blur_px
from vision.sides.fit import Beside, Line, apart_mm, find_lines
from vision.sides.jamb_ends import head_end, unseen_share
from vision.sides.place import Placed, place_line, stack_profile
from vision.sides.profiles import Strip, cut_strip
from vision.sides.sill_ghosts import Ghost
from vision.sides.sill_horns import find_horns
from vision.sides.texture import texture_of
from vision.sides.weights import FAINT, OVER_TEXTURE, STRONG, SideCandidate, plan_search, scores, thin, weigh

BOW_MM: Mapping[Wall, float] = {"masonry": 8.0, "render": 6.0, "siding": 2.5, "panel": 2.5}  # guess
LEVEL_BOW = 0.4  # guess: lintels and sills are cast, cut or laid on one; jambs are laid course by course
HIDDEN_COVERAGE = 0.4
ARRIS_MM = 4.5  # lines nearer than this may be the two ends of one rounded arris
_BESIDE: Mapping[Side, Beside] = {"head": "inside", "right": "both", "sill": "none", "left": "both"}
MARGIN_PX = 9.0
SHORT_MM = 100.0  # contract: under 100 mm is no length of an opening
GHOST_TILT = 0.6  # error at the ends of an unseen arris against its middle's: 0.3 against 0.5 px on own renderings
UNSEEN_NAME = "front arris, not seen"
BY_STEPS_NAME = "edge by its mean steps"
# Own hard renderings and practice, jambs: on brick 4 of 4 beyond 0.95 px were wrong by more than 2 mm, all good ones
# of 224 lay within 0.88 (of 316 others 3 lay beyond, 2 of them wrong at an end); on trim and render 3 of 144 good ones
# lay at 1.0 to 1.2 px, a wrong one at 4.5.
# Since then of 332 brick jambs 6 lay beyond 0.95 px and all within 2 mm: which estimate is right stays open, half each.
MOST_DRIFT_PX: Mapping[Wall, float] = {"masonry": 0.95, "render": 2.0, "siding": 2.0, "panel": 2.0}
BOW_ROOM, CLOSE_PX = 2.0, 3.0  # of the bow that is believed; room to place a line that would bend further
SURE_HEAD, SAME_DEPTH_MM = 0.9, 3.0
U_PARALLEL = 0.003  # guess, rad: an unseen arris against the line that is seen beside it
U_UNSEEN_LOCAL_MM = 0.5  # guess: how far an arris that is not seen strays from straight; its place is another matter
RAGGED_MM = 3.0  # guess: twice how far (sd) one brick ends off the side's line
JITTER_SHARE = 0.7  # guess: how much of the roughness that is not followed widens the mean profile


@dataclass(frozen=True, slots=True, eq=False)
class SideTrace:
    """One traced side in the plane z = depth_mm of the wall's frame.

    `origin_mm` (2,) lies on the straight line at its middle, `direction` (2,) is its unit direction (head and sill to
    the right, jambs down). `cov_offset_slope` (2, 2): offset along the outward normal in mm and slope in
    rad, noise of the trace only. `bow_mm` is the sagitta of the bow, its middle outward +; 0 where none is evident.
    `local_mm` (N,) at `s_mm` (N,): the edge against the straight line, outward +, bow included.
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


@dataclass(frozen=True, slots=True)
class FailedSide:
    """A side that could not be traced, and why."""

    side: Side
    reason: str


def trace_sides(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    wall: Wall,
    sill_at: str = "front",
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
    find : in place of `find_side` with all of these, as `vision.kept.last_trace` does.

    Notes
    -----
    Fails for a side outside the photo or without any step along it.
    """
    corners = np.asarray(corners_px, float)

    def anew(side: Side) -> FoundSide | FailedSide:
        return find_side(rgb, camera, corners, click_px, depth_mm, wall, sill_at, side)

    found = {side: (find or anew)(side) for side in SIDES}
    head = found["head"]
    for side in ("right", "left"):
        jamb = found[side]
        if isinstance(head, FoundSide) and isinstance(jamb, FoundSide):
            found[side] = _held_against_head(rgb, camera, side, jamb, head, wall)
    blur = min((_blur(f) for f in found.values() if isinstance(f, FoundSide)), default=float("inf"))
    return {side: f if isinstance(f, FailedSide) else _finish(side, f, blur) for side, f in found.items()}


@dataclass(frozen=True, slots=True, eq=False)
class FoundSide:
    """Lines of one strip from outside to inside, their weights, and the best of them placed.

    `drifted`: the best as found and as placed lie apart; its weight is then that of each of the two.
    """

    strip: Strip
    lines: list[Line]
    weights: Array
    best: int
    placed: Placed
    profile: Array
    ghost: Ghost | None
    drifted: bool = False


def find_side(
    rgb: NDArray[np.uint8],
    camera: Camera,
    corners_px: Array,
    click_px: float,
    depth_mm: Mapping[Side, float],
    wall: Wall,
    sill_at: str,
    side: Side,
) -> FoundSide | FailedSide:
    """Return one side's strip with its lines weighed, by its own two corners alone; parameters of `trace_sides`."""
    search = plan_search(camera, corners_px, click_px, depth_mm, sill_at, side, rgb.shape)
    if side != "sill":  # its faint arris lies among shadow, joint and nose: `weigh` has other evidence there
        search = replace(search, over_texture=OVER_TEXTURE[wall])
    if not np.isfinite(search.ends_mm).all():
        return FailedSide(side, "its corners do not lie on the wall as seen by the camera")
    if np.hypot(*(search.ends_mm[1] - search.ends_mm[0])) < SHORT_MM:
        return FailedSide(side, f"its corners are less than {SHORT_MM:.0f} mm apart")
    inner, outer = search.inner_px, search.outer_px
    depth = float(depth_mm[side])
    strip = cut_strip(rgb, camera, side, search.ends_mm, depth, inner + MARGIN_PX, outer + MARGIN_PX)
    if strip is None:
        return FailedSide(side, "it lies outside the photo")
    bow = BOW_MM[wall] * (1.0 if side in ("left", "right") else LEVEL_BOW)
    lines = find_lines(strip, (-inner, outer), bow, beside=_BESIDE[side])
    lines = thin(lines, strip.mm_per_px, search, bow)
    if not lines:
        return FailedSide(side, "no edge runs along it within reach of the corners")
    horns = find_horns(rgb, camera, search, depth_mm)
    arris_px = np.array([h.ends_px for h in horns]).reshape(-1, 2)
    arris_weight = np.array([h.weight for h in horns])
    texture = None
    if side == "sill":
        clear = scores(lines, strip.mm_per_px, search, bow) > STRONG
        texture = texture_of(strip, camera, [x for x, c in zip(lines, clear, strict=True) if c])
    weights, ghost = weigh(lines, strip.mm_per_px, search, bow, sill_at, arris_px, arris_weight, texture)
    if wall == "masonry":
        lines, weights = one_ragged_side(lines, weights)
    for best in np.argsort(-weights):
        room = _room(lines, int(best), strip.mm_per_px)
        placed = place_line(strip, lines[best].shape, *room)
        if placed is not None and wall != "masonry" and BOW_ROOM * bow < 1.5 * abs(float(placed.shape[2])):
            # trim is straight: samples that bend so far have gone over to a stronger line beside it
            placed = place_line(strip, lines[best].shape, *(min(r, CLOSE_PX) for r in room))
        if placed is not None:
            profile = stack_profile(strip, placed, offsets_px())
            jamb = side in ("left", "right")
            drifted = jamb and drift_px(lines[best], placed, strip.mm_per_px) > MOST_DRIFT_PX[wall]
            weights = np.where((np.arange(len(weights)) == best) & drifted, weights / 2, weights)
            return FoundSide(strip, lines, weights, int(best), placed, profile, ghost, drifted)
    return FailedSide(side, "the edge is too faint to be placed")


def one_ragged_side(lines: list[Line], weights: Array) -> tuple[list[Line], Array]:
    """Return lines (M,) and weights (M,) with those that lie within a brick's raggedness of the likeliest one added.

    Bricks end here and there; a line through some ends and one through others are two readings of one side, which is
    then placed by all of its samples.
    """
    best = int(weights.argmax())
    near = np.array([apart_mm(line.shape, lines[best].shape) < RAGGED_MM for line in lines])
    weights = np.where(np.arange(len(lines)) == best, weights[near].sum(), weights)
    near[best] = False
    return [line for line, gone in zip(lines, near, strict=True) if not gone], weights[~near]


def drift_px(line: Line, placed: Placed, mm: float) -> float:
    """Return the rms distance px of a line as found, by mean steps, and as placed, by its samples: two estimates."""
    return apart_mm(line.shape, placed.shape) / mm


def _held_against_head(
    rgb: NDArray[np.uint8], camera: Camera, side: Side, jamb: FoundSide, head: FoundSide, wall: Wall
) -> FoundSide:
    """Return a jamb with its lines weighed by where the head ends, or as it is where that does not tell."""
    if head.weights[head.best] < SURE_HEAD or abs(head.strip.depth_mm - jamb.strip.depth_mm) > SAME_DEPTH_MM:
        return jamb
    half = jamb.strip.u_mm[-1] / 2
    (a, along), (b, down) = _straight(head), _straight(jamb)
    corner = a + along * np.linalg.solve(np.column_stack([along, -down]), b - a)[0]
    end = head_end(rgb, camera, corner, along, side, head.strip.depth_mm, wall)
    if end is None:
        return jamb
    bow = jamb.placed.shape[2] if wall == "render" else 0.0  # trim is straight: there a drift is a change of line
    off = end.offset_mm - float(bow)
    share = unseen_share(float(jamb.weights[jamb.best]), off, end)
    if share == 0:
        return jamb
    shape = np.array([jamb.placed.shape[0] + off, jamb.placed.shape[1], 0.0])
    weights, weight = jamb.weights * (1 - share), share * float(jamb.weights.sum())
    leads = weight > float(weights.max())
    return replace(jamb, weights=weights, ghost=Ghost(shape, weight, end.u_mm, leads, U_PARALLEL * half))


def _straight(found: FoundSide) -> tuple[Array, Array]:
    """Return a point (2,) at the middle and the unit direction (2,) of a placed line, mm."""
    strip, half = found.strip, found.strip.u_mm[-1] / 2
    direction = strip.direction + found.placed.shape[1] / half * strip.normal
    return strip.origin_mm + half * strip.direction + found.placed.shape[0] * strip.normal, direction / np.hypot(
        *direction
    )


def _blur(found: FoundSide) -> float:
    """Return the blur px of the sharpest clear line of a strip: the photo's own blur is no more than that."""
    least = step_blur_px(found.profile)
    mm = found.strip.mm_per_px
    if mm > RESOLVED_MM_PER_PX:
        return least
    clear = [i for i, x in enumerate(found.lines) if x.contrast > 0.05 and x.t_value > 10 and x.coverage > 0.9]
    for i in [i for i in clear if i != found.best][:2]:
        placed = place_line(found.strip, found.lines[i].shape, *_room(found.lines, i, mm))
        if placed is not None:
            least = min(least, step_blur_px(stack_profile(found.strip, placed, offsets_px())))
    return least


def _room(lines: list[Line], index: int, mm: float, least_mm: float = 0.0) -> tuple[float, float]:
    """Return the free space (inner, outer) px to the next lines further off than least_mm."""
    gaps = np.array([line.shape[0] - lines[index].shape[0] for line in lines])
    inner = -gaps[gaps < -least_mm].max(initial=-20.0 * mm)
    outer = gaps[gaps > least_mm].min(initial=20.0 * mm)
    return float(inner / mm), float(outer / mm)


def _finish(side: Side, found: FoundSide, blur_px: float) -> SideTrace:
    ghost = found.ghost
    return _unseen(side, found, ghost) if ghost is not None and ghost.leads else _result(side, found, blur_px)


def _result(side: Side, found: FoundSide, blur_px: float) -> SideTrace:
    strip, placed = found.strip, found.placed
    half = strip.u_mm[-1] / 2
    slope = float(placed.shape[1] / half)
    direction = strip.direction + slope * strip.normal
    direction /= np.hypot(*direction)
    inner, outer = _room(found.lines, found.best, strip.mm_per_px, ARRIS_MM)
    spread = float(np.hypot(blur_px, JITTER_SHARE * placed.jitter_mm / strip.mm_per_px))
    arris = find_arris(found.profile, spread, np.clip(inner - 1.5, 2, 6), np.clip(outer - 1.5, 3, 7), strip.mm_per_px)
    shift = arris.shift_px * strip.mm_per_px if arris else 0.0
    origin = strip.origin_mm + half * strip.direction + (placed.shape[0] + shift) * strip.normal
    scale = np.diag([1.0, 1 / half])
    cov = scale @ placed.cov[:2, :2] @ scale
    cov[0, 0] += (arris.u_px * strip.mm_per_px) ** 2 if arris else 0.0
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
        candidates=_candidates(found, half),
    )


def _unseen(side: Side, found: FoundSide, ghost: Ghost) -> SideTrace:
    """Return the side where a sill's ends say it is though no line shows it: hidden, wide, without local edge."""
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
        candidates=_candidates(found, half),
    )


def _u_unseen(ghost: Ghost, half: float) -> Array:
    """Return the covariance (2, 2) of offset and slope: known at both ends, or (a jamb) at its head only."""
    if ghost.lever_mm == 0:
        return np.diag([ghost.u_mm**2, (GHOST_TILT * ghost.u_mm / half) ** 2])
    tilt = ghost.lever_mm**2
    return np.array([[ghost.u_mm**2 + tilt, tilt / half], [tilt / half, tilt / half**2]])


def _candidates(found: FoundSide, half_mm: float) -> tuple[SideCandidate, ...]:
    """Return the lines that may be the side, the one taken first; shifts and slopes are against that one."""
    ghost = found.ghost
    leads = ghost is not None and ghost.leads
    placed = found.drifted or (ghost is not None and ghost.lever_mm)
    own = found.placed.shape if placed else found.lines[found.best].shape
    taken = ghost.shape if ghost is not None and leads else own

    def against(shape: Array, weight: float, name: str) -> SideCandidate:
        return SideCandidate(weight, float(shape[0] - taken[0]), float((shape[1] - taken[1]) / half_mm), name)

    out = []
    for i in np.argsort(-found.weights):
        best = int(i) == found.best and not leads
        shape, weight = own if int(i) == found.best else found.lines[i].shape, float(found.weights[i])
        if weight >= 0.005 or best:
            out.append(against(shape, weight, "edge" if best else "outside" if shape[0] > taken[0] else "inside"))
    if found.drifted:
        out.append(against(found.lines[found.best].shape, float(found.weights[found.best]), BY_STEPS_NAME))
    if ghost is not None:
        out.append(against(ghost.shape, ghost.weight, UNSEEN_NAME))
    first = UNSEEN_NAME if leads else "edge"
    return tuple(sorted(out, key=lambda c: (c.name != first, -c.weight)))
