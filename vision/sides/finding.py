"""One side of an opening: its strip, the lines in it with their weights, and the likeliest placed to sub-pixels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.request import Array, Side, Wall
from vision.sides.arris import offsets_px
from vision.sides.averaged_lines import WeighedLines, averaged, without
from vision.sides.line_scores import OVER_TEXTURE, scores, thin
from vision.sides.line_search import Beside, find_lines
from vision.sides.place import Placed, place_line, stack_profile, unplaced
from vision.sides.search import Search, plan_search
from vision.sides.sill_ghosts import Ghost
from vision.sides.sill_horns import Horns, find_horns
from vision.sides.texture import texture_of
from vision.sides.weights import FAINT, STRONG, weigh
from vision.strips.profiles import Strip, cut_strip
from vision.strips.strip_line import GAP_PX, Line, apart_mm

BOW_MM: Mapping[Wall, float] = {"masonry": 8.0, "render": 6.0, "siding": 2.5, "panel": 2.5}  # guess
LEVEL_BOW = 0.4  # guess: lintels and sills are cast, cut or laid on one; jambs are laid course by course
_BESIDE: Mapping[Side, Beside] = {"head": "inside", "right": "both", "sill": "none", "left": "both"}
# Sills, and some jambs, of rough bricks are told otherwise by one gap than by the other: of 692 sets of sides 53 lay
# over 1.5 mm apart, and then one of the two was wrong nearly always, about as often the one as the other.
GAPS_PX = (GAP_PX, GAP_PX + 0.5)
SURE = 0.97  # jambs and heads whose likeliest line has that weight are read one way only, which saves time
STRONGER, SKIRT_PX = 2.0, 0.5  # guess: the blur of a line that much stronger reaches farther
MARGIN_PX = 9.0  # of the strip beyond the reach: room for steps and their windows
SHORT_MM = 100.0  # contract: under 100 mm is no length of an opening
BOW_ROOM, CLOSE_PX = 2.0, 3.0  # of the bow that is believed; room to place a line that would bend further
# Bricks end by about a millimetre here and there: in a photo finer than that a step is read so wide, and each piece's
# looked for so far off the line. Wider (2.5 mm) it ran together with a frame 6 mm behind an arris (one practice photo).
EVEN_MM, UNEVEN_MM = 1.75, 3.5
RAGGED_MM = 3.0  # guess: twice how far (sd) one brick ends off the side's line
SAME_STEP = 0.5  # guess: cosine between colour steps, within which bricks of other tones part from one reveal
# Own hard renderings and practice, jambs: on brick 4 of 4 beyond 0.95 px were wrong by more than 2 mm, all good ones
# of 224 lay within 0.88 (of 316 others 3 lay beyond, 2 of them wrong at an end); on trim and render 3 of 144 good ones
# lay at 1.0 to 1.2 px, a wrong one at 4.5.
# Since then of 332 brick jambs 6 lay beyond 0.95 px and all within 2 mm: which estimate is right stays open, half each.
MOST_DRIFT_PX: Mapping[Wall, float] = {"masonry": 0.95, "render": 2.0, "siding": 2.0, "panel": 2.0}


@dataclass(frozen=True, slots=True)
class FailedSide:
    """A side that could not be traced, and why."""

    side: Side
    reason: str


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
    search = replace(search, black=float(np.mean(strip.black)))
    bow = _most_bow_mm(side, wall)
    even = EVEN_MM if wall == "masonry" else 0.0
    horns = find_horns(rgb, camera, search, depth_mm)
    mm = strip.mm_per_px

    def told_by(lines: list[Line]) -> list[WeighedLines]:
        return [_weighed(lines, strip, camera, search, bow, sill_at, horns)] if lines else []

    ways: list[WeighedLines] = []
    for gap in GAPS_PX:
        if side == "sill" or not ways or ways[0].weights.max() < SURE:
            lines = find_lines(strip, (-inner, outer), bow, _BESIDE[side], even_mm=even, gap_px=gap)
            ways += told_by(thin(lines, mm, search, bow))
    if not ways:
        return FailedSide(side, "no edge runs along it within reach of the corners")
    while True:
        both = averaged(ways, mm)
        left, weights = one_ragged_side(both.lines, both.weights) if wall == "masonry" else (both.lines, both.weights)
        found = placed_side(side, strip, left, weights, both.ghost, wall)
        likeliest = int(weights.argmax())
        if found.best == likeliest or weights[likeliest] < FAINT:
            return found
        # hardly a sample shows its step: no line, and the others are weighed without it
        ways = [w for way in ways for w in told_by(without(left[likeliest], way.lines, mm))]


def _weighed(
    lines: list[Line], strip: Strip, camera: Camera, search: Search, bow: float, sill_at: str, horns: Sequence[Horns]
) -> WeighedLines:
    """Return lines with their weights, and the arris that none of them shows if there may be one."""
    arris_px = np.array([h.ends_px for h in horns]).reshape(-1, 2)
    arris_weight = np.array([h.weight for h in horns])
    texture = None
    if search.side == "sill":
        clear = scores(lines, strip.mm_per_px, search, bow) > STRONG
        texture = texture_of(strip, camera, [x for x, c in zip(lines, clear, strict=True) if c])
    return WeighedLines(lines, *weigh(lines, strip.mm_per_px, search, bow, sill_at, arris_px, arris_weight, texture))


def placed_side(
    side: Side, strip: Strip, lines: list[Line], weights: Array, ghost: Ghost | None, wall: Wall
) -> FoundSide:
    """Return a side, placed at the likeliest of its lines that can be placed; `weights` (N,) are those of the lines.

    Where none can be placed they are no lines, and weigh nothing.
    """
    bow = _most_bow_mm(side, wall)
    for best in np.argsort(-weights):
        room = room_px(lines, int(best), strip.mm_per_px)
        placed = place_line(strip, lines[best].shape, *room, uneven_mm=UNEVEN_MM if wall == "masonry" else 0.0)
        if placed is not None and wall != "masonry" and _gone_over(lines[best], placed, bow, strip.mm_per_px, wall):
            placed = place_line(strip, lines[best].shape, *(min(r, CLOSE_PX) for r in room))
        if placed is not None:
            profile = stack_profile(strip, placed, offsets_px())
            jamb = side in ("left", "right")
            drifted = jamb and drift_px(lines[best], placed, strip.mm_per_px) > MOST_DRIFT_PX[wall]
            weights = np.where((np.arange(len(weights)) == best) & drifted, weights / 2, weights)
            return FoundSide(strip, lines, weights, int(best), placed, profile, ghost, drifted)
    likeliest = int(weights.argmax())
    unseen = np.full(len(offsets_px()), np.nan)
    return FoundSide(strip, lines, np.zeros(len(lines)), likeliest, unplaced(lines[likeliest].shape), unseen, ghost)


def _gone_over(line: Line, placed: Placed, bow: float, mm: float, wall: Wall) -> bool:
    """Return whether samples have gone over to a stronger line beside theirs: trim is straight, and stays in place."""
    bends = BOW_ROOM * bow < 1.5 * abs(float(placed.shape[2]))
    return bends or drift_px(line, placed, mm) > MOST_DRIFT_PX[wall]


def _most_bow_mm(side: Side, wall: Wall) -> float:
    return BOW_MM[wall] * (1.0 if side in ("left", "right") else LEVEL_BOW)


def one_ragged_side(lines: list[Line], weights: Array) -> tuple[list[Line], Array]:
    """Return lines (M,) and weights (M,) with those that lie within a brick's raggedness of the likeliest one added.

    Bricks end here and there; a line through some ends and one through others are two readings of one side, which is
    then placed by all of its samples, from the line that more of it shows. A step of another kind is another thing: the
    frame that begins right behind a dark reveal.
    """
    likeliest = lines[int(weights.argmax())]
    near = np.array([apart_mm(line.shape, likeliest.shape) < RAGGED_MM for line in lines])
    near &= np.array([_same_step(line, likeliest) for line in lines])
    best = int(np.argmax([line.t_value if n else 0.0 for line, n in zip(lines, near, strict=True)]))
    weights = np.where(np.arange(len(lines)) == best, weights[near].sum(), weights)
    near[best] = False
    return [line for line, gone in zip(lines, near, strict=True) if not gone], weights[~near]


def _same_step(a: Line, b: Line) -> bool:
    return float(a.step @ b.step) > SAME_STEP * float(np.linalg.norm(a.step) * np.linalg.norm(b.step))


def drift_px(line: Line, placed: Placed, mm: float) -> float:
    """Return the rms distance px of a line as found, by mean steps, and as placed, by its samples: two estimates."""
    return apart_mm(line.shape, placed.shape) / mm


def room_px(lines: list[Line], index: int, mm: float, least_mm: float = 0.0) -> tuple[float, float]:
    """Return the free space (inner, outer) px to the next lines further off than least_mm, less what stronger blur."""
    gaps = np.array([line.shape[0] - lines[index].shape[0] for line in lines])
    stronger = np.array([line.contrast > STRONGER * lines[index].contrast for line in lines])
    free = np.abs(gaps) - np.where(stronger, SKIRT_PX * mm, 0.0)
    inner = free[gaps < -least_mm].min(initial=20.0 * mm)
    outer = free[gaps > least_mm].min(initial=20.0 * mm)
    return float(inner / mm), float(outer / mm)
