"""Where the joint adjustment of several photos starts: frames, first lines of the sides, what may be shared."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from vision.camera import Camera, back_project
from vision.depths import EdgeDepths
from vision.joint.state import Columns, JointState, Layout, in_first_frame
from vision.observations import BULGE_Y, DEPTH, SIZE, WALL, reference_slice
from vision.one_photo import PhotoTraced
from vision.priors import reference_size_mm
from vision.request import SIDES, Array, Side
from vision.solving.start import rigid_motion
from vision.stations import OUTWARD, Line, SideLine

SAME_PLACE_MM = 40.0  # nearer than this two references of one name may be one
Pair = tuple[tuple[int, int], tuple[int, int]]


def frames_of(photos: Sequence[PhotoTraced], depths: EdgeDepths) -> list[Array | None]:
    """Return where each photo's wall frame lies in the first one's: x, y mm and turn rad (3,); None: not known.

    Photos are linked by two or more corners of the opening that both show, else by a sheet that both show.
    """
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


def first_lines(
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


def stayed(photos: Sequence[PhotoTraced], frames: Array) -> Iterator[Pair]:
    """Yield references that may be one and the same: one kind and name, nearly one place."""
    first: list[tuple[int, int, Array]] = []
    for k, photo in enumerate(photos):
        state = photo.solved.adjusted.state
        for i, name in enumerate(photo.solved.names):
            at = in_first_frame(frames[k], state.references[i, None, :2])[0]
            for other, j, there in first:
                same = photos[other].solved.names[j].split()[:2] == name.split()[:2] or "sheet" not in name
                same &= kind_of(photos[other]) == kind_of(photo)
                if other != k and same and np.hypot(*(at - there)) < SAME_PLACE_MM:
                    yield (k, i), (other, j)
                    break
            else:
                first.append((k, i, at))


def one_camera_groups(photos: Sequence[PhotoTraced]) -> list[list[int]]:
    """Return photos that one camera took, by Exif; single ones and unknown cameras are left out."""
    keys = [p.camera_key for p in photos]
    return [
        [k for k, key in enumerate(keys) if key == one]
        for one in dict.fromkeys(keys)
        if one is not None and keys.count(one) > 1
    ]


def start_state(
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
    kinds = [kind_of(p) for p in photos]
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
    groups = one_camera_groups(photos)
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


def kind_of(photo: PhotoTraced) -> tuple[object, ...]:
    """Return what the references of a photo are: one print run's sheets, or all of one standard or given size."""
    reference = photo.reference
    return ("sheet",) if reference.kind == "sheet" else (reference.kind, reference_size_mm(reference), reference.u_mm)


def _interior(camera: Camera) -> Array:
    return np.array([np.log(camera.focal_px), camera.cx, camera.cy, camera.k1, camera.k2])
