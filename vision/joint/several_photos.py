"""Several photos of one opening -> its measures: joined where they fit, named where they contradict each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from vision.depths import EdgeDepths, edge_depths
from vision.joint.choice import listed_of
from vision.joint.explained import Way, at_best_lines, fits, ways
from vision.joint.measures import DOUBTED, depth_warnings, joint_candidates, measure_joint, seen_depths
from vision.measures import Measured
from vision.one_photo import PhotoTraced
from vision.request import SIDE_WORD, Array, Candidate, OpeningRequest, Side, Warning_


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """What photos gave together: measures, candidates, warnings, and which photos (numbers) it rests on.

    `depths`: z mm (into the wall) of sides as the photos alone see it, and its standard uncertainty. `joined`: the
    photos with the sides that were used; `apart_mm`: distances (9,) to other answers that may as well be right.
    """

    measured: Measured
    candidates: tuple[Candidate, ...]
    warnings: tuple[Warning_, ...]
    used: tuple[int, ...]
    depths: Mapping[Side, tuple[float, float]] = field(default_factory=dict)
    joined: tuple[PhotoTraced, ...] = ()
    apart_mm: tuple[Array, ...] = ()


def measure_together(request: OpeningRequest, photos: Sequence[PhotoTraced]) -> Together | None:
    """Return the measures of several photos, the surest first; None where they cannot be joined.

    Notes
    -----
    Photos that do not fit together by any single cause (`vision.joint.explained`) are left out one by one, the one
    first whose absence helps most, and are named. Where several causes are as likely the measures are those of the
    first, and the distance to those of each other counts as a standard deviation (a guess).
    """
    depths, assumed = edge_depths(request), request.edge_offset is None
    left = list(range(len(photos)))
    warned: list[Warning_] = []
    found = ways(photos, depths, assumed=assumed)
    while found and not fits(found[0].joint):
        if len(found[0].joint.used) < 3:
            return None
        trials = {i: at_best_lines([photos[k] for k in left if k != i], depths) for i in left}
        worst = min(trials, key=lambda i: _strain(trials[i]))
        left.remove(worst)
        found = ways([photos[i] for i in left], depths, assumed=assumed)
        warned.append(_contradicts(photos[worst]))
    if not found:
        return None
    way, joint = found[0], found[0].joint
    measured = measure_joint(joint, way.photos)
    apart = tuple(measure_joint(w.joint, w.photos).values_mm - measured.values_mm for w in found[1:])
    if apart:
        measured = measure_joint(joint, way.photos, apart)
    warned += _said(found, [photos[i] for i in left], depths)
    candidates = joint_candidates(joint, measured, listed_of(way.chosen))
    used = tuple(left[k] for k in joint.used)
    return Together(
        measured, candidates, tuple(warned), used, seen_depths(joint), tuple(way.photos[k] for k in joint.used), apart
    )


def disagreement(photos: Sequence[PhotoTraced]) -> Warning_:
    """Return `photos-disagree` for photos of which none can be told to be the wrong one."""
    names = " and ".join(p.report.path.name for p in photos)
    return Warning_(
        "photos-disagree",
        f"{names} do not fit together and nothing tells which is right, so the surest one is used with an uncertainty "
        "as large as their answers lie apart: check that all show this opening and that their sides lie on the right "
        "lines, and take one more photo from another place",
    )


def torn_off(photo: PhotoTraced) -> Warning_:
    """Return `lines-disagree` for a photo that is left out because the wall's lines contradict its only reference."""
    return Warning_(
        "lines-disagree",
        f"{photo.report.path.name} is left out, because the lines of its wall do not fit its reference: check the size "
        "of the reference and that it lies flat on this wall",
    )


def _strain(way: Way | None) -> float:
    return float("inf") if way is None else way.joint.strain / max(way.joint.conditions, 1)


def _contradicts(photo: PhotoTraced) -> Warning_:
    return Warning_(
        "photos-disagree",
        f"{photo.report.path.name} does not fit the other photos and is left out: check that it shows this opening "
        "and that its sides lie on the right lines",
    )


def _said(found: Sequence[Way], photos: Sequence[PhotoTraced], depths: EdgeDepths) -> list[Warning_]:
    """Return what is said of the causes for which photos do not fit as they are, the likeliest first."""
    best = found[0]
    wrong = [(photos[w.wrong[0]].report.path.name, SIDE_WORD[w.wrong[1]]) for w in found if w.wrong is not None]
    deeper = next((w for w in found if w.deeper), None)
    warned = []
    if deeper is not None and (deeper is best or not wrong):
        warned += depth_warnings(deeper.joint, depths, SIDE_WORD, DOUBTED)
    if len(found) == 1 and wrong:
        (name, side), *_ = wrong
        says = (
            f"the {side} in {name} does not lie where the other photos show it and is left out: it is another line, so "
            "look at the picture and point at its corners"
        )
        return [Warning_("edge-ambiguous", says)]
    if wrong:
        causes = [f"the {side} in {name} may be another line" for name, side in wrong]
        if deeper is not None:
            causes.append("the edges may not stand out as declared")
        says = (
            f"the photos do not show the sides in one place: {', or '.join(causes)}; nothing tells which, and the "
            "uncertainty is as large as the answers lie apart: look at the pictures and point at the corners, or take "
            "one more photo from another place"
        )
        warned.append(Warning_("edge-ambiguous", says))
    return warned
