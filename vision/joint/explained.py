"""Why photos of one opening do not fit: depths are not as declared, a sheet was moved, a photo shows another line.

Each of these is tried as the only cause. Those that no evidence rules out are kept: nobody knows which it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtri

from vision.depths import EdgeDepths
from vision.joint.choice import Choice, choices, with_choices
from vision.joint.measures import depth_warnings, seen_depths
from vision.joint.solve import Joint, join, loosened
from vision.one_photo import PhotoTraced
from vision.request import SIDE_WORD, SIDES, Side

LEVEL = 0.001  # of the tests whether photos, and single sides, fit together
ROBUST = 1.5  # guess: Huber's loss and shared priors make the strain not quite a chi-square
# Causes are told apart by twice the logarithm of their likelihoods. One in a hundred is not kept: less than what the
# contract leaves to 'another line'.
TOLD_APART = 2 * float(np.log(100.0))
# Each unknown set free fits chance too (Schwarz 1978: by the logarithm of the number of observations, here about 50):
# depths one that counts, a line left out its place and slope, a sheet that was moved three.
PER_UNKNOWN = 4.0
FURTHEST_OUT_MM = 75.0  # guess: of sills and trim
FREE_MM = 25.0  # how far (sd) another line lies from a side
# Lines left out in turn: those whose going helps most, if by the linear sum of squares it may help at all (a guess:
# Huber's loss is not square).
MOST_TRIED, HOPELESS = 4, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """Photos adjusted together by one cause of their misfit, or none: `wrong` is the photo and side that is left out.

    `photos` are those adjusted, with their sides at the lines chosen; `deeper`: the depths declared are not believed.
    """

    joint: Joint
    photos: Sequence[PhotoTraced]
    chosen: Mapping[Side, Choice]
    wrong: tuple[int, Side] | None = None
    deeper: bool = False


def fits(joint: Joint) -> bool:
    """Return whether photos fit together."""
    return joint.strain <= _most_strain(joint)


def _most_strain(joint: Joint) -> float:
    return ROBUST * float(chdtri(max(joint.conditions, 1), LEVEL))


def at_best_lines(photos: Sequence[PhotoTraced], depths: EdgeDepths) -> Way | None:
    """Return photos joined at the lines that lie together; None where no two join."""
    joint = join(photos, depths)
    if joint is None:
        return None
    chosen = choices(joint, photos)
    moved, changed = with_choices(photos, joint, chosen)
    again = join(moved, depths) if changed else None
    if again is None:
        return Way(joint, photos, chosen, deeper=joint.depths is not depths)
    return Way(again, moved, choices(again, moved), deeper=again.depths is not depths)


def ways(photos: Sequence[PhotoTraced], depths: EdgeDepths, *, assumed: bool) -> list[Way]:
    """Return how photos may lie together, the likeliest first, each but the first about as likely as that.

    Empty where no two photos join; one that does not fit (`fits`) where none fits. `assumed`: nobody declared the
    depths. That sides stand out as sills and trim do is then a hundred times as likely as that a traced line is wrong.
    """
    plain = at_best_lines(photos, depths)
    if plain is None:
        return []
    if _sound(plain, depths):
        return [plain]
    rated = [(_cost(plain), plain)]
    deeper = None if plain.deeper else join(plain.photos, loosened(depths))
    if deeper is not None:
        rated.append((_cost(way := replace(plain, joint=deeper, deeper=True)), way))
    less_likely = TOLD_APART if assumed and any(w.deeper and _stands_out(w.joint) for _, w in rated) else 0.0
    rated += [(_cost(w) + less_likely, w) for w in _without_one_line(photos, depths)]
    fitting = sorted((r for r in rated if fits(r[1].joint)), key=lambda r: r[0])
    return [w for cost, w in fitting if cost < fitting[0][0] + TOLD_APART] or [plain]


def _stands_out(joint: Joint) -> bool:
    """Return whether all sides are seen in front of the wall's face, as sills and trim are, or in it."""
    return all(-FURTHEST_OUT_MM < z < 2 * u for z, u in seen_depths(joint).values())


def _cost(way: Way) -> float:
    """Return twice the negative logarithm of how likely photos are by a cause."""
    freed = 3 * len(way.joint.parted) + way.deeper + 2 * (way.wrong is not None)
    return way.joint.adjusted.cost + PER_UNKNOWN * freed


def _sound(way: Way, depths: EdgeDepths) -> bool:
    """Return whether photos fit as declared, and each side in each of them."""
    joint = way.joint
    as_said = not way.deeper and not joint.parted and not depth_warnings(joint, depths, SIDE_WORD)
    most = max((gain for gain, *_ in _gains(joint)), default=0.0)
    return as_said and fits(joint) and most < float(chdtri(1, LEVEL))


def _gains(joint: Joint) -> list[tuple[float, int, Side]]:
    """Return by how much the sum of squares would fall if a photo's line of a side were free to lie elsewhere.

    Notes
    -----
    With whitened residuals r, design A and a shift d of the observations by 1 mm the least sum of squares changes by
    2 s d'r + s^2 d'(I - A Q A') d for s mm (as in `choices`), to which s^2 / sd^2 comes; this is its lowest.
    """
    found = []
    for b in joint.seen:
        w, a = b.linearised(joint.adjusted.state)
        d = b.whiten.sum(axis=1)
        free = float(d @ d - (d @ a) @ joint.adjusted.covariance @ (d @ a))
        found.append((float(d @ w) ** 2 / (free + FREE_MM**-2), b.photo, SIDES[b.side]))
    return found


def _without_one_line(photos: Sequence[PhotoTraced], depths: EdgeDepths) -> list[Way]:
    """Return photos joined without one photo's line of a side, where all the rest is then as declared."""
    firm = join(photos, depths, firm=True)
    if firm is None:
        return []
    found = []
    for gain, k, side in sorted(_gains(firm), key=lambda row: -row[0])[:MOST_TRIED]:
        if firm.strain - gain > HOPELESS * _most_strain(firm):
            break
        i = firm.used[k]
        way = at_best_lines([_without(p, side) if j == i else p for j, p in enumerate(photos)], depths)
        if way is not None and _sound(way, depths):
            found.append(replace(way, wrong=(i, side)))
    return found


def _without(photo: PhotoTraced, side: Side) -> PhotoTraced:
    sides = {s: line for s, line in photo.sides.items() if s != side}
    return replace(photo, sides=sides, listed={s: c for s, c in photo.listed.items() if s != side})
