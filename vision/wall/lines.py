"""The wall's own lines as observations: voted, grouped into courses, added to what the references say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from scipy.special import chdtri

from vision.adjustment import Adjusted, Block, adjust, huber_cost
from vision.observations import PhotoState
from vision.request import Array, Wall, Warning_
from vision.solving.solved import Solved
from vision.wall.courses import LineBlock
from vision.wall.frame_lines import frame_block, frame_start, inside_opening
from vision.wall.kept_out import about, of_the_wall, opening_outlines
from vision.wall.line_blocks import WALL_LINES, line_block, segment_block
from vision.wall.line_vote import Voted, vote
from vision.wall.opening_start import as_opening_lies, rough_corners
from vision.wall.segments import Segments, clipped, find_segments

ROUNDS = 2  # lines are voted and courses grouped again once the camera is better
FEW, K1 = 0.5, 9  # of the wall's segments: where fewer agree, distortion may part them (a guess); its unknown
# And further where the vote still grows: under strong distortion the first few lines tell it, and those straightened by
# it the rest (a guess).
MOST_ROUNDS, GROWS = 6, 1.1
DISAGREE_SAYS = (
    "the lines of the wall (courses, joints, laps) do not fit the references; they were left out and the uncertainty "
    "is that of the references alone: check that the references lie flat on this wall, and take the photo again with "
    "a second one"
)
TORN_SAYS = (
    "the lines of the wall (courses, joints, laps) do not fit the reference; they were left out, and the uncertainty "
    "is as large as both answers lie apart: check the size of the reference and its corners in the picture (point them "
    "out as reference corners), that it lies flat on this wall, and take the photo again with a second one"
)
START_MARGIN = 1.1  # another start must gather so much more of the lines (a guess)
DISAGREE = 1e-4  # probability under which lines and references cannot both be right


def lined(
    grey: cv2.typing.MatLike,
    solved: Solved,
    corners_px: Array | None,
    wall: Wall,
    segments: Segments | None = None,
) -> Solved:
    """Return a solved photo with the wall's lines among its blocks; the same where there are none or they disagree.

    Parameters
    ----------
    grey : (H, W) uint8.
    solved : solved by its references; nothing inside their outlines is a wall line.
    corners_px : corners (4, 2) of the opening where known, NaN where out of view: its own sides are no proof that the
        wall's lines are level or plumb, and are left out.
    wall : kind of wall: how true its lines run.
    segments : found before, to save the search.
    """
    if not solved.blocks:
        return solved
    starts = _starts(solved, corners_px)
    result, lines, warned, torn = _added(
        grey, solved.blocks, solved.adjusted, solved.outlines_px, corners_px, wall, segments, starts
    )
    blocks, said = (*solved.blocks, *lines), (*solved.warnings, *warned)
    return replace(solved, adjusted=result, blocks=blocks, warnings=said, torn=torn)


def _starts(solved: Solved, corners_px: Array | None) -> tuple[PhotoState, ...]:
    """Return the other states to begin with: those that a single small reference leaves, and as the opening lies."""
    camera = solved.adjusted.state.camera
    rough = rough_corners(corners_px, round(2 * max(camera.cx, camera.cy))) if solved.starts else None
    lies = None if rough is None else as_opening_lies(solved, rough)
    return solved.starts if lies is None else (*solved.starts, lies)


def _added(
    grey: cv2.typing.MatLike,
    blocks: Sequence[Block[PhotoState]],
    adjusted: Adjusted[PhotoState],
    outlines_px: Sequence[Array],
    corners_px: Array | None,
    wall: Wall,
    segments: Segments | None,
    starts: Sequence[PhotoState],
) -> tuple[Adjusted[PhotoState], tuple[LineBlock, ...], tuple[Warning_, ...], Array | None]:
    """Return the adjustment with the lines of wall and frame, those lines, warnings, and how far it is torn (U,)."""
    found = find_segments(grey) if segments is None else segments
    result, lines, contrary = _of_wall(grey, blocks, adjusted, outlines_px, corners_px, wall, found, starts)
    plain = _one_plain(blocks, adjusted.state)
    warned = () if contrary is None else (Warning_("lines-disagree", TORN_SAYS if plain else DISAGREE_SAYS),)
    if lines is not None and lines.upright.any() and not lines.upright.all():
        return (
            result,
            (lines,),
            warned,
            None,
        )  # both directions of the wall itself: a frame, set less truly, adds nothing
    added = () if lines is None else (lines,)
    inside = clipped(found.some(inside_opening(found, corners_px)), about(outlines_px))
    result, frame = _of_frame(grey, [*blocks, *added], result, inside)
    torn = result.state.increment_to(contrary) if contrary is not None and plain else None
    result = result if torn is None else _torn(result, torn)
    return result, added if frame is None else (*added, frame), warned, torn


def _of_wall(
    grey: cv2.typing.MatLike,
    blocks: Sequence[Block[PhotoState]],
    adjusted: Adjusted[PhotoState],
    outlines_px: Sequence[Array],
    corners_px: Array | None,
    wall: Wall,
    found: Segments,
    starts: Sequence[PhotoState],
) -> tuple[Adjusted[PhotoState], LineBlock | None, PhotoState | None]:
    """Return the adjustment, the wall's lines in it, and the state that lines would have which contradict it."""
    # siding has no verticals of its own: those seen are trim, which goes with the opening
    uprights = wall != "siding"
    best = _best_vote(found, (adjusted.state, *starts), outlines_px, corners_px, wall)
    if best is None:
        return adjusted, None, None
    if best[0] < FEW * float(best[3].length_px().sum()):
        bent = _bent(best[2], float(np.sqrt(adjusted.covariance[K1, K1])))
        best = _best_vote(found, (best[2], *bent), outlines_px, corners_px, wall) or best
    _, voted, start, free = best
    state = replace(start, wall=voted.wall)
    result = adjust([*blocks, segment_block(voted, state, WALL_LINES[wall])], state, iterations=15, near=True)
    lines, most = None, float(voted.segments.length_px().sum())
    for turn in range(MOST_ROUNDS):
        voted = vote(free, result.state, uprights=uprights) or voted
        length = float(voted.segments.length_px().sum())
        if turn >= ROUNDS and length < GROWS * most:
            break
        most = length
        lines = line_block(grey, voted, result.state, WALL_LINES[wall])
        if lines is None:
            return adjusted, None, None
        result = adjust([*blocks, lines], result.state, iterations=15, near=True)
    if contradicts(blocks, adjusted, result):
        return adjusted, None, result.state
    return result, lines, None


def _one_plain(blocks: Sequence[Block[PhotoState]], state: PhotoState) -> bool:
    """Return whether all rests on one plain rectangle.

    Sheets check themselves, by hundreds of edges, and so do two references. One page or card does not: with a wrong
    side or a wrong size it fits a slanted wall as well, and its own covariance knows nothing of that.
    """
    return len(state.references) == 1 and any(b.part == "reference_size" for b in blocks)


def _torn(alone: Adjusted[PhotoState], by: Array) -> Adjusted[PhotoState]:
    """Return what a reference alone gave, as far open as the lines that it contradicts would move it, `by` (U,).

    Notes
    -----
    The distance of two answers, of which one is wrong, counts as a standard deviation (a guess).
    """
    apart = np.outer(by, by)
    parts = {**alone.parts, "reference_size": alone.parts.get("reference_size", 0.0) + apart}
    return replace(alone, covariance=alone.covariance + apart, parts=parts)


def _best_vote(
    found: Segments, starts: Sequence[PhotoState], outlines_px: Sequence[Array], corners_px: Array | None, wall: Wall
) -> tuple[float, Voted, PhotoState, Segments] | None:
    """Return the longest vote (px) of all starts, its state, and all segments of the wall; None where none agree."""
    # siding has no verticals of its own: those seen are trim, which goes with the opening
    uprights = wall != "siding"
    best: tuple[float, Voted, PhotoState, Segments] | None = None
    for start in starts:
        free = of_the_wall(found, start, outlines_px, corners_px, wall)
        voted = vote(free, start, uprights=uprights)
        if voted is not None:
            length = float(voted.segments.length_px().sum())
            if best is None or length > START_MARGIN * best[0]:  # of starts that lead to the same the first
                best = length, voted, start, free
    return best


def _bent(state: PhotoState, u_k1: float) -> list[PhotoState]:
    """Return states with as much distortion as may be: unstraightened, the lines of a wall do not agree."""
    camera = state.camera
    return [replace(state, camera=replace(camera, k1=camera.k1 + k * u_k1)) for k in (-1.2, 1.2, -2.4, 2.4)]


def _of_frame(
    grey: cv2.typing.MatLike, known: Sequence[Block[PhotoState]], adjusted: Adjusted[PhotoState], inside: Segments
) -> tuple[Adjusted[PhotoState], LineBlock | None]:
    """Return the adjustment with the lines of the frame in the opening; as it is where they contradict the others."""
    lines = frame_start(inside, adjusted.state)
    result = adjusted
    for _ in range(1 + ROUNDS):
        if lines is None:
            return adjusted, None
        result = adjust([*known, lines], result.state, iterations=15, near=True)
        used, lines = lines, frame_block(grey, inside, result.state)
    return (adjusted, None) if contradicts(known, adjusted, result) else (result, used)


def contradicts(
    blocks: Sequence[Block[PhotoState]], alone: Adjusted[PhotoState], with_them: Adjusted[PhotoState]
) -> bool:
    """Return whether lines strain the other observations beyond chance.

    Notes
    -----
    The rise of the others' cost is d^T N d with d the change of the state and N their normal matrix; d has covariance
    N^-1 - C, C that with lines, so the rise is a sum of squares weighted by the eigenvalues of I - N C, all in [0, 1].
    """
    rise = sum(_cost(b, with_them.state) for b in blocks) - sum(_cost(b, alone.state) for b in blocks)
    scale = np.sqrt(np.diag(alone.covariance))
    before, after = (np.asarray(c / np.outer(scale, scale)) for c in (alone.covariance, with_them.covariance))
    gained = np.eye(len(before)) - np.linalg.pinv(before, hermitian=True) @ after
    weights = np.clip(np.linalg.eigvals(gained).real, 0, 1)
    # Satterthwaite's chi-square of a weighted sum
    first, second = float(weights.sum()), float((weights**2).sum())
    if first <= 0:
        return False
    return bool(rise * first / second > chdtri(first**2 / second, DISAGREE))


def _cost(block: Block[PhotoState], state: PhotoState) -> float:
    return huber_cost(block.linearised(state)[0], block.robust)


def outlines_key(
    solved: Solved, corners_px: Array | None, wall: Wall, segments: Segments | None = None
) -> tuple[bytes, ...]:
    """Return a key of all that `lined` takes from an opening's corners; on one photo equal keys mean equal results."""
    if corners_px is None:
        return ()
    states = (solved.adjusted.state, *_starts(solved, corners_px))
    outlines = [
        o for s in states for level in (False, True) for o in opening_outlines(s, corners_px, wall, level=level)
    ]
    inside = b"" if segments is None else np.packbits(inside_opening(segments, corners_px)).tobytes()
    by = states[-1].camera
    lies = by.rotation.tobytes() + by.translation_mm.tobytes()
    return (*(o.tobytes() for o in outlines), lies, inside)
