"""Several photos of one opening -> its measures: joined where they fit, named where they contradict each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from scipy.special import chdtri

from vision.depths import EdgeDepths, edge_depths
from vision.joint.choice import Choice, choices, listed_of, with_choices
from vision.joint.measures import depth_warnings, joint_candidates, measure_joint, seen_depths
from vision.joint.solve import Joint, join, loosened
from vision.measures import Measured
from vision.one_photo import PhotoTraced
from vision.request import Candidate, OpeningRequest, Side, Warning_
from vision.sides.traced import SIDE_WORD

LEVEL = 0.001  # of the test whether photos fit together
ROBUST = 1.5  # guess: Huber's loss and shared priors make the strain not quite a chi-square


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """What photos gave together: measures, candidates, warnings, and which photos (numbers) it rests on.

    `depths`: z mm (into the wall) of sides as the photos alone see it, and its standard uncertainty.
    """

    measured: Measured
    candidates: tuple[Candidate, ...]
    warnings: tuple[Warning_, ...]
    used: tuple[int, ...]
    depths: Mapping[Side, tuple[float, float]] = field(default_factory=dict)


def measure_together(request: OpeningRequest, photos: Sequence[PhotoTraced]) -> Together | None:
    """Return the measures of several photos, the surest first; None where they cannot be joined.

    Notes
    -----
    Photos that do not fit together are left out one by one, the one first whose absence helps most, and are named.
    """
    depths = edge_depths(request)
    left = list(range(len(photos)))
    warned: list[Warning_] = []
    joint, moved, chosen = _best_lines([photos[i] for i in left], depths)
    while joint is not None and not _fits(joint):
        if len(joint.used) < 3:
            return None
        trials = {i: _best_lines([photos[k] for k in left if k != i], depths) for i in left}
        worst = min(trials, key=lambda i: _strain(trials[i][0]))
        left.remove(worst)
        joint, moved, chosen = trials[worst]
        warned.append(_contradicts(photos[worst]))
    if joint is None:
        return None
    more = depth_warnings(joint, depths, SIDE_WORD)
    if more and joint.depths is depths:
        joint = join(moved, loosened(depths)) or joint
    warned += more
    measured = measure_joint(joint, moved)
    candidates = joint_candidates(joint, measured, listed_of(chosen))
    return Together(measured, candidates, tuple(warned), tuple(left[k] for k in joint.used), seen_depths(joint))


def disagreement(photos: Sequence[PhotoTraced]) -> Warning_:
    """Return `photos-disagree` for photos of which none can be told to be the wrong one."""
    names = " and ".join(p.report.path.name for p in photos)
    return Warning_(
        "photos-disagree",
        f"{names} do not fit together, so only the surest one is used: check that all show this opening, and take "
        "one more photo from another place",
    )


def _best_lines(
    photos: Sequence[PhotoTraced], depths: EdgeDepths
) -> tuple[Joint | None, Sequence[PhotoTraced], dict[Side, Choice]]:
    joint = join(photos, depths)
    if joint is None:
        return None, photos, {}
    chosen = choices(joint, photos)
    moved, changed = with_choices(photos, joint, chosen)
    if not changed:
        return joint, photos, chosen
    again = join(moved, depths)
    return (again, moved, choices(again, moved)) if again is not None else (joint, photos, chosen)


def _fits(joint: Joint) -> bool:
    return joint.strain <= ROBUST * float(chdtri(max(joint.conditions, 1), LEVEL))


def _strain(joint: Joint | None) -> float:
    return float("inf") if joint is None else joint.strain / max(joint.conditions, 1)


def _contradicts(photo: PhotoTraced) -> Warning_:
    return Warning_(
        "photos-disagree",
        f"{photo.report.path.name} does not fit the other photos and is left out: check that it shows this opening "
        "and that its sides lie on the right lines",
    )
