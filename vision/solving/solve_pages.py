"""Pages, cards and given rectangles -> camera and wall, with the covariance of all unknowns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.adjustment import Adjusted, Block
from vision.camera import Camera
from vision.observations import BULGE_X, BULGE_Y, DEPTH, PER_REFERENCE, PhotoState, PriorBlock, point_block
from vision.page_sides.block import SideBlock, side_block
from vision.page_sides.coded import refined
from vision.page_sides.traced import TracedQuad, trace_quad
from vision.priors import (
    PAPER,
    STANDOFF_MM,
    CameraPrior,
    camera_blocks,
    reference_blocks,
    reference_size_mm,
    size_block,
)
from vision.request import Array, CheckBar, Reference, Wall, Warning_
from vision.solving.side_faces import side_faces_mm
from vision.solving.solved import Solved, best_of, misfit_warnings, outline_px
from vision.solving.start import start_states

# Design, lesson 2: on a plain page bloom cannot be told from size.
U_BLOOM_PX = 0.1
# Left out at each end of a side: a card's corner of at most 3.48 mm (ISO/IEC 7810) and the blur about it; a page's
# corners curl, and a given rectangle's are as cut (guesses).
CORNER_MM = {"letter": 20.0, "a4": 20.0, "id1": 4.2, "given": 3.0}
SEEN = 0.35  # of every side, or the corners stand as clicked
CLICK_REACH = 5.0  # clicks wander that many of their standard deviations: 15 px at 12 MP
# A page whose sides bow more than flat ones do (three standard deviations of what their prior leaves of 0.5 mm) is
# curled, and then by any amount (a guess): the prior of flat ones would halve what is seen.
BENT_MM, U_BENT_MM = 1.2, 5.0
BENT_SAYS = (
    "a page is not flat: its sides bow more than those of paper taped flat; how it bends was taken into account and "
    "the uncertainty says so; tape it down along its edges and take the photo again"
)
ONE_WALL = 0.12  # of its size: how far a second page may be off where the pose of the first puts it (a guess)
STRAINED = 2.2  # rms of decorrelated residuals, 1 by right; sound pages reach 1.6 (a guess)
NEARLY_SQUARE = 0.15  # of the logarithm of the proportions
SHORT_TO_LONG = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])


def solve_rectangles(
    quads: Sequence[Array],
    reference: Reference,
    prior: CameraPrior,
    wall: Wall,
    click_px: float | Sequence[float],
    rgb: NDArray[np.uint8] | None = None,
    known: Sequence[TracedQuad | None] = (),
    *,
    placed_anew: bool = True,
) -> Solved:
    """Return the adjusted photo from rectangles of one known size at unknown places.

    Parameters
    ----------
    quads : corners (4, 2) px of each, rough where `rgb` is given, else as clicked with `click_px` a coordinate.
    click_px : standard uncertainty of the corners, one or by rectangle.
    rgb : the photo (H, W, 3); their sides are traced in it where they show.
    known : their sides as traced before, in the order of `quads`; none is traced again.
    placed_anew : whether sides of cards are then placed anew as the photo is coded (`as_coded`).
    """
    clicks = [click_px] * len(quads) if isinstance(click_px, int | float) else list(click_px)
    size = np.array(reference_size_mm(reference))
    given_px = quads
    quads, half = _oriented(quads, size / 2)
    plane = half * SHORT_TO_LONG
    given = Reference("given", 2 * half[0], 2 * half[1])
    sizes = size_block(reference, CheckBar())
    if half[0] != size[0] / 2:
        sizes = replace(sizes, u=sizes.u[::-1])
    paper = reference.kind in PAPER
    prior_blocks: list[Block[PhotoState]] = [*camera_blocks(prior), sizes]
    prior_blocks += reference_blocks(
        len(quads), wall, sheets=False, stiff=not paper, u_bloom_px=U_BLOOM_PX if rgb is not None else 1e-3
    )
    before = known if len(known) == len(quads) else [None] * len(quads)
    found = [
        t if t is not None and q is g else traced_rectangle(rgb, q, given, reference.kind, c)
        for q, g, t, c in zip(quads, given_px, before, clicks, strict=True)
    ]
    traced = [as_coded(rgb, t, given, reference.kind) for t in found] if placed_anew else found
    corners = [q if t is None else t.corners_px for q, t in zip(quads, traced, strict=True)]
    seen: list[Block[PhotoState]] = []
    for i, (q, t) in enumerate(zip(quads, traced, strict=True)):
        if t is None:
            seen.append(replace(point_block(i, plane, half, q, max(clicks[i], 0.05)), robust=False))
        else:
            seen.append(side_block(i, t, plane, half, reference.kind))
    starts = start_states(prior, [plane] * len(quads), corners)
    if len(quads) == 1:
        starts += _squarely(corners[0], plane, prior)
    final = best_of(prior_blocks + seen, starts)
    faces = [side_faces_mm(final.state, i, plane, half, reference.kind) for i in range(len(quads))]
    if any(f is not None for f in faces):  # how far they are seen takes knowing from where
        seen = [
            b if t is None else side_block(i, t, plane, half, reference.kind, f)
            for i, (b, t, f) in enumerate(zip(seen, traced, faces, strict=True))
        ]
        final = best_of(prior_blocks + seen, [final.state])
    names = tuple(f"{reference.thing} {i + 1}" for i in range(len(quads)))
    bent = paper and _bent(final)
    if bent:
        prior_blocks = [_loose(b) for b in prior_blocks]
        final = best_of(prior_blocks + seen, [final.state, *starts])
    drawn = tuple(outline_px(final.state, i, plane, half) for i in range(len(quads)))
    noise = [float(np.median([s.scatter_px for s in t.sides])) for t in traced if t is not None]
    return Solved(
        final,
        names,
        drawn,
        (*_misfit(final, prior_blocks, seen, names), *((Warning_("reference-bent", BENT_SAYS),) if bent else ())),
        float(np.median(noise)) if noise else float(np.median(clicks)),
        (*prior_blocks, *seen),
        tuple(starts) if len(quads) == 1 else (),
        traced=tuple(traced),
    )


def _bent(solved: Adjusted[PhotoState]) -> bool:
    """Return whether a reference is bent beyond what paper taped flat is: the prior of flatness then pulls it."""
    return bool(np.abs(solved.state.references[:, [BULGE_X, BULGE_Y]]).max() > BENT_MM)


def _loose(block: Block[PhotoState]) -> Block[PhotoState]:
    """Return a prior of flatness as that of a curled page, any other as it is."""
    if isinstance(block, PriorBlock) and block.part == "flatness":
        return replace(block, u=np.full(2, U_BENT_MM))
    return block


def _misfit(
    final: Adjusted[PhotoState],
    known: Sequence[Block[PhotoState]],
    seen: Sequence[Block[PhotoState]],
    names: Sequence[str],
) -> list[Warning_]:
    """Return the warnings of misfit: strained knowledge, and sides that are those of no rectangle of that size."""
    warned = misfit_warnings(final, known, seen, names)
    rms = [float(np.sqrt(np.mean(b.linearised(final.state)[0] ** 2))) for b in seen if isinstance(b, SideBlock)]
    if rms and max(rms) > STRAINED and not warned:
        says = (
            "the sides of the pages or cards do not fit the size given on one flat wall; the measure may be wrong by "
            "more than stated: check kind and size of the reference and that it lies flat"
        )
        warned.append(Warning_("references-disagree", says))
    return warned


def _squarely(quad: Array, plane: Array, prior: CameraPrior) -> list[PhotoState]:
    """Return the states in which the wall is seen squarely, at likely focal lengths: a small one tells no pose.

    It is ruled by the errors of its sides; the wall's lines vote better from the middle of what people do.
    """
    top = quad[1] - quad[0]
    turn = np.asarray(cv2.Rodrigues(np.array([0, 0, np.arctan2(top[1], top[0])]))[0], float)
    areas = [abs(cv2.contourArea(q.astype(np.float32))) for q in (plane, quad)]
    references = np.zeros((1, PER_REFERENCE))
    references[:, DEPTH] = -STANDOFF_MM
    made = []
    for share in (1.0,) if prior.u_log_focal < 0.1 else (1.0, 0.75, 1.33):
        focal = prior.focal_px * share
        ray = np.array([*(quad.mean(0) - [prior.cx, prior.cy]) / focal, 1.0])
        shift = focal * float(np.sqrt(areas[0] / max(areas[1], 1.0))) * ray
        made.append(PhotoState(Camera(turn, shift, focal, prior.cx, prior.cy), np.zeros(2), references))
    return made


def traced_rectangle(
    rgb: NDArray[np.uint8] | None, quad: Array, size: Reference, kind: str, click_px: float, seen: float = SEEN
) -> TracedQuad | None:
    """Return the traced sides of a rectangle (4, 2) px, None where less than the share `seen` of one of them shows.

    Without a picture, and where none are returned, the corners stand as clicked, to `click_px` each.
    """
    if rgb is None:
        return None
    reach = max(CLICK_REACH * click_px * max(rgb.shape) / 4032, 4.0)
    traced = trace_quad(rgb, quad, reach, left_out_of(np.array(reference_size_mm(size)) / 2, kind))
    return traced if traced is not None and traced.weakest >= seen else None


def as_coded(rgb: NDArray[np.uint8] | None, traced: TracedQuad | None, size: Reference, kind: str) -> TracedQuad | None:
    """Return the sides of a card or rectangle placed anew as the photo is coded; those of white paper as they are.

    Paper stands out by its lightness, which is kept at full resolution.
    """
    if rgb is None or traced is None or traced.as_coded or kind in PAPER:
        return traced
    return refined(rgb, traced, left_out_of(np.array(reference_size_mm(size)) / 2, kind))


def left_out_of(half_mm: Array, kind: str) -> tuple[float, float]:
    """Return what share of width and height is left out at each end of a side, of half the size (2,) mm."""
    share = np.minimum(CORNER_MM[kind] / (2 * half_mm), 0.2)
    return float(share[0]), float(share[1])


def _oriented(quads: Sequence[Array], half: Array) -> tuple[list[Array], Array]:
    """Return the corners in the order of the plane's, and half its width and height as the first one lies.

    A page may be taped on its side. The frame of the wall stays upright: it follows the first one.
    """
    lying = [_lies(q, half) for q in quads]
    laid = half[::-1] if lying[0] else half
    return [np.roll(q, -1, axis=0) if down != lying[0] else q for q, down in zip(quads, lying, strict=True)], laid


def as_it_hangs(quad: Array, reference: Reference) -> Reference:
    """Return a rectangle of a reference's size, upright or on its side as its corners (4, 2) px say."""
    width, height = reference_size_mm(reference)
    if _lies(quad, np.array([width, height]) / 2):
        width, height = height, width
    return Reference("given", width, height)


def _lies(quad: Array, half: Array) -> bool:
    """Return whether a rectangle lies on its side: its proportions in the picture are nearer to that.

    A nearly square one stands as its corners were given.
    """
    sides = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    seen, known = np.log((sides[0] + sides[2]) / (sides[1] + sides[3])), np.log(half[0] / half[1])
    return bool(abs(known) > NEARLY_SQUARE and abs(seen + known) < abs(seen - known))


def pose_misfit(quad: Array, half: Array, prior: CameraPrior) -> float:
    """Return how badly (share of its size) a quadrilateral fits as a rectangle of that size seen by the camera."""
    k = np.array([[prior.focal_px, 0, prior.cx], [0, prior.focal_px, prior.cy], [0, 0, 1.0]])
    world = np.column_stack([half * SHORT_TO_LONG, np.zeros(4)])
    try:
        count, _, _, errors = cv2.solvePnPGeneric(world, np.asarray(quad, float), k, None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return np.inf
    if not count:
        return np.inf
    return float(np.min(errors)) / float(np.sqrt(max(abs(cv2.contourArea(quad.astype(np.float32))), 1.0)))


def fits_one_wall(quads: Sequence[Array], reference: Reference, prior: CameraPrior) -> bool:
    """Return whether rectangles of one size could lie on one wall: like sizes in the plane of the first."""
    oriented, half = _oriented(quads, np.array(reference_size_mm(reference)) / 2)
    plane = half * SHORT_TO_LONG
    states = start_states(prior, [plane] * len(oriented), oriented)
    worst = []
    for state in states:
        seen = [outline_px(state, i, plane, half) for i in range(len(oriented))]
        size = [np.sqrt(abs(cv2.contourArea(q.astype(np.float32)))) for q in oriented]
        worst.append(max(float(np.abs(s - q).max() / d) for s, q, d in zip(seen, oriented, size, strict=True)))
    return bool(worst) and min(worst) < ONE_WALL
