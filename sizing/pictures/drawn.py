"""The pictures of a run: what is drawn of each measured photo, one after the other."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
from PIL import Image

from sizing.errors import InputError
from sizing.judging import ReadingResult
from sizing.messages import written_files as messages
from sizing.messages.photo_figures import picture_label
from sizing.messages.picture_legend import LEGEND
from sizing.messages.tape_figure import typed_figure
from sizing.outcome import EstimateResult, JobResult
from sizing.photoresults import PhotoResult
from sizing.pictures.blanking import Box, blanked, boxes_of, job_blanks
from sizing.pictures.rivals import with_shown_rivals
from sizing.runs.runfolder import Writer, safe_name
from sizing.units import Unit
from vision.photo.reading import read_photo
from vision.photo.upright_rgb import Pixels
from vision.pictures.overlay import annotated_photo
from vision.pictures.rectified import rectified_view
from vision.pictures.saving import save_picture
from vision.request import NINE, Estimate, NotMeasured, PhotoReport

Complain = Callable[[str], None]
Labels = Mapping[str, tuple[str, str]]


def job_pictures(result: JobResult, complain: Complain) -> Iterator[tuple[str, Writer]]:
    """Yield name and writer of each picture of a job; what cannot be drawn is complained of and left out."""
    units: Unit = result.job.units if result.job is not None else "in"
    names = _Names()
    try:
        files_in = [photo.file for opening in result.openings for photo in opening.opening.photos]
        blanks = () if result.job is None else job_blanks(result.job.folder, files_in)
    except InputError as error:  # what should be blanked out is not known: no picture may show it
        complain(str(error))
        return
    for opening in result.openings:
        labels = picture_labels(opening.answer, opening.readings, units)
        for photo, entry in zip(opening.photos, opening.opening.photos, strict=True):
            boxes = boxes_of(blanks, photo.file)
            shown = with_rivals(photo, opening.answer)
            yield from _of_photo(opening.opening.label, shown, entry.turn, labels, names, complain, boxes)


def estimate_pictures(result: EstimateResult, units: Unit, complain: Complain) -> Iterator[tuple[str, Writer]]:
    """Yield name and writer of each picture of an estimate; else as `job_pictures`."""
    names = _Names()
    labels = picture_labels(result.answer, (), units)
    for photo, asked in zip(result.photos, result.request.photos, strict=True):
        yield from _of_photo("opening", with_rivals(photo, result.answer), asked.turn, labels, names, complain)


class _Names:
    """File names given so far; names that differ only in case count as alike, as on Windows and macOS."""

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def new(self, label: str, photo: str) -> str:
        """Return a new stem for the pictures of one photo of one opening."""
        stem = first = f"{safe_name(label)}-{safe_name(Path(photo).stem)}"
        again = 1
        while stem.lower() in self._taken:
            again += 1
            stem = f"{first}-{again}"
        self._taken.add(stem.lower())
        return stem


def _of_photo(
    label: str,
    photo: PhotoResult,
    turn: int,
    labels: Labels,
    names: _Names,
    complain: Complain,
    blanks: Sequence[Box] = (),
) -> Iterator[tuple[str, Writer]]:
    report = photo.report
    if report is None or photo.unreadable or not (report.references_px or report.stations_px):
        return
    stem = names.new(label, photo.file)
    try:
        drawn = _drawn(report, turn, labels, blanks)
    except Exception as error:  # a picture is for people: without it the verdict stands all the same
        complain(messages.picture_failed(photo.file, error))
        return
    for kind, image in drawn:
        yield f"{stem}-{kind}.jpg", partial(save_picture, image)


def _drawn(report: PhotoReport, turn: int, labels: Labels, blanks: Sequence[Box]) -> list[tuple[str, Image.Image]]:
    rgb = as_measured(report, turn, blanks)
    with as_file(files("sizing") / "data" / "DejaVuSans.ttf") as font:
        drawn = [("annotated", annotated_photo(rgb, report, labels if report.stations_px else {}, font, legend=LEGEND))]
    if report.wall_to_photo is not None and report.extent_mm is not None:
        drawn.append(("rectified", rectified_view(rgb, report.wall_to_photo, report.extent_mm)))
    return drawn


def with_rivals(photo: PhotoResult, answer: Estimate | NotMeasured) -> PhotoResult:
    """Return a photo with those of its other lines that are worth showing."""
    if photo.report is None or isinstance(answer, NotMeasured):
        return photo
    return replace(photo, report=with_shown_rivals(photo.report, answer.candidates))


def as_measured(report: PhotoReport, turn: int, blanks: Sequence[Box] = ()) -> Pixels:
    """Return the photo in whose pixels the report speaks, turned where it was turned by itself; `blanks` filled."""
    photo = read_photo(report.path, turn)
    rgb = photo.rgb
    for warning in report.warnings:
        found = re.search(r"\b(90|180|270)\b", warning.message) if warning.code == "turned" else None
        if found:
            rgb = np.ascontiguousarray(np.rot90(rgb, int(found[0]) // 90))
    if rgb.shape[1::-1] != report.size_px:
        raise ValueError(f"it is {rgb.shape[1]} x {rgb.shape[0]} px now, and was {report.size_px} when measured")
    return blanked(rgb, blanks, photo.reduced)


def picture_labels(
    answer: Estimate | NotMeasured, readings: tuple[ReadingResult, ...], units: Unit
) -> dict[str, tuple[str, str]]:
    """Return for each measure its text and its kind: what the tape said against what the photo sees."""
    if isinstance(answer, NotMeasured):
        return {}
    U95_mm = 2.0 * np.sqrt(np.maximum(np.diag(answer.cov_mm2), 0.0))
    by_name = {r.reading.name: r for r in readings}
    labels: dict[str, tuple[str, str]] = {}
    for i, name in enumerate(NINE[:8]):
        reading = by_name.get(name)
        length = None if reading is None else reading.reading.length
        tape = "" if length is None else typed_figure(length.as_written, length.mm, units)
        text = picture_label(name, tape, float(answer.values_mm[i]), float(U95_mm[i]), units)
        labels[name] = (text, "none" if reading is None else reading.judgement.verdict)
    return labels
