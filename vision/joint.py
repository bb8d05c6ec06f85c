"""Several photos of one opening -> one adjustment: cameras, references and sides together.

Each photo brings its own observations; what they share is tied (`vision.joint_state`): the sides of the opening, a
reference that was not moved between them, the print scale, the camera that took them. Two places to stand make the
depth of a side observable (Mikhail and Ackermann 1976, ch. 7, for the adjustment).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtri

from vision.adjustment import Adjusted, Block, adjust
from vision.camera import Camera, back_project
from vision.depths import EdgeDepths
from vision.joint_state import (
    INTERIOR,
    Columns,
    InPhoto,
    JointState,
    Layout,
    SideSeen,
    depths_known,
    in_first_frame,
    interior_known,
    one_camera,
    one_direction,
    same_place,
    whitening,
)
from vision.observations import BULGE_Y, DEPTH, SIZE, WALL, PhotoState, PriorBlock, reference_slice
from vision.one_photo import PhotoTraced
from vision.request import SIDES, Array, Side
from vision.start import rigid_motion
from vision.stations import OUTWARD, Line, SideLine

# A sheet taped to the wall stays where it is: x, y mm and turn rad. Guess; larger than paper moves, smaller than a crew
# would put it back.
U_PLACE = np.array([0.3, 0.3, 1e-3])
SAME_PLACE_MM = 40.0  # nearer than this two references of one name may be one
MOVED_LEVEL = 0.001
# Guess: how far the interior of one phone moves between photos: focus, stabiliser; log focal, centre in picture widths.
U_FOCUS_LOG, U_CENTRE_SHIFT, U_SAME_K = 0.002, 0.001, 1e-4
U_SIDE_DEPTH_MM = 0.2  # sides of one opening do not lie in one plane to better than this (guess)
U_CLICK_FLOOR_MM = 0.02
Pair = tuple[tuple[int, int], tuple[int, int]]


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """Photos adjusted together: the adjustment, photos used in their order, first lines and traces of the sides.

    `shared` are pairs ((photo, reference), (photo, reference)) that stayed in one place; `seen` the observations of
    the sides. Photos are counted as in `used` there. `strain` is how much worse the photos fit together than each
    alone, a chi-square of `conditions` degrees of freedom.
    """

    adjusted: Adjusted[JointState]
    used: tuple[int, ...]
    lines: Mapping[Side, Line]
    sides: Mapping[Side, SideLine]
    shared: tuple[Pair, ...]
    seen: tuple[SideSeen, ...]
    strain: float
    conditions: int


def join(photos: Sequence[PhotoTraced], depths: EdgeDepths) -> Joint | None:
    """Return the joint adjustment of photos of one opening, the first carrying the frame; None where no two join.

    Parameters
    ----------
    photos : solved and traced, the surest first; some may show a part of the opening only.
    depths : of the sides, as declared or assumed.

    Notes
    -----
    A reference is taken for one that stayed where it was only if the fit supports it (chi-square at 0.001 against its
    place being free): crews carry the same sheets around.
    """
    frames = _frames(photos, depths)
    used = tuple(i for i, frame in enumerate(frames) if frame is not None)
    if len(used) < 2:
        return None
    joined = [photos[i] for i in used]
    placed = np.array([f for f in frames if f is not None])
    lines, sides = _first_lines(joined, placed, depths)
    if set(lines) != set(SIDES):
        return None
    free = _adjusted(joined, placed, lines, depths, ())
    shared = tuple(_stayed(joined, placed))
    best: Adjusted[JointState] = free
    kept: tuple[Pair, ...] = ()
    if shared:
        tied = _adjusted(joined, placed, lines, depths, shared)
        if tied.cost - free.cost < chdtri(3 * len(shared), MOVED_LEVEL):
            best, kept = tied, shared
        else:
            one_by_one = tuple(
                pair
                for pair in shared
                if _adjusted(joined, placed, lines, depths, (pair,)).cost - free.cost < chdtri(3, MOVED_LEVEL)
            )
            if one_by_one and one_by_one != shared:
                best, kept = _adjusted(joined, placed, lines, depths, one_by_one), one_by_one
    alone = sum(p.solved.adjusted.cost for p in joined)
    seen = tuple(_sides_seen(joined, lines, depths))
    strain = max(0.0, best.cost - alone)
    return Joint(best, used, lines, sides, kept, seen, strain, _conditions(joined, seen, kept))


def _conditions(photos: Sequence[PhotoTraced], seen: Sequence[SideSeen], shared: Sequence[Pair]) -> int:
    """Return how many conditions joining adds: sides seen twice, sheets that stayed, one size, one skew, one camera."""
    more = len(photos) - 1
    cameras = sum(5 * (len(g) - 1) for g in _groups(photos))
    return 2 * len(seen) - 8 - 3 * more + 8 * len(shared) + 4 * more + cameras


def _frames(photos: Sequence[PhotoTraced], depths: EdgeDepths) -> list[Array | None]:
    """Return where each photo's wall frame lies in the first one's: by the opening's corners, else by references."""
    frames: list[Array | None] = [np.zeros(3), *[None] * (len(photos) - 1)]
    for _ in photos:  # a photo may be linked through another one
        for k, photo in enumerate(photos):
            if frames[k] is None:
                links = (_link(photo, other, depths) for other, f in zip(photos, frames, strict=True) if f is not None)
                known = [f for f in frames if f is not None]
                for link, frame in zip(links, known, strict=True):
                    if link is not None:
                        frames[k] = np.array([*in_first_frame(frame, link[None, :2])[0], link[2] + frame[2]])
                        break
    return frames


def _link(photo: PhotoTraced, other: PhotoTraced, depths: EdgeDepths) -> Array | None:
    """Return the rigid motion x, y, turn from one photo's wall frame to another's by what both see, or None."""
    z = np.array([depths.z_mm[s] for s in ("head", "head", "sill", "sill")])
    seen = [back_project(p.solved.adjusted.state.camera, p.corners_px, z) for p in (photo, other)]
    both = np.isfinite(seen[0]).all(1) & np.isfinite(seen[1]).all(1)
    if both.sum() >= 2:
        return rigid_motion(seen[0][both], seen[1][both])
    for i, name in enumerate(photo.solved.names):
        if photo.solved.names.count(name) == 1 and other.solved.names.count(name) == 1 and "sheet" in name:
            here = photo.solved.adjusted.state.references[i, :3]
            there = other.solved.adjusted.state.references[other.solved.names.index(name), :3]
            turn = there[2] - here[2]
            at = in_first_frame(np.array([0, 0, turn]), here[None, :2])[0]
            return np.array([*(there[:2] - at), turn])
    return None


def _first_lines(
    photos: Sequence[PhotoTraced], frames: Array, depths: EdgeDepths
) -> tuple[dict[Side, Line], dict[Side, SideLine]]:
    """Return each side's line in the first frame and its trace, from the photo that saw it best."""
    lines: dict[Side, Line] = {}
    sides: dict[Side, SideLine] = {}
    for side in SIDES:
        having = [k for k, p in enumerate(photos) if side in p.sides]
        if having:
            k = min(having, key=lambda k: _spread(photos[k].sides[side]))
            sides[side] = photos[k].sides[side]
            lines[side] = _line(photos[k], frames[k], side, depths.z_mm[side])
    return lines, sides


def _spread(side: SideLine) -> float:
    half_mm = 500.0
    return float(side.cov_offset_slope[0, 0] + half_mm**2 * side.cov_offset_slope[1, 1] - 1e-6 * len(side.s_mm))


def _line(photo: PhotoTraced, frame: Array, side: Side, z_mm: float) -> Line:
    ends = back_project(photo.solved.adjusted.state.camera, photo.sides[side].ends_px, z_mm)
    a, b = in_first_frame(frame, ends)
    length = float(np.hypot(*(b - a)))
    d = (b - a) / length
    normal = np.array([-d[1], d[0]]) if side in {"head", "sill"} else np.array([d[1], -d[0]])
    return Line(a, d, normal * OUTWARD[side], length)


def _stayed(photos: Sequence[PhotoTraced], frames: Array) -> Iterator[Pair]:
    """Yield references that may be one and the same: one kind and name, nearly one place."""
    first: list[tuple[int, int, Array]] = []
    for k, photo in enumerate(photos):
        state = photo.solved.adjusted.state
        for i, name in enumerate(photo.solved.names):
            at = in_first_frame(frames[k], state.references[i, None, :2])[0]
            for other, j, there in first:
                same = photos[other].solved.names[j].split()[:2] == name.split()[:2] or "sheet" not in name
                if other != k and same and np.hypot(*(at - there)) < SAME_PLACE_MM:
                    yield (k, i), (other, j)
                    break
            else:
                first.append((k, i, at))


def _adjusted(
    photos: Sequence[PhotoTraced],
    frames: Array,
    lines: Mapping[Side, Line],
    depths: EdgeDepths,
    shared: Sequence[Pair],
) -> Adjusted[JointState]:
    state = _start(photos, frames, depths, shared)
    blocks: list[Block[JointState]] = []
    for k, photo in enumerate(photos):
        blocks += _own_blocks(photo, k, state.layout, photos)
    blocks += _sides_seen(photos, lines, depths)
    blocks += [same_place(state.layout, here, there, U_PLACE) for here, there in shared]
    blocks += [one_direction(state.layout, k, WALL.start) for k in range(1, len(photos))]
    z = np.array([depths.z_mm[s] for s in SIDES])
    each = np.diag([depths.u_each_mm[s] ** 2 + U_SIDE_DEPTH_MM**2 for s in SIDES])
    blocks.append(depths_known(state.layout, z, depths.u_common_mm**2 + each))
    return adjust(blocks, state, iterations=15)


def _sides_seen(photos: Sequence[PhotoTraced], lines: Mapping[Side, Line], depths: EdgeDepths) -> Iterator[SideSeen]:
    for k, photo in enumerate(photos):
        for i, side in enumerate(SIDES):
            if side in photo.sides:
                ends = photo.sides[side]
                cov = _cov_ends(photo, ends, depths.z_mm[side])
                yield SideSeen(k, i, lines[side], ends.ends_px, whitening(cov))


def _groups(photos: Sequence[PhotoTraced]) -> list[list[int]]:
    """Return photos that one camera took, by Exif; single ones and unknown cameras are left out."""
    keys = [p.camera_key for p in photos]
    return [
        [k for k, key in enumerate(keys) if key == one]
        for one in dict.fromkeys(keys)
        if one is not None and keys.count(one) > 1
    ]


def _start(
    photos: Sequence[PhotoTraced],
    frames: Array,
    depths: EdgeDepths,
    shared: Sequence[Pair],
) -> JointState:
    """Return the state to start from, with columns for what photos share."""
    states = [p.solved.adjusted.state for p in photos]
    columns: list[Columns] = []
    count = 0
    for state in states:
        columns.append(np.arange(count, count + state.unknowns))
        count += state.unknowns
    kinds = [_kind(p) for p in photos]
    for k in range(1, len(photos)):
        columns[k][WALL.start + 1] = columns[0][WALL.start + 1]
        states[k] = replace(states[k], wall=np.array([states[0].wall[0] - frames[k, 2], states[0].wall[1]]))
        alike = kinds.index(kinds[k])
        if alike < k:
            columns[k][SIZE] = columns[alike][SIZE]
            states[k] = replace(states[k], size=states[alike].size)
    for (k, i), (other, j) in shared:
        here, there = reference_slice(i).start, reference_slice(j).start
        columns[k][here + DEPTH : here + BULGE_Y + 1] = columns[other][there + DEPTH : there + BULGE_Y + 1]
        references = states[k].references.copy()
        references[i, DEPTH : BULGE_Y + 1] = states[other].references[j, DEPTH : BULGE_Y + 1]
        states[k] = replace(states[k], references=references)
    groups = _groups(photos)
    frame_columns = count + np.arange(3 * (len(photos) - 1)).reshape(-1, 3)
    count += frame_columns.size
    interior_columns = count + np.arange(5 * len(groups)).reshape(-1, 5)
    count += interior_columns.size
    side_columns = count + np.arange(12).reshape(4, 3)
    count += 12
    used = np.unique(np.concatenate([*columns, frame_columns.ravel(), interior_columns.ravel(), side_columns.ravel()]))
    dense = np.full(count, -1)
    dense[used] = np.arange(len(used))
    layout = Layout(
        tuple(dense[c] for c in columns),
        dense[frame_columns],
        dense[interior_columns],
        dense[side_columns],
        len(used),
    )
    interiors = np.array([_interior(states[g[0]].camera) for g in groups]).reshape(-1, 5)
    sides = np.zeros((4, 3))
    sides[:, 2] = [depths.z_mm[s] for s in SIDES]
    return JointState(tuple(states), frames.copy(), interiors, sides, layout)


def _kind(photo: PhotoTraced) -> str:
    """Return what the references of a photo are: their size is one print run's, one standard's."""
    return "sheet" if "sheet" in photo.solved.names[0] else "page"


def _interior(camera: Camera) -> Array:
    return np.array([np.log(camera.focal_px), camera.cx, camera.cy, camera.k1, camera.k2])


def _own_blocks(photo: PhotoTraced, k: int, layout: Layout, photos: Sequence[PhotoTraced]) -> list[Block[JointState]]:
    """Return a photo's own observations; what is known beforehand of something shared is told once."""
    told = set(np.concatenate([np.zeros(0, int), *layout.photos[:k]]).tolist())
    group = next((g for g, members in enumerate(_groups(photos)) if k in members), None)
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
        if _groups(photos)[group][0] == k:
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
    """Return the covariance (2, 2) mm2 of the outward place of a side's ends: trace, choice of line, or click."""
    camera = photo.solved.adjusted.state.camera
    ends = back_project(camera, side.ends_px, z_mm)
    if photo.clicks is not None:
        beside = back_project(camera, side.ends_px + 1.0, z_mm)
        scale = np.hypot(*(beside - ends).T) / np.sqrt(2)
        return np.diag((photo.clicks[1] * scale) ** 2 + U_CLICK_FLOOR_MM**2)
    half = float(np.hypot(*(ends[1] - ends[0]))) / 2
    t = np.array([[1, -half], [1, half]])
    return np.asarray(t @ side.cov_offset_slope @ t.T + side.u_choice_mm**2 + U_CLICK_FLOOR_MM**2 * np.eye(2))
