"""Cards as references: their faces are covered in pictures that may leave the house."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from sizing.jobs.job import Opening, PhotoEntry
from sizing.pictures.blanking import FILL
from vision.photo.reading import at_read_size
from vision.request import PhotoReport, Reference

Pixels = NDArray[np.uint8]

# ISO/IEC 7810: ID-1 is 85.60 mm x 53.98 mm; a rectangle given by hand that is about that is taken for a card.
_ID1_MM, _ABOUT_MM = (85.60, 53.98), 3.0


def covered(photo_rgb: Pixels, outlines_px: Sequence[NDArray[np.float64]]) -> Pixels:
    """Return the photo (H, W, 3) with outlines (N, 2) px filled; a copy where there are any."""
    if not outlines_px:
        return photo_rgb
    copy = np.ascontiguousarray(photo_rgb).copy()
    for outline in outlines_px:
        cv2.fillPoly(copy, [np.round(outline).astype(np.int32).reshape(-1, 1, 2)], FILL)
    return copy


def card_outlines(opening: Opening, entry: PhotoEntry, report: PhotoReport) -> tuple[NDArray[np.float64], ...] | None:
    """Return the outlines (4, 2) px of cards whose face must not be seen; None where a card's place is not known."""
    if not _is_card(entry.reference or opening.reference):
        return ()
    given = (at_read_size(quad, report.reduced) for quad in entry.reference_corners_px)
    return (*(outline for _, outline in report.references_px), *given) or None


def card_cover(opening: Opening) -> Callable[[Pixels, PhotoEntry, PhotoReport], Pixels]:
    """Return what hides the faces of cards in a photo of an opening; it raises ValueError where it cannot."""

    def cover(rgb: Pixels, entry: PhotoEntry, report: PhotoReport) -> Pixels:
        cards = card_outlines(opening, entry, report)
        if cards is None:
            raise ValueError("a card may be in view whose place is not known")
        return covered(rgb, cards)

    return cover


def _is_card(reference: Reference) -> bool:
    if reference.kind == "id1":
        return True
    given = sorted((reference.width_mm or 0.0, reference.height_mm or 0.0), reverse=True)
    return reference.kind == "given" and all(abs(a - b) <= _ABOUT_MM for a, b in zip(given, _ID1_MM, strict=True))
