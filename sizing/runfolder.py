"""The folder of one run: pictures and `result.json`, written whole or not at all.

A run is named by the hash of its inputs, so the same inputs give the same folder and earlier runs stay.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping
from itertools import chain
from pathlib import Path
from typing import Any

from sizing import messages
from sizing.check import EstimateResult, JobResult
from sizing.units import Unit
from sizing.versions import program_version

FOLDER = "secondtape"
_ID_LENGTH = 12
_NAME_LENGTH = 60

Writer = Callable[[Path], None]


class RunFolderError(OSError):
    """The run folder cannot be written; the verdict stands."""


def run_id(job_sha256: str, photo_sha256: Iterable[str], version: str) -> str:
    """Return the name of a run: 12 hex digits of the hash of job file, photos in order, and program version.

    Examples
    --------
    >>> run_id("aa", ["bb"], "0.1.0") == run_id("aa", ["bb"], "0.1.0")
    True
    >>> run_id("aa", ["bb"], "0.1.0") == run_id("aa", ["bb"], "0.2.0")
    False
    """
    text = "\n".join([version, job_sha256, *photo_sha256])
    return hashlib.sha256(text.encode()).hexdigest()[:_ID_LENGTH]


def safe_name(text: str) -> str:
    """Return `text` as part of a file name on any system; what had to change is told apart by a short hash.

    Examples
    --------
    >>> safe_name("W1")
    'W1'
    >>> safe_name("../W1").startswith("W1-")
    True
    """
    plain = re.sub(r"[^A-Za-z0-9_.]+", "-", text).strip("-.")[:_NAME_LENGTH]
    if plain == text and plain:
        return plain
    return f"{plain or 'x'}-{hashlib.sha256(text.encode('utf-8', 'surrogatepass')).hexdigest()[:6]}"


def target_folder(job_folder: Path, out: Path | None, run: str) -> Path:
    """Return where a run is written: `JOB/secondtape/RUN`, or `OUT/RUN`."""
    return (job_folder / FOLDER if out is None else out) / run


def write_run(target: Path, files: Iterable[tuple[str, Writer]]) -> None:
    """Write every file beside `target` first and move them there when all are done.

    Parameters
    ----------
    target : Path
        The run's folder; made when absent. Files of the same name in it are replaced, nothing else touched.
    files : iterable of (name, writer)
        Each writer is called with the path that it is to write.

    Raises
    ------
    RunFolderError
        When the folder cannot be made or a file not written; then `target` is as it was.
    """
    parent = target.parent
    if parent.is_symlink() and parent.name == FOLDER:
        raise RunFolderError(f"{parent} is a link, and links are not followed when writing; use --out DIR")
    try:
        parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=parent))
    except OSError as error:
        raise RunFolderError(f"{parent}: {error.strerror or error}") from error
    try:
        for name, write in files:
            write(fresh / name)
        _move_in(fresh, target)
    except OSError as error:
        raise RunFolderError(f"{target}: {error.strerror or error}") from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def save_run(
    result: JobResult, document: Mapping[str, Any], *, out: Path | None, pictures: bool
) -> tuple[Path | None, list[str]]:
    """Write pictures and `result.json` of a job; return its folder, None where not written, and warnings.

    Parameters
    ----------
    result : JobResult
        A job that could not be read has no run.
    document : mapping
        The element of `jobs`, as `sizing.result.job_document` gives it.
    out : Path or None
        In place of `JOB/secondtape`.
    pictures : bool
        Whether pictures are drawn.
    """
    from sizing.result import SCHEMA, as_text

    if result.job is None:
        return None, []
    hashes = [photo.sha256 for opening in result.openings for photo in opening.photos]
    target = target_folder(result.job.folder, out, run_id(result.job.sha256, hashes, program_version()))
    warnings: list[str] = []
    whole = {"schema": SCHEMA, "jobs": [document]}
    files: list[tuple[str, Writer]] = [("result.json", text_writer(as_text(whole, indent=1) + "\n"))]
    if pictures:
        from sizing.pictures import job_pictures

        return _written(target, chain(files, job_pictures(result, warnings.append)), warnings)
    return _written(target, files, warnings)


def save_estimate(
    result: EstimateResult, document: Mapping[str, Any], *, out: Path | None, units: Unit
) -> tuple[Path | None, list[str]]:
    """Write pictures and `result.json` of an estimate into `out`, if given; else as `save_run`."""
    from sizing.pictures import estimate_pictures
    from sizing.result import as_text

    if out is None:
        return None, []
    warnings: list[str] = []
    run = run_id("", [photo.sha256 for photo in result.photos], program_version())
    files: list[tuple[str, Writer]] = [("result.json", text_writer(as_text(document, indent=1) + "\n"))]
    drawn = estimate_pictures(result, units, warnings.append)
    return _written(out / run, chain(files, drawn), warnings)


def _written(
    target: Path, files: Iterable[tuple[str, Writer]], warnings: list[str]
) -> tuple[Path | None, list[str]]:
    try:
        write_run(target, files)
    except RunFolderError as error:
        return None, [*warnings, messages.cannot_write(str(error))]
    return target, warnings


def _move_in(fresh: Path, target: Path) -> None:
    if target.is_symlink():
        raise OSError("it is a link, and links are not followed when writing")
    fresh.chmod(0o755)
    if not target.exists():
        try:
            fresh.rename(target)
        except OSError:  # another process was quicker: its files are the same, replace them one by one
            target.mkdir(exist_ok=True)
        else:
            return
    for path in fresh.iterdir():
        os.replace(path, target / path.name)  # noqa: PTH105 -- atomic also where the name exists


def text_writer(text: str) -> Writer:
    """Return a writer of `text` as UTF-8."""

    def write(path: Path) -> None:
        path.write_text(text, encoding="utf-8", newline="\n")

    return write
