"""Where the opening lies in a photo, well enough to say where no reference lies."""

from __future__ import annotations

import numpy as np

from vision.request import Array

STEPS = 64  # of the photo's longer side


def roughly(corners_px: Array | None, photo_px: tuple[int, int]) -> Array | None:
    """Return an opening's corners (4, 2) px to the next of 64 steps of the photo: the same when one is moved a little.

    Parameters
    ----------
    corners_px : clockwise from the top left one; NaN where a corner is out of view. It is then put on the photo's
        border: one opposite to three that are seen, two as far from the side that is seen as the photo goes.
    photo_px : width and height.

    Notes
    -----
    None where no corners are known, or no two neighbours.
    """
    if corners_px is None:
        return None
    corners = np.array(corners_px, float)
    out = ~np.isfinite(corners).all(1)
    if out.any():
        side = next((k for k in range(4) if not out[k] and not out[k - 3]), None)
        if side is None:
            return None
        first, last = corners[side], corners[side - 3]
        along = last - first
        inward = np.array([-along[1], along[0]]) / np.linalg.norm(along) * max(photo_px)
        for k in np.flatnonzero(out):
            beside = corners[k - 1] + corners[k - 3] - corners[k - 2]
            corners[k] = beside if out.sum() == 1 else (last if k == (side + 2) % 4 else first) + inward
        corners = np.clip(corners, 0, np.array(photo_px) - 1.0)
    step = max(photo_px) / STEPS
    return np.asarray(np.rint(corners / step) * step)
