"""Pictures of a report: copies made anew, small, without Exif, blanked out, and with no card's face in view."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.resources import as_file, files

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from sizing.footprint.pictures import footprint_pictures
from sizing.jobs.job import PhotoEntry
from sizing.messages import report_pictures as words
from sizing.messages.picture_legend import LEGEND
from sizing.messages.written_files import picture_failed
from sizing.orders.footprint import Footprint, NotDrawn
from sizing.outcome import OpeningResult
from sizing.pictures.blanking import Blank, boxes_of
from sizing.pictures.cards import card_cover, card_outlines, covered
from sizing.pictures.drawn import Complain, as_measured, picture_labels
from sizing.pictures.rivals import with_shown_rivals
from sizing.units import Unit
from vision.pictures.overlay import annotated_photo
from vision.request import Estimate, PhotoReport

Pixels = NDArray[np.uint8]

_LONG_SIDE_PX, _QUALITY = 1500, 84
_TEXT_PART = 0.024  # read at half a page's width: common practice, no source
_MARGIN_PART = 0.12  # of the longer extent, around what is shown


@dataclass(frozen=True, slots=True, eq=False)
class ReportPicture:
    """A JPEG with its size in px and its caption."""

    jpeg: bytes
    size_px: tuple[int, int]
    caption: str


def opening_pictures(
    result: OpeningResult, footprint: Footprint | NotDrawn, unit: Unit, blanks: Sequence[Blank], complain: Complain
) -> tuple[ReportPicture, ...]:
    """Return the annotated photo and, where one is drawn, the ordered size on the wall; at most these two.

    What cannot be drawn is complained of and left out.
    """
    found: list[ReportPicture] = []
    pairs = list(zip(result.photos, result.opening.photos, strict=True))
    pairs.sort(key=lambda pair: pair[0].report is None or not pair[0].report.stations_px)  # one that measures first
    for photo, entry in pairs:
        if photo.unreadable or photo.report is None:
            continue
        try:
            image = _annotated(result, photo.report, entry, unit, blanks)
        except Exception as error:  # a picture is for people: without it the report stands
            complain(picture_failed(photo.file, error))
            continue
        if image is None:
            complain(words.card_left_out(photo.file))
            continue
        found.append(_encoded(image, words.photo_caption(photo.file, measured=bool(photo.report.stations_px))))
        break
    if isinstance(footprint, Footprint):
        try:
            on_wall, _ = footprint_pictures(
                result, footprint, unit, blanks, cover=card_cover(result.opening), text_part=_TEXT_PART
            )
            found.append(_encoded(on_wall, words.wall_caption(footprint.size_from)))
        except Exception as error:
            complain(picture_failed(result.opening.label, error))
    return tuple(found)


def cropped(photo_rgb: Pixels, report: PhotoReport) -> tuple[Pixels, PhotoReport]:
    """Return photo and report of the part that matters: opening and references with a margin; else all."""
    lines = [*report.sides_px.values(), *report.stations_px.values(), *(o for _, o in report.references_px)]
    lines += [] if report.corners_px is None else [report.corners_px]
    points = np.vstack([np.asarray(line, np.float64).reshape(-1, 2) for line in lines]) if lines else np.empty((0, 2))
    points = points[np.isfinite(points).all(axis=1)]
    if len(points) < 3 or not report.stations_px:
        return photo_rgb, report
    height, width = photo_rgb.shape[:2]
    margin = _MARGIN_PART * float(np.ptp(points, axis=0).max())
    low = np.clip(np.floor(points.min(axis=0) - margin), 0, [width - 2, height - 2]).astype(int)
    high = np.clip(np.ceil(points.max(axis=0) + margin) + 1, low + 2, [width, height]).astype(int)
    moved = replace(
        report,
        sides_px={name: line - low for name, line in report.sides_px.items()},
        stations_px={name: line - low for name, line in report.stations_px.items()},
        references_px=tuple((name, outline - low) for name, outline in report.references_px),
        rivals_px=tuple((side, shift, ends - low) for side, shift, ends in report.rivals_px),
        corners_px=None if report.corners_px is None else report.corners_px - low,
        faces_px=tuple((name, {s: line - low for s, line in lines.items()}) for name, lines in report.faces_px),
    )
    return photo_rgb[low[1] : high[1], low[0] : high[0]], moved


def _annotated(
    result: OpeningResult, report: PhotoReport, entry: PhotoEntry, unit: Unit, blanks: Sequence[Blank]
) -> Image.Image | None:
    cards = card_outlines(result.opening, entry, report)
    if cards is None:
        return None
    if isinstance(result.answer, Estimate):
        report = with_shown_rivals(report, result.answer.candidates)
    rgb = covered(as_measured(report, entry.turn, boxes_of(blanks, entry.file)), cards)
    labels = {
        name: (text.split("|", 1)[0] if kind == "agrees" else text, kind)  # the table has the figures
        for name, (text, kind) in picture_labels(result.answer, result.readings, unit).items()
    }
    rgb, report = cropped(rgb, report)
    with as_file(files("sizing") / "data" / "DejaVuSans.ttf") as font:
        return annotated_photo(rgb, report, labels if report.stations_px else {}, font, _TEXT_PART, LEGEND)


def _encoded(image: Image.Image, caption: str) -> ReportPicture:
    """Return a picture as JPEG: made anew from pixels, so that nothing of the file's own goes along."""
    small = Image.fromarray(np.asarray(image.convert("RGB")))
    small.thumbnail((_LONG_SIDE_PX, _LONG_SIDE_PX), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=_QUALITY)
    return ReportPicture(out.getvalue(), small.size, caption)
