"""What one more observation would bring where several photos were measured together: added to their adjustment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.depths import EdgeDepths, edge_depths, once_given
from vision.joint.measures import measure_joint
from vision.joint.several_photos import Together
from vision.joint.solve import join
from vision.observations import SIZE, PriorBlock
from vision.one_photo import PhotoTraced
from vision.remedies import U_BAR
from vision.request import SIDES, CheckBar, OpeningRequest, Remedy


def joint_remedies(request: OpeningRequest, together: Together) -> tuple[Remedy, ...]:
    """Return what could be done about the uncertainty of joint measures without another photo, and what each brings."""
    used, depths = together.joined, edge_depths(request)
    asked: list[tuple[Remedy, Sequence[PhotoTraced], EdgeDepths]] = []
    before, thing = together.measured.cov_mm2, used[0].reference.thing
    if depths.assumed:
        z = {s: together.depths[s][0] if s in together.depths else depths.z_mm[s] for s in SIDES}
        given = replace(once_given(request), z_mm=z)
        asked.append((Remedy("give-edge-offset", "", before, thing), used, given))
    if request.check_bar == CheckBar() and any(p.reference.kind == "sheet" for p in used):
        asked.append((Remedy("measure-bars", "", before, thing), [_with_bars(p) for p in used], depths))
    found = []
    for remedy, seen, known in asked:
        joint = join(seen, known)
        if joint is not None and len(joint.used) == len(used):
            found.append(replace(remedy, cov_mm2=measure_joint(joint, seen, together.apart_mm).cov_mm2))
    return tuple(found)


def _with_bars(photo: PhotoTraced) -> PhotoTraced:
    """Return a photo whose sheets' bars were measured, at the scale that it has."""
    index = np.arange(SIZE.start, SIZE.stop)
    bars = PriorBlock(index, photo.solved.adjusted.state.size, U_BAR, "print_scale")
    kept = [b for b in photo.solved.blocks if not (isinstance(b, PriorBlock) and np.array_equal(b.index, index))]
    return replace(photo, solved=replace(photo.solved, blocks=(*kept, bars)))
