"""Which way up a photo is, when its sheets hang on their side or head: sheets may be taped so, photos may lie so.

A wall of courses or laps says it: its level lines are longer than its upright ones together, doors and windows counted
in. Where it does not, the camera's own word for it (Exif) is taken; only a photo without that is turned by its sheets.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision.photo.exif import ExifFacts
from vision.photo.upright_rgb import Pixels
from vision.request import Wall
from vision.sheets import markers
from vision.wall.kept_out import about
from vision.wall.segments import clipped, find_segments

LONG_SIDE_PX = 1000  # enough for courses at 12 MP, and quick
SLANT_DEG = 20.0  # level and upright lines of a wall seen at a slant
# Logarithm of level over upright length. 255 photos of brick and siding (practice, own renderings, from all sides and
# with doors and tall windows): 0.12 to 2; the same photos on their side have the opposite sign.
TELLS = 0.1
COURSED: tuple[Wall, ...] = ("masonry", "siding")


def quarters_to_turn(
    grey: Pixels, sightings: Sequence[markers.Sighting], wall: Wall, exif: ExifFacts
) -> tuple[int, bool]:
    """Return by how many quarters counter-clockwise a photo must be turned to stand upright, and if that is sure.

    Parameters
    ----------
    grey : (H, W) uint8, turned as Exif says.
    sightings : the sheets in it.
    wall : its kind.
    exif : of the photo.
    """
    quarters = {markers.quarter_turns(s) for s in sightings}
    if len(quarters) != 1 or quarters == {0}:
        return 0, True
    quarter = quarters.pop()
    level = level_over_upright(grey, sightings) if wall in COURSED and quarter != 2 else 0.0
    if abs(level) > TELLS:
        return (0 if level > 0 else quarter), True
    held = exif.make is not None or exif.model is not None or exif.orientation != 1  # a camera, which knows
    return (0 if held else quarter), False


def level_over_upright(grey: Pixels, sightings: Sequence[markers.Sighting]) -> float:
    """Return the logarithm of the length of level lines over that of upright ones, sheets left out."""
    h, w = grey.shape
    by = max(1, round(max(h, w) / LONG_SIDE_PX))
    small = cv2.resize(grey, (w // by, h // by), interpolation=cv2.INTER_AREA)
    found = find_segments(small)
    found = clipped(found, about([markers.first_outline(s) / by for s in sightings]))
    run = np.abs(found.ends_px[:, 1] - found.ends_px[:, 0])
    length, slant = np.hypot(*run.T), np.degrees(np.arctan2(run[:, 1], run[:, 0]))
    level, upright = float(length[slant < SLANT_DEG].sum()), float(length[slant > 90 - SLANT_DEG].sum())
    return float(np.log((level + 1.0) / (upright + 1.0)))
