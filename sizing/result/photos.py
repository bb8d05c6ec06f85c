"""Each photo of an opening as JSON: its file, and what was seen where in it."""

from __future__ import annotations

from sizing.json_values import Document, rounded_mm
from sizing.photoresults import PhotoResult
from sizing.result.values import point_lists, warning_document
from vision.photo.reading import at_photo_size
from vision.request import Array, LensUse

# Of the curve of a side as drawn.
_MOST_POINTS = 100


def photo_document(photo: PhotoResult) -> Document:
    """Return one photo: its hash, places in pixels of the upright photo, lenses, warnings, and why it gave nothing."""
    document: Document = {"file": photo.file}
    report = photo.report
    if photo.sha256:
        document["sha256"] = photo.sha256
    if report is not None and all(report.size_px):
        document["size_px"] = list(report.size_px if report.reduced == 1 else report.whole_px)
        if report.reduced != 1:  # all places are in pixels of the photo itself, as those of a job file
            document["measured_size_px"] = list(report.size_px)

        def places(px: Array) -> list[list[float | None]]:
            return point_lists(at_photo_size(px, report.reduced))

        if report.corners_px is not None:
            document["corners_px"] = places(report.corners_px)
        if report.lenses:
            document["lenses"] = [_lens(use) for use in report.lenses]
        document["references"] = [{"name": name, "corners_px": places(px)} for name, px in report.references_px]
        document["sides_px"] = {
            side: places(px[:: max(1, len(px) // _MOST_POINTS)]) for side, px in report.sides_px.items()
        }
        document["stations_px"] = {name: places(px) for name, px in report.stations_px.items()}
        document["rivals_px"] = [
            {"side": side, "shift_mm": rounded_mm(shift), "ends_px": places(px)} for side, shift, px in report.rivals_px
        ]
    document["warnings"] = [warning_document(w) for w in report.warnings] if report is not None else []
    if photo.error is not None:
        document["error"] = warning_document(photo.error)
    return document


def _lens(use: LensUse) -> Document:
    document: Document = {"file": use.path.name, "sha256": use.sha256, "applied": use.applied}
    return document | ({"why": use.why} if use.why else {})
