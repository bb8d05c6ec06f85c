"""Finding the opening when nobody pointed at it: what does not look like the wall, between the references.

The wall's colours are learnt from rings around the references (`wall_mask`), its courses beside them (`wall_pattern`);
what remains is searched for two straight jambs (`outline`), and from these the lines a tape would touch are found
(`arris_snap`). Where courses seem to stop at many places that hides the jambs: then what has another colour is searched
alone; or the search gives up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from vision.camera import Camera, back_project
from vision.finder.arris_snap import snap
from vision.finder.outline import area, find_jambs, square
from vision.finder.wall_mask import PITCH_MM, WallView, reference_mask, smaller_copy, unlike_wall, view_wall
from vision.finder.wall_pattern import level_rad, smooth_along, where_courses_stop
from vision.photo.upright_rgb import Pixels
from vision.request import Array, Wall, Warning_

# What hangs on the wall, by its outline: Letter or A4 about a pattern of 180 x 240 mm; else the thing and its shadow.
PAPER = {True: 1.25, False: 1.06}
MINOR = 0.2  # what has less than this share of the largest outline's area is no opening of the same wall
BESIDE_MM = 600.0  # the references hang at the height of the opening, give or take
SAME = 0.4  # outlines that share more than this of the smaller one are of one opening


def find_openings(
    rgb: Pixels,
    camera: Camera,
    references_px: Sequence[Array],
    wall: Wall,
    out_mm: float = 0.0,
    *,
    sheets: bool = True,
) -> Array | Warning_:
    """Return rough corners (4, 2) px of the one opening in view, or the reason why it must be pointed at.

    Parameters
    ----------
    rgb : (H, W, 3) uint8.
    camera : adjusted camera.
    references_px : outlines (4, 2) px of the references.
    wall : its kind; siding and panels carry a trim.
    out_mm : how far the sill's edge stands out in front of the jambs'.
    sheets : the references are printed sheets, outlined by their pattern.
    """
    outlines_mm = np.concatenate([back_project(camera, o, 0.0) for o in references_px])
    small = smaller_copy(rgb, camera, outlines_mm) if np.isfinite(outlines_mm).all() else None
    view, references = _laid_out(rgb, camera, references_px, small)
    if view is not None:
        camera = _turned(camera, level_rad(view, references))
        view, references = _laid_out(rgb, camera, references_px, small)
    other = None if view is None else unlike_wall(view, references)
    if view is None or other is None:
        return _give_up("too little wall is seen around the references")
    view = replace(view, covered=reference_mask(view, references, PAPER[sheets]))
    centre = camera.centre_mm()
    foot = (centre[:2] - view.origin_mm) / PITCH_MM
    filled = smooth_along(view, references, other)
    trimmed = wall in {"siding", "panel"}
    answers: list[Array | Warning_] = []
    stopped = where_courses_stop(view, references, other)
    # not with trim: where the photo's border cuts it off, the frame alone has two jambs (one of 72 was 10 cm off)
    for mask in (stopped,) if trimmed else (stopped, other):
        quads: list[Array] = []
        reasons: list[str] = []
        for jambs in find_jambs(mask, view.valid):
            quad = snap(view, jambs, foot, float(-centre[2]), filled, trimmed=trimmed, out_mm=out_mm)
            shown = jambs.corners() if isinstance(quad, str) else quad
            if not _beside(shown, references) or any(_same(shown, q) for q in quads):
                continue
            quads.append(shown)
            reasons.append(quad if isinstance(quad, str) else "" if square(quad) else "its corners are not square")
        answers.append(_the_one(quads, reasons, view, camera))
        if not isinstance(answers[-1], Warning_) or answers[-1].code == "several-openings":
            return answers[-1]
    return answers[0]


def _the_one(quads: list[Array], reasons: list[str], view: WallView, camera: Camera) -> Array | Warning_:
    """Return the corners (4, 2) px of the one outline that is found and not in doubt, or why there is none."""
    if not quads:
        return _give_up("no outline stands out from the wall clearly")
    largest = max(area(q) for q in quads)
    listed = [k for k, q in enumerate(quads) if area(q) > MINOR * largest]
    if len(listed) > 1:
        places = _places([quads[k] for k in listed], view, camera)
        return Warning_("several-openings", f"{places}; give the corners of the one that is meant")
    return _give_up(reasons[listed[0]]) if reasons[listed[0]] else view.to_photo(camera, quads[listed[0]])


def _laid_out(
    rgb: Pixels, camera: Camera, references_px: Sequence[Array], small: Pixels | None
) -> tuple[WallView | None, list[Array]]:
    """Return the wall around the references seen straight on, and their outlines in px of that view."""
    outlines_mm = [back_project(camera, o, 0.0) for o in references_px]
    view = view_wall(rgb, camera, np.concatenate(outlines_mm), small)
    return view, [] if view is None else [(o - view.origin_mm) / PITCH_MM for o in outlines_mm]


def _turned(camera: Camera, angle_rad: float) -> Camera:
    """Return the same camera before the wall's frame turned by an angle in its plane."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return replace(camera, rotation=camera.rotation @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]))


def _beside(quad: Array, references: Sequence[Array]) -> bool:
    """Return whether any reference hangs at the height of the outline."""
    margin = BESIDE_MM / PITCH_MM
    heights = np.array([r[:, 1].mean() for r in references])
    return bool(((heights > quad[:, 1].min() - margin) & (heights < quad[:, 1].max() + margin)).any())


def _same(a: Array, b: Array) -> bool:
    """Return whether two outlines (4, 2) are of one opening."""
    shared, _ = cv2.intersectConvexConvex(a.astype(np.float32), b.astype(np.float32))
    return float(shared) > SAME * min(area(a), area(b))


def _give_up(reason: str) -> Warning_:
    return Warning_(
        "corners-needed",
        f"the opening was not found by itself ({reason}); give its four corners roughly, or, if a part of it is not in "
        "the photo, take one that shows the whole opening",
    )


def _places(quads: Sequence[Array], view: WallView, camera: Camera) -> str:
    listed = [" ".join(f"{x:.0f},{y:.0f}" for x, y in view.to_photo(camera, q)) for q in quads]
    return f"{len(quads)} openings are in view, at " + " and at ".join(listed)
