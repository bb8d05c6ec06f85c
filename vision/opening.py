"""Finding the opening when nobody pointed at it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from vision.camera import Camera
from vision.photo import Pixels
from vision.request import Array, Side, Warning_


def find_openings(
    rgb: Pixels, camera: Camera, references_px: Sequence[Array], depth: Mapping[Side, float]
) -> Array | Warning_:
    """Return rough corners (4, 2) px of the one opening in view, or the reason why it must be pointed at."""
    return Warning_("corners-needed", "the opening was not found by itself; give its four corners roughly (corners)")
