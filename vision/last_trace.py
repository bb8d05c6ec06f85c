"""A cache of what was worked out for one photo, while its opening is pointed at again: wall lines and sides.

A corner that moves changes the two sides that meet in it. It changes the wall's lines only where it leaves its square
of the grid by which lines around the opening are left out (`vision.wall.kept_out`), or where a line of the frame comes
in or goes out. What is kept is what a fresh start would find, to the last digit: a traced side is used again only for
the same camera and the same two corners. It is no smooth function of the camera (a rival line may win by a hair), so
that of another camera, however near, is not used.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.kept.value_key import value_key
from vision.request import SIDE_WORD, SIDES, Array, Side, Wall
from vision.sides.finding import FailedSide, FoundSide, find_side
from vision.sides.tracing import SideTrace, trace_sides
from vision.solving.solved import Solved
from vision.stations import ENDS
from vision.wall.lines import lined, outlines_key
from vision.wall.segments import Segments, find_segments

MOST = 16  # cameras and sides of one photo: corners put to and fro find theirs again
MOST_MADE = 200  # outlines traced, references solved: small, but for one reduced photo

Kept = TypeVar("Kept")
Traces = dict[Side, SideTrace | FailedSide]


class LastTrace:
    """A cache of straight edges, wall lines and sides of one photo, by all they depend on; for one thread at a time."""

    def __init__(self, say: Callable[[str], None] | None = None) -> None:
        self._lined: OrderedDict[Hashable, Solved] = OrderedDict()
        self._sides: OrderedDict[Hashable, FoundSide | FailedSide] = OrderedDict()
        self._segments: Segments | None = None
        self._made: OrderedDict[Hashable, Any] = OrderedDict()
        self._say = say

    def heard_by(self, say: Callable[[str], None] | None) -> None:
        """Tell `say` from now on what is worked out again after a corner has moved."""
        self._say = say

    def segments(self, grey: NDArray[np.uint8]) -> Segments:
        """Return all straight edges of the photo (H, W)."""
        if self._segments is None:
            self._segments = find_segments(grey)
        return self._segments

    def once(self, key: tuple[object, ...], make: Callable[[], Kept]) -> Kept:
        """Return what `make` made before for the same key of plain values and arrays, else what it makes now."""
        known = value_key(key)
        made: Kept = self._made[known] if known in self._made else make()
        _keep(self._made, known, made, MOST_MADE)
        return made

    def lined(
        self, grey: cv2.typing.MatLike, solved: Solved, corners_px: Array | None, wall: Wall, segments: Segments | None
    ) -> Solved:
        """Return what `vision.wall.lines.lined` returns."""
        key = (
            corners_px is None,
            outlines_key(solved, corners_px, wall, segments),
            value_key(solved.adjusted),
            len(solved.blocks),
        )
        found = self._lined.get(key)
        if found is None:
            if self._say is not None and self._sides:
                self._say("around the opening other lines of the wall are seen: the photo is solved with them again")
            found = lined(grey, solved, corners_px, wall, segments)
        _keep(self._lined, key, found)
        return found

    def trace(
        self,
        rgb: NDArray[np.uint8],
        camera: Camera,
        corners_px: Array,
        click_px: float,
        depth_mm: Mapping[Side, float],
        wall: Wall,
        sill_at: str,
        blur_px: tuple[float, float] | None = None,
    ) -> Traces:
        """Return what `vision.sides.tracing.trace_sides` returns."""
        rest: tuple[Hashable, ...] = (value_key(camera), click_px, wall, sill_at, tuple(sorted(depth_mm.items())))

        def key(side: Side) -> Hashable:
            return (side, np.asarray(corners_px, float)[list(ENDS[side])].tobytes(), *rest)

        def find(side: Side) -> FoundSide | FailedSide:
            kept = self._sides.get(key(side))
            if kept is None:
                kept = find_side(rgb, camera, corners_px, click_px, depth_mm, wall, sill_at, side)
            _keep(self._sides, key(side), kept)
            return kept

        if self._say is not None and self._sides:
            self._say(_plan([s for s in SIDES if key(s) not in self._sides]))
        return trace_sides(rgb, camera, corners_px, click_px, depth_mm, wall, sill_at, blur_px, find=find)


def _plan(again: list[Side]) -> str:
    if len(again) == len(SIDES):
        return "all four sides are traced again"
    if not again:
        return "no side has to be traced again"
    return f"traced again: {' and '.join(SIDE_WORD[s] for s in again)}; the others stay"


def _keep(kept: OrderedDict[Hashable, Kept], key: Hashable, value: Kept, most: int = MOST) -> None:
    kept[key] = value
    kept.move_to_end(key)
    while len(kept) > most:
        kept.popitem(last=False)
