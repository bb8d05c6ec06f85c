"""What photos of one opening share: the arris, the bricks beside it, the courses. Its errors do not average out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from vision.in_photo import InPhoto
from vision.joint.solve import OWN_TRACE, Joint, own_blocks
from vision.joint.start import kind_of
from vision.one_photo import PhotoTraced
from vision.request import SIDES, Array, Side
from vision.wall.courses import LineBlock


def side_errors(joint: Joint, photos: Sequence[PhotoTraced]) -> dict[Side, tuple[Array, float]]:
    """Return, by side, what all photos see wrong alike: covariance (2, 2) of offset mm and slope, and u mm of choice.

    Notes
    -----
    Of photos that are not alike the mean, weighed as the adjustment weighs them. Corners as clicked share nothing.
    """
    found: dict[Side, tuple[Array, float]] = {}
    for i, side in enumerate(SIDES):
        seen = [b for b in joint.seen if b.side == i]
        weight = np.array([np.trace(b.whiten.T @ b.whiten) for b in seen])
        weight = weight / weight.sum()
        cov, u_choice = np.zeros((2, 2)), 0.0
        for w, b in zip(weight, seen, strict=True):
            photo = photos[joint.used[b.photo]]
            if photo.clicks is None:
                cov += w * (1 - OWN_TRACE) * photo.sides[side].cov_offset_slope
                u_choice += w * photo.sides[side].u_choice_mm
        found[side] = cov, u_choice
    return found


def with_one_wall(joint: Joint, photos: Sequence[PhotoTraced]) -> Mapping[str, Array]:
    """Return the parts of the joint covariance, with lines of the wall that err alike in all photos.

    Notes
    -----
    How far errors of lines in two photos are one is not known: the wall's are, those of pixels are not. For errors e_k
    of covariance V_k, however they are correlated, that of their sum is at most the sum of V_k / w_k with w_k > 0 that
    sum to 1 (Cauchy and Schwarz); w_k are taken so that it is reached where all err as one.
    """
    q = joint.adjusted.covariance
    offsets = joint.adjusted.state.layout.sides[:, 0]
    each = []
    for k, number in enumerate(joint.used):
        lines = [b for b in photos[number].solved.blocks if isinstance(b, LineBlock)]
        if lines:
            moved = [q @ InPhoto(k, b).linearised(joint.adjusted.state)[1].T for b in lines]
            each.append(np.asarray(sum(m @ m.T for m in moved)))
    if len(each) < 2:
        return joint.adjusted.parts
    spread = np.array([np.sqrt(np.trace(v[np.ix_(offsets, offsets)])) for v in each])
    share = np.maximum(spread / spread.sum(), 1e-6)
    more = np.asarray(sum((1 / w - 1) * v for w, v in zip(share, each, strict=True)))
    parts = dict(joint.adjusted.parts)
    parts["camera"] = parts["camera"] + more
    return parts


def torn_apart(joint: Joint, photos: Sequence[PhotoTraced]) -> Array:
    """Return the covariance (U, U) of references that the lines of their photos contradict.

    Notes
    -----
    Observations of a photo that err so that it by itself is off by d move all unknowns by Q N d, N their normal matrix.
    References of one kind and size have one fault: their movements add up.
    """
    used = [photos[i] for i in joint.used]
    state, q = joint.adjusted.state, joint.adjusted.covariance
    moved: dict[tuple[object, ...], Array] = {}
    for k, photo in enumerate(used):
        if photo.solved.torn is not None:
            d = np.zeros(state.unknowns)
            d[state.layout.photos[k]] = photo.solved.torn
            rows = [b.linearised(state)[1] for b in own_blocks(photo, k, state.layout, used) if isinstance(b, InPhoto)]
            by = np.asarray(q @ sum(a.T @ (a @ d) for a in rows))
            moved[kind_of(photo)] = moved.get(kind_of(photo), 0.0) + by
    return np.asarray(sum((np.outer(m, m) for m in moved.values()), np.zeros(q.shape)))
