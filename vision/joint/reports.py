"""What is said of each photo where several were measured together: by what they give together, not each alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.advice import geometry_warnings, shape_warnings
from vision.depths import edge_depths
from vision.joint.measures import DEPTH_CONTRADICTED
from vision.joint.several_photos import Together
from vision.one_photo import PhotoTraced
from vision.quality.doubts import slant_doubts
from vision.quality.effects import with_effects
from vision.request import SIDE_WORD, SIDES, OpeningRequest, PhotoReport, Side, Warning_

ASSUMED, ALONE = "edge-depth-assumed", ("weak-geometry", "one-reference")
SEEN_MM = 3.0  # standard uncertainty to which photos must see the depth of all sides to take the place of a guess


def said_together(
    request: OpeningRequest,
    photos: Sequence[PhotoTraced],
    together: Together,
    reports: Mapping[int, PhotoReport],
) -> tuple[dict[int, PhotoReport], list[Warning_]]:
    """Return the reports of the photos that were joined, and what is to be said of them together.

    Effects on U95 are those on the measures of all; a single reference or a weak view is no fault of photos that are
    sure together. Where the views show how far the edges stand out, that is said once, in place of what was assumed
    and of how they contradict it.

    Parameters
    ----------
    reports : by index of `photos`, of each alone.
    """
    measured, used = together.measured, [photos[i] for i in together.used]
    count = max(len(p.solved.names) for p in used)
    clicked = all(p.clicks is not None for p in used)
    weak = geometry_warnings(measured.cov_mm2, measured.budget_mm, count, used[0].reference.thing, clicked=clicked)
    assumed = edge_depths(request).assumed
    depth = _depth_seen(together, assumed)
    said = [w for w in together.warnings if not (depth and w.code == DEPTH_CONTRADICTED and w.side in assumed)]
    dropped = {*ALONE, *(w.code for w in depth)}
    if weak:
        dropped -= {"one-reference"}
    found = {}
    for i in together.used:
        photo, corners = photos[i], reports[i].corners_px
        own = photo.report.warnings
        if corners is not None and np.isfinite(corners).all():
            own = (*own, *slant_doubts(photo.solved.adjusted.state.camera, corners))
        kept = [w for w in own if w.code not in dropped]
        found[i] = replace(reports[i], warnings=with_effects(kept, measured.cov_mm2, measured.budget_mm))
    return found, [*said, *depth, *weak, *shape_warnings(measured.values_mm, measured.further)]


def _depth_seen(together: Together, assumed: Sequence[Side]) -> list[Warning_]:
    """Return in place of assumed depths what the views show, where they show it of all sides assumed."""
    seen = {s: together.depths[s] for s in assumed if s in together.depths}
    if not assumed or len(seen) != len(assumed) or max(u for _, u in seen.values()) > SEEN_MM:
        return []
    each = ", ".join(f"{SIDE_WORD[s]} {round(-z)} mm +- {2 * u:.0f} mm" for s, (z, u) in seen.items())
    what = "the edges stand" if len(seen) == len(SIDES) else "some edges stand"
    says = (
        f"how far {what} out was not given; seen from several places they stand in front of the wall by: {each}, and "
        "that is used; measure it and enter it as edge offset"
    )
    return [Warning_(ASSUMED, says)]
