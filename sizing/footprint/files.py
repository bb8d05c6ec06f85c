"""Pictures of footprints on disk: one folder a job file, whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from sizing.footprint.pictures import footprint_pictures
from sizing.footprint.result import OpeningFootprint
from sizing.messages import footprint as words
from sizing.messages.written_files import why_failed
from sizing.orders.footprint import NotDrawn
from sizing.outcome import JobResult
from sizing.pictures.blanking import job_blanks
from sizing.pictures.cards import card_cover
from sizing.pictures.drawn import Complain
from sizing.runs.runfolder import Writer, safe_name, target_folder, write_run
from vision.pictures.saving import save_picture

KINDS = ("on-wall", "in-photo")


def footprint_folder(job_sha256: str) -> str:
    """Return the name of the folder for the pictures of a job file."""
    return f"footprint-{job_sha256[:12]}"


def write_footprints(
    result: JobResult, found: Sequence[OpeningFootprint], out: Path | None, complain: Complain
) -> tuple[Path | None, dict[str, list[str]]]:
    """Write the pictures; return their folder (None where there are none) and their names by opening.

    Parameters
    ----------
    result : of a job that could be read.
    found : what is drawn.
    out : in place of the job's folder.
    complain : told what could not be drawn.

    Raises
    ------
    InputError
        `blank.toml` cannot be read or names no photo of the job, so that it is not known what must not be seen.
    RunFolderError
        The pictures cannot be written.
    """
    assert result.job is not None
    files: list[tuple[str, Writer]] = []
    names: dict[str, list[str]] = {}
    blanks = job_blanks(result.job.folder, [p.file for o in result.openings for p in o.opening.photos])
    for one in found:
        if isinstance(one.footprint, NotDrawn):
            continue
        label = one.result.opening.label
        try:
            images = footprint_pictures(
                one.result, one.footprint, result.job.units, blanks, cover=card_cover(one.result.opening)
            )
        except Exception as error:  # a picture is for people: without it the figures stand
            complain(words.no_picture(label, why_failed(error)))
            continue
        for kind, image in zip(KINDS, images, strict=True):
            name = f"{safe_name(label)}-footprint-{kind}.jpg"
            files.append((name, partial(save_picture, image)))
            names.setdefault(label, []).append(name)
    if not files:
        return None, {}
    target = target_folder(result.job.folder, out, footprint_folder(result.job.sha256))
    write_run(target, files)
    return target, names
