"""Finding the opening when nobody pointed at it: what does not look like the wall, between the references.

The wall's colours are learnt from rings around the references (`wall_mask`), what remains is searched for two straight
jambs (`outline`), and these are moved to the lines a tape would touch (`arris_snap`); or the search gives up.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.arris_snap import snap
from vision.camera import Camera, back_project
from vision.outline import area, find_outlines, square
from vision.photo import Pixels
from vision.request import Array, Wall, Warning_
from vision.wall_mask import PITCH_MM, WallView, unlike_wall, view_wall

MINOR = 0.2  # what has less than this share of the largest outline's area is no opening of the same wall
BESIDE_MM = 600.0  # the references hang at the height of the opening, give or take


def find_openings(rgb: Pixels, camera: Camera, references_px: Sequence[Array], wall: Wall) -> Array | Warning_:
    """Return rough corners (4, 2) px of the one opening in view, or the reason why it must be pointed at.

    Parameters
    ----------
    rgb : (H, W, 3) uint8.
    camera : adjusted camera.
    references_px : outlines (4, 2) px of the references.
    wall : its kind; siding and panels carry a trim.
    """
    outlines_mm = [back_project(camera, o, 0.0) for o in references_px]
    view = view_wall(rgb, camera, np.concatenate(outlines_mm))
    references = [] if view is None else [(o - view.origin_mm) / PITCH_MM for o in outlines_mm]
    other = None if view is None else unlike_wall(view, references)
    if view is None or other is None:
        return _give_up("too little wall is seen around the references")
    outlines = [o for o in find_outlines(other, view.valid) if _beside(o.corners, references)]
    if not outlines:
        return _give_up("no outline stands out from the wall clearly")
    largest = area(outlines[0].corners)
    listed = [o for o in outlines if area(o.corners) > MINOR * largest]
    if len(listed) > 1:
        places = _places([o.corners for o in listed], view, camera)
        return Warning_("several-openings", f"{places}; give the corners of the one that is meant")
    if not listed[0].ends_seen or not square(listed[0].corners):
        return _give_up("its corners are hidden, outside the photo, or part of a reveal looks like the wall")
    centre = camera.centre_mm()
    foot = (centre[:2] - view.origin_mm) / PITCH_MM
    trimmed = wall in {"siding", "panel"}
    snapped = snap(view, listed[0].corners, foot, float(-centre[2]), other, trimmed=trimmed)
    return _give_up(snapped) if isinstance(snapped, str) else view.to_photo(camera, snapped)


def _beside(quad: Array, references: Sequence[Array]) -> bool:
    """Return whether any reference hangs at the height of the outline."""
    margin = BESIDE_MM / PITCH_MM
    heights = np.array([r[:, 1].mean() for r in references])
    return bool(((heights > quad[:, 1].min() - margin) & (heights < quad[:, 1].max() + margin)).any())


def _give_up(reason: str) -> Warning_:
    return Warning_("corners-needed", f"the opening was not found by itself ({reason}); give its four corners roughly")


def _places(quads: Sequence[Array], view: WallView, camera: Camera) -> str:
    listed = [" ".join(f"{x:.0f},{y:.0f}" for x, y in view.to_photo(camera, q)) for q in quads]
    return f"{len(quads)} openings are in view, at " + " and at ".join(listed)
