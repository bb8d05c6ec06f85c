"""What a run leaves behind: `result.json` and pictures in its folder, or a warning why not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import chain
from pathlib import Path
from typing import Any

from sizing.json_values import as_text
from sizing.log.index import index_warning
from sizing.messages import written_files as messages
from sizing.outcome import EstimateResult, JobResult
from sizing.pictures.drawn import estimate_pictures, job_pictures
from sizing.result.document import SCHEMA
from sizing.runs.runfolder import RunFolderError, Writer, run_id, target_folder, text_writer, write_run
from sizing.units import Unit
from sizing.versions import program_version


def save_run(
    result: JobResult, document: Mapping[str, Any], *, out: Path | None, pictures: bool, logged: bool = True
) -> tuple[Path | None, list[str]]:
    """Write pictures and `result.json` of a job, and take the run into the log.

    Returns its folder, None where not written, and warnings.

    Parameters
    ----------
    result : JobResult
        A job that could not be read has no run.
    document : mapping
        The element of `jobs`, as `sizing.result.document.job_document` gives it.
    out : Path or None
        In place of `JOB/secondtape`.
    pictures : bool
        Whether pictures are drawn.
    logged : bool
        False where the log is kept elsewhere than the check is made: the run is then for the caller to take in.
    """
    if result.job is None:
        return None, []
    hashes = [photo.sha256 for opening in result.openings for photo in opening.photos]
    hashes += [o.order.rule.sha256 for o in result.openings if o.order is not None and o.order.rule is not None]
    target = target_folder(result.job.folder, out, run_id(result.job.sha256, hashes, program_version()))
    warnings: list[str] = []
    whole = {"schema": SCHEMA, "program": f"secondtape {program_version()}", "jobs": [document]}
    files: Iterable[tuple[str, Writer]] = [("result.json", text_writer(as_text(whole, indent=1) + "\n"))]
    if pictures:
        files = chain(files, job_pictures(result, warnings.append))
    saved, warnings = _written(target, files, warnings, beside_job=out is None)
    missing = index_warning(saved, result.job.folder) if saved is not None and logged else None
    return saved, [*warnings, *([missing] if missing else [])]


def keep_check(result: JobResult) -> list[str]:
    """Write the result of a check that was made for a report, a release or a decision, so that the log has it too.

    Returns warnings; pictures of an earlier run stay.
    """
    from sizing.result.document import job_document

    _, warnings = save_run(result, job_document(result), out=None, pictures=False)
    return warnings


def save_estimate(
    result: EstimateResult, document: Mapping[str, Any], *, out: Path | None, units: Unit, pictures: bool = True
) -> tuple[Path | None, list[str]]:
    """Write `result.json`, and pictures if wanted, of an estimate into `out`, if given; else as `save_run`."""
    if out is None:
        return None, []
    warnings: list[str] = []
    run = run_id("", [photo.sha256 for photo in result.photos], program_version())
    files: Iterable[tuple[str, Writer]] = [("result.json", text_writer(as_text(document, indent=1) + "\n"))]
    if pictures:
        files = chain(files, estimate_pictures(result, units, warnings.append))
    return _written(out / run, files, warnings)


def _written(
    target: Path, files: Iterable[tuple[str, Writer]], warnings: list[str], *, beside_job: bool = False
) -> tuple[Path | None, list[str]]:
    try:
        write_run(target, files, beside_job=beside_job)
    except RunFolderError as error:
        return None, [*warnings, messages.cannot_write(str(error))]
    return target, warnings
