"""Whether two photos are one picture: a second copy is no second observation."""

from __future__ import annotations

import numpy as np

from vision.request import PhotoReport

# Two pictures whose references lie as close as this (px of the larger) are one: no hand holds a phone so still.
_SAME_PX = 1.5


def same_picture(a: PhotoReport, b: PhotoReport) -> bool:
    """Return whether two photos are one picture, saved anew or at another size: their references lie alike."""
    first, second = dict(a.references_px), dict(b.references_px)
    if not first or first.keys() != second.keys() or not all(a.size_px + b.size_px):
        return False
    scale = max(*a.size_px, *b.size_px)
    return all(
        np.abs(px / max(a.size_px) - second[name] / max(b.size_px)).max() * scale < _SAME_PX
        for name, px in first.items()
    )
