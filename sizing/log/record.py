"""What a run left in its `result.json`, read back as plain values for the log: checked, never trusted."""

from __future__ import annotations

import errno
import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from sizing.errors import InputError, Problem
from sizing.messages import log_index as messages
from sizing.regularfile import regular_bytes
from sizing.runs.runfolder import FOLDER

RESULT_FILE = "result.json"
# A result of 200 openings with 12 photos each stays well under this; more was not written by a check.
_LARGEST = 50_000_000
# No length that people write is longer.
_MOST_WRITTEN = 60
_PREFIX = "secondtape/"


@dataclass(frozen=True, slots=True)
class ReadingRecord:
    """One reading: lengths and `U95_mm` of the difference in mm, None where the photo says nothing.

    `in_force` is False for one that a later visit replaced; its difference is against the same photo. `as_written` is
    how it was put down, empty where that is not on record.
    """

    name: str
    visit: int
    in_force: bool
    by: str | None
    on: str | None
    tape: str | None
    tape_mm: float
    photo_mm: float | None
    difference_mm: float | None
    U95_mm: float | None
    verdict: str | None = None
    slip: str | None = None
    as_written: str = ""


@dataclass(frozen=True, slots=True)
class OpeningRecord:
    """One opening of a run; `other_opening`: the photo may show another one, so that no reading can be held to it."""

    label: str
    verdict: str
    why: str
    inputs_sha256: str
    other_opening: bool
    readings: tuple[ReadingRecord, ...]


@dataclass(frozen=True, slots=True)
class RunRecord:
    """One run of one job: `path` its folder, `folder` the job's (None where unknown), `checked_at` UTC.

    A result holds no time: `checked_at` is the file's own, which a copy may have moved. `unpointed` is alike for runs
    of one version on the same files that differ only in where the job file points in the photos; empty for older
    results.
    """

    path: Path
    folder: Path | None
    job_file: str
    job: str
    verdict: str
    units: str
    sha256: str
    program: str
    measured_by: str | None
    measured_on: str | None
    checked_at: datetime
    unpointed: str
    openings: tuple[OpeningRecord, ...]


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class _Coded(_Part):
    code: str = ""


class _Measure(_Part):
    value_mm: FiniteFloat | None = None
    U95_mm: FiniteFloat | None = None


class _Slip(_Part):
    slip: str


class _Reading(_Part):
    name: str
    tape_mm: FiniteFloat
    as_written: str = ""
    photo_mm: FiniteFloat | None = None
    difference_mm: FiniteFloat | None = None
    U95_mm: FiniteFloat | None = None
    verdict: str | None = None
    by: str | None = None
    on: str | None = None
    tape: str | None = None
    visit: int = Field(default=0, ge=0, le=1_000_000)
    likely: list[_Slip] = Field(default_factory=list)


class _File(_Part):
    file: str = ""
    sha256: str = ""


class _Order(_Part):
    rule: str | None = None
    rule_sha256: str | None = None


class _Photo(_File):
    warnings: list[_Coded] = Field(default_factory=list)
    lenses: list[_File] = Field(default_factory=list)


class _Opening(_Part):
    label: str
    verdict: str
    why: str = ""
    inputs_sha256: str = ""
    measures: dict[str, _Measure] = Field(default_factory=dict)
    readings: list[_Reading] = Field(default_factory=list)
    superseded: list[_Reading] = Field(default_factory=list)
    warnings: list[_Coded] = Field(default_factory=list)
    photos: list[_Photo] = Field(default_factory=list)
    documents: list[_File] = Field(default_factory=list)
    order: _Order | None = None


class _Job(_Part):
    job: str
    file: str
    verdict: str
    units: str = "in"
    sha256: str = ""
    unpointed_sha256: str = ""
    measured_by: str | None = None
    measured_on: str | None = None
    openings: list[_Opening]


def read_document(path: Path) -> dict[str, Any]:
    """Return the document of a run from its `result.json`.

    Parameters
    ----------
    path : Path
        The run's folder.

    Raises
    ------
    InputError
        The file is missing, too large, no JSON, or not the result of the check of one job.
    """
    file = path / RESULT_FILE
    if any("\ud800" <= c <= "\udfff" for c in str(file.absolute())):  # bytes that are no text: nor do these
        raise _unreadable(file, messages.no_name())
    try:
        found = json.loads(regular_bytes(file, _LARGEST))
        json.dumps(found, ensure_ascii=False).encode()  # half a character fits into no database
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise _unreadable(file, messages.record_too_large(_LARGEST)) from None
        raise _unreadable(file, messages.cannot_read(error.strerror or "")) from error
    except (ValueError, RecursionError) as error:
        raise _unreadable(file, messages.no_record()) from error
    schema = found.get("schema") if isinstance(found, dict) else None
    jobs = found.get("jobs") if isinstance(found, dict) else None
    if not str(schema).startswith(_PREFIX) or not isinstance(jobs, list) or len(jobs) != 1:
        raise _unreadable(file, messages.no_record())
    assert isinstance(found, dict)
    return found


def read_run(path: Path, folder: Path | None = None) -> RunRecord:
    """Return the record of the run in the folder `path`.

    Parameters
    ----------
    path : Path
        The run's folder.
    folder : Path, optional
        The job's; without it, `path` must lie in `JOB/secondtape` for the job's folder to be known.

    Raises
    ------
    InputError
        `result.json` cannot be read or is no result of a check.
    """
    document = read_document(path)
    file = path / RESULT_FILE
    try:
        job = _Job.model_validate(document["jobs"][0])
        changed = file.stat().st_mtime
    except (ValidationError, OSError) as error:
        raise _unreadable(file, messages.no_record()) from error
    if folder is None and path.parent.name == FOLDER:
        folder = path.parent.parent
    program = found if isinstance(found := document.get("program"), str) else ""
    return RunRecord(
        path=path.resolve(),
        folder=folder.resolve() if folder is not None else None,
        job_file=Path(job.file).name,
        job=job.job,
        verdict=job.verdict,
        units=job.units,
        sha256=job.sha256,
        program=program,
        measured_by=job.measured_by,
        measured_on=job.measured_on,
        checked_at=datetime.fromtimestamp(changed, UTC),
        unpointed=_unpointed(job, program),
        openings=tuple(_opening(o) for o in job.openings),
    )


def _unpointed(job: _Job, program: str) -> str:
    if not job.unpointed_sha256:
        return ""
    files: list[str] = []
    for opening in job.openings:
        files += [f"rule {opening.order.rule_sha256}"] if opening.order is not None else []
        files += [f"document {document.sha256}" for document in opening.documents]
        for photo in opening.photos:
            files += [photo.sha256, *(f"lens {lens.sha256}" for lens in photo.lenses)]
    return hashlib.sha256("\n".join([program, job.unpointed_sha256, *files]).encode()).hexdigest()


def _opening(opening: _Opening) -> OpeningRecord:
    codes = {w.code for w in opening.warnings} | {w.code for p in opening.photos for w in p.warnings}
    readings = [_record(r, in_force=True) for r in opening.readings]
    for earlier in opening.superseded:
        measure = opening.measures.get(earlier.name, _Measure())
        difference = None if measure.value_mm is None else round(earlier.tape_mm - measure.value_mm, 3)
        compared = earlier.model_copy(
            update={"photo_mm": measure.value_mm, "difference_mm": difference, "U95_mm": measure.U95_mm}
        )
        readings.append(_record(compared, in_force=False))
    return OpeningRecord(
        opening.label,
        opening.verdict,
        opening.why,
        opening.inputs_sha256,
        "another-opening" in codes,
        tuple(readings),
    )


def _record(reading: _Reading, *, in_force: bool) -> ReadingRecord:
    return ReadingRecord(
        name=reading.name,
        visit=reading.visit,
        in_force=in_force,
        by=reading.by,
        on=reading.on,
        tape=reading.tape,
        tape_mm=reading.tape_mm,
        photo_mm=reading.photo_mm,
        difference_mm=reading.difference_mm,
        U95_mm=reading.U95_mm,
        verdict=reading.verdict,
        slip=reading.likely[0].slip if reading.likely else None,
        as_written=reading.as_written[:_MOST_WRITTEN],
    )


def _unreadable(file: Path, says: str) -> InputError:
    return InputError("record-unreadable", [Problem(str(file), says)])
