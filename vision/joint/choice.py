"""Which of several lines is a side, when several photos show it: lines that do not lie together cannot both be it.

A rival line inside the reveal lies deeper, and from another place to stand it shows elsewhere: the joint adjustment
tells by how much each set of lines fits worse. What all photos show alike stays as doubtful as it was, because the
photos show one scene: their weights are averaged, not multiplied. So does what a trace left unexplained: that the side
is a line which no photo lists.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.camera import back_project, project
from vision.joint.solve import Joint
from vision.one_photo import Listed, PhotoTraced
from vision.request import ANOTHER_LINE, SIDES, Side
from vision.stations import SideLine

LEAST_WEIGHT = 0.02  # rivals of less weight are not tried
MOST_SETS = 400  # of lines, one a photo, that are followed; the likeliest
LISTED_FROM = 0.005  # weight of a candidate that is listed
SAME_MM = 0.5  # candidates nearer than this are one


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """Outcome for one side: best set of candidates (one number a photo that sees it), candidates of the whole.

    `listed` are weight, shift outward mm against the lines adjusted, and name.
    """

    photos: tuple[int, ...]
    best: tuple[int, ...]
    listed: tuple[tuple[float, float, str], ...]


def choices(joint: Joint, photos: Sequence[PhotoTraced]) -> dict[Side, Choice]:
    """Return, for each side, which candidates of the photos lie together.

    Notes
    -----
    The adjustment is linear near its solution: a shift d of whitened observations with post-fit residuals r and
    design A changes the least sum of squares by 2 d'r + d'(I - A Q A') d (Mikhail and Ackermann 1976, ch. 7).
    """
    used = [photos[i] for i in joint.used]
    return {side: _choice(joint, used, side) for side in SIDES}


def _choice(joint: Joint, used: Sequence[PhotoTraced], side: Side) -> Choice:
    seen = [b for b in joint.seen if SIDES[b.side] == side]
    rows = [b.linearised(joint.adjusted.state) for b in seen]
    residual = np.concatenate([w for w, _ in rows])
    design = np.concatenate([a for _, a in rows])
    q = joint.adjusted.covariance
    free = np.eye(len(residual)) - design @ q @ design.T
    offset_by = (q @ design.T)[joint.adjusted.state.layout.sides[SIDES.index(side), 0]]
    options = [_options(used[b.photo], side) for b in seen]
    scored, strains = [], []
    for chosen in _sets(options):
        shifts = np.concatenate([b.whiten @ np.full(2, o[c][1]) for b, o, c in zip(seen, options, chosen, strict=True)])
        worse = float(2 * shifts @ residual + shifts @ free @ shifts)
        weight = float(np.mean([np.log(o[c][0]) for o, c in zip(options, chosen, strict=True)]))
        name = next((o[c][2] for o, c in zip(options, chosen, strict=True) if o[c][1] != 0), "")
        strains.append(worse)
        scored.append((weight - worse / 2, float(offset_by @ shifts), name, chosen))
    scored.sort(key=lambda row: -row[0])
    # a line that no photo lists is taken to lie as well together as those that do best
    unlisted = float(np.mean([np.log(max(1 - sum(w for w, _, _ in o), ANOTHER_LINE)) for o in options]))
    merged = _merged(scored, unlisted - min(strains) / 2)
    return Choice(tuple(b.photo for b in seen), scored[0][3], merged)


def _options(photo: PhotoTraced, side: Side) -> list[tuple[float, float, str]]:
    listed = photo.listed.get(side, ())
    options = [c for i, c in enumerate(listed) if i == 0 or c[0] >= LEAST_WEIGHT]
    return options or [(1.0, 0.0, "")]


def _sets(options: Sequence[Sequence[tuple[float, float, str]]]) -> list[tuple[int, ...]]:
    """Return the sets of candidates to try: those that lie at one place in all photos, then the likeliest of the rest.

    With many photos not all can be tried, and a rival that all of them show is unlikely by each one's weights.
    """
    one_place = {
        tuple(min(range(len(o)), key=lambda c: abs(o[c][1] - shift)) for o in options)
        for shift in {s for o in options for _, s, _ in o}
    }
    likeliest: list[tuple[float, tuple[int, ...]]] = [(0.0, ())]
    for o in options:  # weights multiply, so what is not among the likeliest of some photos is not with one more
        longer = [(score + float(np.log(w)), (*had, c)) for score, had in likeliest for c, (w, _, _) in enumerate(o)]
        likeliest = sorted(longer, key=lambda row: -row[0])[:MOST_SETS]
    return list(dict.fromkeys([*sorted(one_place), *(chosen for _, chosen in likeliest)]))


def _merged(
    scored: Sequence[tuple[float, float, str, tuple[int, ...]]], unlisted: float
) -> tuple[tuple[float, float, str], ...]:
    """Return candidates by place, best first, shifts against the best, with what is left to lines that none lists.

    `unlisted` is the score of that line.
    """
    top, zero = scored[0][0], scored[0][1]
    places: list[list[float]] = []
    names: list[str] = []
    for score, shift, name, _ in scored:
        weight = float(np.exp(score - top))
        near = next((i for i, (_, at) in enumerate(places) if abs(at - (shift - zero)) < SAME_MM), None)
        if near is None:
            places.append([weight, shift - zero])
            names.append(name)
        else:
            places[near][0] += weight
    total = sum(w for w, _ in places)
    room = min(total / (total + float(np.exp(unlisted - top))), 1 - ANOTHER_LINE)
    listed = [(room * w / total, at, n) for (w, at), n in zip(places, names, strict=True)]
    return tuple(c for i, c in enumerate(listed) if i == 0 or c[0] >= LISTED_FROM)


def with_choices(
    photos: Sequence[PhotoTraced], joint: Joint, chosen: Mapping[Side, Choice]
) -> tuple[list[PhotoTraced], bool]:
    """Return the photos with their sides at the lines chosen, and whether any moved."""
    moved = list(photos)
    changed = False
    for side, choice in chosen.items():
        for k, c in zip(choice.photos, choice.best, strict=True):
            if c:
                i = joint.used[k]
                moved[i] = _at_candidate(moved[i], side, c)
                changed = True
    return moved, changed


def _at_candidate(photo: PhotoTraced, side: Side, number: int) -> PhotoTraced:
    options = _options(photo, side)
    shift = options[number][1]
    line = _shifted(photo, photo.sides[side], shift)
    listed = dict(photo.listed)
    first = options[number]
    others = [o for i, o in enumerate(options) if i != number]
    listed[side] = tuple((w, s - shift, n) for w, s, n in (first, *others))
    return replace(photo, sides={**photo.sides, side: line}, listed=listed)


def _shifted(photo: PhotoTraced, line: SideLine, shift_mm: float) -> SideLine:
    """Return a side moved outward in the wall; what was seen along the old line says nothing of the new one."""
    camera = photo.solved.adjusted.state.camera
    a, b = back_project(camera, line.ends_px, line.depth_mm)
    d = (b - a) / np.hypot(*(b - a))
    outward = np.array([-d[1], d[0]]) if line.side in {"head", "sill"} else np.array([d[1], -d[0]])
    outward = outward * (-1.0 if line.side in {"head", "left"} else 1.0)
    ends = np.array([a, b]) + shift_mm * outward
    none = np.zeros(0)
    pixels = project(camera, np.column_stack([ends, np.full(2, line.depth_mm)]))
    return replace(line, ends_px=pixels, s_mm=none, local_mm=none, units=None)


def listed_of(chosen: Mapping[Side, Choice]) -> Listed:
    """Return the candidates of the whole, by side."""
    return {side: c.listed for side, c in chosen.items()}
