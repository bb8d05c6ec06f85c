"""The photos of an opening as listed, with what each gave: hashes, reports, and why one could not be used."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sizing.jobs.job import Opening, PhotoEntry
from sizing.messages.lengths import in_unit
from sizing.units import Unit
from vision.joint.same_view import same_picture
from vision.request import Estimate, NotMeasured, PhotoReport, Warning_

# Codes of `vision.errors.PhotoError`, and of a path that is refused, against those of a sound photo.
_UNREADABLE = ("photo-", "heic-")
_LARGEST_HASHED = 150_000_000
# A photo listed for two openings whose corners lie closer than this part of its width shows one and the same.
_SAME_PLACE = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class PhotoResult:
    """One photo as listed, and what it gave: its report, or why it could not be used, or both.

    `sha256` is that of the file, empty where there is none.
    """

    file: str
    report: PhotoReport | None = None
    error: Warning_ | None = None
    sha256: str = ""

    @property
    def unreadable(self) -> bool:
        """Whether the file is no photo; False for one that is sound and shows too little."""
        return self.error is not None and self.error.code.startswith(_UNREADABLE)


def as_listed(answer: Estimate | NotMeasured, opening: Opening) -> Estimate | NotMeasured:
    """Name photos in what stood in the way as the job does: a result is the same in any folder."""
    # As `vision.photo.reading` shows a path.
    shown = {"".join(c if c.isprintable() else "?" for c in str(p.path)): p.file for p in opening.photos if not p.error}

    def named(text: str) -> str:
        for path, file in shown.items():
            text = text.replace(path, file)
        return text

    reports = tuple(
        r if r.error is None else replace(r, error=Warning_(r.error.code, named(r.error.message)))
        for r in answer.photos
    )
    if isinstance(answer, NotMeasured):
        return replace(answer, why=named(answer.why), photos=reports)
    return replace(answer, photos=reports)


def read_in(answer: Estimate | NotMeasured, unit: Unit) -> Estimate | NotMeasured:
    """Return what the photos gave with the lengths in its warnings as people of a job in `unit` read them."""

    def said(warning: Warning_) -> Warning_:
        return replace(warning, message=in_unit(warning.message, unit))

    photos = tuple(replace(report, warnings=tuple(said(w) for w in report.warnings)) for report in answer.photos)
    return replace(answer, photos=photos, warnings=tuple(said(w) for w in answer.warnings))


def photo_results(opening: Opening, answer: Estimate | NotMeasured) -> tuple[PhotoResult, ...]:
    """Return the photos of an opening in its order, each with its report or why it could not be used."""
    reports = by_path(answer.photos)
    return tuple(_listed_photo(entry, reports) for entry in opening.photos)


def _listed_photo(entry: PhotoEntry, reports: dict[Path, list[PhotoReport]]) -> PhotoResult:
    if entry.error is not None:
        return PhotoResult(entry.file, None, Warning_("photo-refused", entry.error.says))
    return photo_result(entry.file, reports, entry.path)


def by_path(reports: Iterable[PhotoReport]) -> dict[Path, list[PhotoReport]]:
    """Return reports by the path of their photo; one photo listed twice has two."""
    table: dict[Path, list[PhotoReport]] = {}
    for report in reports:
        table.setdefault(report.path, []).append(report)
    return table


def photo_result(file: str, reports: dict[Path, list[PhotoReport]], path: Path) -> PhotoResult:
    """Return one photo with its report, which is taken out of the table."""
    mine = reports.get(path)
    report = mine.pop(0) if mine else None
    if report is None:
        return PhotoResult(file, sha256=file_sha256(path))
    return PhotoResult(file, report, report.error, report.sha256 or file_sha256(path))


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a regular file of a photo's size, else nothing."""
    try:
        if not path.is_file() or path.stat().st_size > _LARGEST_HASHED:
            return ""
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def same_file(a: PhotoResult, b: PhotoResult) -> bool:
    """Return whether two photos are one file, or one picture saved anew."""
    return a.sha256 == b.sha256 or (a.report is not None and b.report is not None and same_picture(a.report, b.report))


def same_place(a: PhotoResult, b: PhotoResult) -> bool:
    """Return whether two photos have the opening at the same place of the picture."""
    first, second = a.report, b.report
    if first is None or second is None or first.corners_px is None or second.corners_px is None:
        return False
    return bool(np.abs(first.corners_px - second.corners_px).max() < _SAME_PLACE * max(first.size_px))
