"""Several photos of one opening -> one adjustment: cameras, references and sides together.

Each photo brings its own observations; what they share is tied (`vision.joint.state`): the sides of the opening, a
reference that was not moved between them, the print scale, the camera that took them. Two places to stand make the
depth of a side observable (Mikhail and Ackermann 1976, ch. 7, for the adjustment).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtri

from vision.adjustment import Adjusted, Block, adjust
from vision.camera import back_project
from vision.depths import EdgeDepths
from vision.in_photo import InPhoto
from vision.joint.start import Pair, first_lines, frames_of, kind_of, one_camera_groups, start_state, stayed
from vision.joint.state import (
    INTERIOR,
    JointState,
    Layout,
    SideSeen,
    depths_known,
    interior_known,
    nearly_placed,
    one_camera,
    one_direction,
    same_place,
    whitening,
)
from vision.observations import WALL, PhotoState, PriorBlock
from vision.one_photo import PhotoTraced
from vision.request import SIDES, Array, Side
from vision.stations import Line, SideLine

# A sheet taped to the wall stays where it is: x, y mm and turn rad. Guess; larger than paper moves, smaller than a crew
# would put it back.
U_PLACE = np.array([0.3, 0.3, 1e-3])
MOVED_LEVEL = 0.001
# Guess: how far the interior of one phone moves between photos: focus, stabiliser; log focal, centre in picture widths.
U_FOCUS_LOG, U_CENTRE_SHIFT, U_SAME_K = 0.002, 0.001, 1e-4
U_SIDE_DEPTH_MM = 0.2  # sides of one opening do not lie in one plane to better than this (guess)
U_CLICK_FLOOR_MM = 0.02
# Share of a trace's variance that is each photo's own; the rest, as the choice of line, is of the arris and the bricks
# that all see. Errors of 12 practice sides seen by 2 or 3 photos: 0.7 of what is stated is own, for most sides 0.1, and
# those of two photos correlate by 0.7 where no line is a poor one.
OWN_TRACE = 0.5
# guesses: what a depth that photos contradict still says, how unlike head and jambs may then be, and how far a sill may
# stand out by itself
LOOSE_DEPTH_MM, UNEVEN_MM, LOOSE_SILL_MM = 15.0, 2.0, 40.0
# guesses: how far a photo may lie from where it is put at first; one no better placed than this is tied by nothing
U_ASTRAY_MM, UNTIED_MM = 1000.0, 100.0


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """Photos adjusted together: the adjustment, photos used in their order, first lines and traces of the sides.

    `shared` are pairs ((photo, reference), (photo, reference)) that stayed in one place; `seen` the observations of
    the sides. Photos are counted as in `used` there. `strain` is how much worse the photos fit together than each
    alone, a chi-square of `conditions` degrees of freedom. `depths` are those believed beforehand. `parted` are pairs
    that lie near each other and are taken for references that were moved.
    """

    adjusted: Adjusted[JointState]
    used: tuple[int, ...]
    lines: Mapping[Side, Line]
    sides: Mapping[Side, SideLine]
    shared: tuple[Pair, ...]
    seen: tuple[SideSeen, ...]
    strain: float
    conditions: int
    depths: EdgeDepths
    parted: tuple[Pair, ...] = ()


def join(photos: Sequence[PhotoTraced], depths: EdgeDepths, *, firm: bool = False) -> Joint | None:
    """Return the joint adjustment of photos of one opening, the first carrying the frame; None where no two join.

    Parameters
    ----------
    photos : solved and traced, the surest first; some may show a part of the opening only.
    depths : of the sides, as declared or assumed.
    firm : believe depths and places of references whatever it costs.

    Notes
    -----
    A reference is taken for one that stayed where it was only if the fit supports it (chi-square at 0.001 against its
    place being free): crews carry the same sheets around. A photo whose place then hangs on nothing is left out.
    """
    frames = {i: frame for i, frame in enumerate(frames_of(photos, depths)) if frame is not None}
    while len(frames) > 1:
        joint = _joined(photos, frames, depths, firm=firm)
        untied = set() if joint is None else _untied(joint)
        if not untied:
            return joint
        frames = {i: frame for i, frame in frames.items() if i not in untied}
    return None


def _untied(joint: Joint) -> set[int]:
    """Return the photos that neither sides nor references hold in their place beside the first."""
    variance = np.diag(joint.adjusted.covariance)[joint.adjusted.state.layout.frames[:, :2]]
    return {joint.used[1 + k] for k in np.flatnonzero(variance.max(axis=1) > UNTIED_MM**2)}


def _joined(
    photos: Sequence[PhotoTraced], frames: Mapping[int, Array], depths: EdgeDepths, *, firm: bool
) -> Joint | None:
    """Return the joint adjustment of the photos that have a frame; None where they do not show all sides."""
    used, placed = tuple(frames), np.array(list(frames.values()))
    joined = [photos[i] for i in used]
    lines, sides = first_lines(joined, placed, depths)
    if set(lines) != set(SIDES):
        return None
    near = tuple(stayed(joined, placed))
    if firm:
        best, kept, believed = _adjusted(joined, placed, lines, depths, near), near, depths
    else:
        best, kept, believed = _with_shared(joined, placed, lines, depths, near)
    alone = sum(p.solved.adjusted.cost for p in joined)
    seen = tuple(_sides_seen(joined, lines, depths))
    strain = max(0.0, best.cost - alone)
    conditions, parted = _conditions(joined, seen, kept), tuple(pair for pair in near if pair not in kept)
    return Joint(best, used, lines, sides, kept, seen, strain, conditions, believed, parted)


def loosened(depths: EdgeDepths) -> EdgeDepths:
    """Return depths that are hardly known: all sides wrong alike (trim), or the sill by itself."""
    each = np.array([LOOSE_SILL_MM if s == "sill" else UNEVEN_MM for s in SIDES])
    return replace(depths, cov_mm2=depths.cov_mm2 + LOOSE_DEPTH_MM**2 + np.diag(each**2))


def _with_shared(
    photos: Sequence[PhotoTraced],
    frames: Array,
    lines: Mapping[Side, Line],
    depths: EdgeDepths,
    shared: tuple[Pair, ...],
) -> tuple[Adjusted[JointState], tuple[Pair, ...], EdgeDepths]:
    """Return the adjustment with references shared that stayed, these, and the depths believed.

    Where all cannot be shared either some were moved or the sides lie elsewhere than declared: sheets are moved
    seldom, so the depth gives way first if that makes all fit.
    """
    free = _adjusted(photos, frames, lines, depths, ())
    if not shared:
        return free, (), depths
    limit = chdtri(3 * len(shared), MOVED_LEVEL)
    for believed in (depths, loosened(depths)):
        tied = _adjusted(photos, frames, lines, believed, shared)
        if tied.cost - free.cost < limit:
            return tied, shared, believed
    some = tuple(
        pair
        for pair in shared
        if _adjusted(photos, frames, lines, depths, (pair,)).cost - free.cost < chdtri(3, MOVED_LEVEL)
    )
    if some and some != shared:
        return _adjusted(photos, frames, lines, depths, some), some, depths
    return free, (), depths


def _conditions(photos: Sequence[PhotoTraced], seen: Sequence[SideSeen], shared: Sequence[Pair]) -> int:
    """Return how many conditions joining adds: sides seen twice, sheets that stayed, one size, one skew, one camera."""
    more = len(photos) - 1
    cameras = sum(5 * (len(g) - 1) for g in one_camera_groups(photos))
    sizes = 2 * (len(photos) - len({kind_of(p) for p in photos}))
    return 2 * len(seen) - 8 - 3 * more + 8 * len(shared) + 2 * more + sizes + cameras


def _adjusted(
    photos: Sequence[PhotoTraced],
    frames: Array,
    lines: Mapping[Side, Line],
    depths: EdgeDepths,
    shared: Sequence[Pair],
) -> Adjusted[JointState]:
    state = start_state(photos, frames, depths, shared)
    blocks: list[Block[JointState]] = []
    for k, photo in enumerate(photos):
        blocks += own_blocks(photo, k, state.layout, photos)
    blocks += _sides_seen(photos, lines, depths)
    blocks += [same_place(state.layout, here, there, U_PLACE) for here, there in shared]
    blocks += [one_direction(state.layout, k, WALL.start) for k in range(1, len(photos))]
    blocks += [nearly_placed(state.layout, k, frames[k], U_ASTRAY_MM) for k in range(1, len(photos))]
    z = np.array([depths.z_mm[s] for s in SIDES])
    blocks.append(depths_known(state.layout, z, depths.cov_mm2 + U_SIDE_DEPTH_MM**2 * np.eye(4)))
    return adjust(blocks, state, iterations=15, near=True)


def _sides_seen(photos: Sequence[PhotoTraced], lines: Mapping[Side, Line], depths: EdgeDepths) -> Iterator[SideSeen]:
    for k, photo in enumerate(photos):
        for i, side in enumerate(SIDES):
            if side in photo.sides:
                ends = photo.sides[side]
                cov = _cov_ends(photo, ends, depths.z_mm[side])
                yield SideSeen(k, i, lines[side], ends.ends_px, whitening(cov))


def own_blocks(photo: PhotoTraced, k: int, layout: Layout, photos: Sequence[PhotoTraced]) -> list[Block[JointState]]:
    """Return a photo's own observations; what is known beforehand of something shared is told once."""
    told = set(np.concatenate([np.zeros(0, int), *layout.photos[:k]]).tolist())
    group = next((g for g, members in enumerate(one_camera_groups(photos)) if k in members), None)
    blocks: list[Block[JointState]] = []
    for block in photo.solved.blocks:
        if not isinstance(block, PriorBlock):
            blocks.append(InPhoto(k, block))
            continue
        again = np.array([int(c) in told for c in layout.photos[k][block.index]])
        if group is not None:
            again |= np.isin(block.index, INTERIOR)
        if not again.all():
            kept = replace(block, index=block.index[~again], value=block.value[~again], u=block.u[~again])
            blocks.append(InPhoto(k, kept))
    if group is not None:
        width = float(max(photo.report.size_px))
        u = np.array([U_FOCUS_LOG, *[U_CENTRE_SHIFT * width] * 2, U_SAME_K, U_SAME_K])
        blocks.append(one_camera(layout, k, group, u))
        if one_camera_groups(photos)[group][0] == k:
            value, u = _interior_prior(photo.solved.blocks)
            blocks.append(interior_known(layout, group, value, u))
    return blocks


def _interior_prior(blocks: Sequence[Block[PhotoState]]) -> tuple[Array, Array]:
    value, u = np.zeros(5), np.full(5, 1e3)
    for block in blocks:
        if isinstance(block, PriorBlock):
            for index, v, s in zip(block.index, block.value, block.u, strict=True):
                if index in INTERIOR:
                    value[index - INTERIOR[0]], u[index - INTERIOR[0]] = v, s
    return value, u


def _cov_ends(photo: PhotoTraced, side: SideLine, z_mm: float) -> Array:
    """Return the covariance (2, 2) mm2 of the outward place of a side's ends: the photo's own share of it."""
    camera = photo.solved.adjusted.state.camera
    ends = back_project(camera, side.ends_px, z_mm)
    if photo.clicks is not None:
        beside = back_project(camera, side.ends_px + 1.0, z_mm)
        scale = np.hypot(*(beside - ends).T) / np.sqrt(2)
        return np.diag((photo.clicks[1] * scale) ** 2 + U_CLICK_FLOOR_MM**2)
    half = float(np.hypot(*(ends[1] - ends[0]))) / 2
    t = np.array([[1, -half], [1, half]])
    return np.asarray(OWN_TRACE * t @ side.cov_offset_slope @ t.T + U_CLICK_FLOOR_MM**2 * np.eye(2))
