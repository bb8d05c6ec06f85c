"""A release on disk: PDF, CSV and JSON in a folder of its own, whole or not at all, and never written twice."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sizing.json_values import as_text
from sizing.messages import release as messages
from sizing.printed.pdfpage import PaperName
from sizing.regularfile import regular_bytes, regular_sha256
from sizing.release.pdf import release_pdf
from sizing.release.release import Release, with_earlier
from sizing.release.written import SCHEMA, release_csv, release_document
from sizing.runs.runfolder import (
    RunFolderError,
    Writer,
    files_of_runs,
    safe_name,
    target_folder,
    text_writer,
    write_run,
)

_JSON, _CSV, _PDF = "release.json", "release.csv", "release.pdf"
_LARGEST = 10_000_000


def hand_over(
    release: Release, job_folder: Path, *, out: Path | None, released_at: str, program: str, paper: PaperName
) -> tuple[dict[str, Any], Path | None, bool]:
    """Write a release; return its document, its folder (None where nothing is released), and if it was there before.

    Parameters
    ----------
    release : Release
    job_folder : Path
        The files go into `secondtape/release-NUMBER` there, or into `out` / `JOB-NUMBER`.
    out : Path or None
    released_at : str
        UTC, as 2026-05-04T12:30:00+00:00.
    program : str
        Name and version.
    paper : "letter" or "a4"

    Raises
    ------
    RunFolderError
        The files cannot be written; then there is none. Or they are there, and not as they were written.

    Notes
    -----
    `files` in the JSON names the others with their SHA-256: what was changed in a release since is not taken for it.
    """
    name = f"release-{release.number}"
    if out is not None:
        name = f"{safe_name(release.job)}-{name}"
    target = target_folder(job_folder, out, name)
    release = with_earlier(release, earlier_releases(target.parent, release.job))
    document = release_document(release, released_at, program)
    if not release.lines:
        return document, None, False
    if target.exists():
        found = _document(target / _JSON)
        if found is None or not _same(found, document):
            raise RunFolderError(messages.other_content(target))
        if altered := altered_files(target, found):
            raise RunFolderError(messages.altered(target, altered))
        return found, target, True
    contents = {_CSV: release_csv(release).encode("utf-8-sig"), _PDF: release_pdf(document, paper)}
    document |= {"files": {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}}
    files: list[tuple[str, Writer]] = [(_JSON, text_writer(as_text(document, indent=1) + "\n"))]
    write_run(target, [*files, *((name, _bytes_writer(content)) for name, content in contents.items())])
    return document, target, False


def altered_files(folder: Path, document: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the names of the files of a release that are not as they were when its document was written.

    Releases from before their documents named the others tell nothing of them.
    """
    written = document.get("files")
    if not isinstance(written, dict):
        return ()
    return tuple(name for name in (_CSV, _PDF) if regular_sha256(folder / name) != written.get(name))


def _same(found: Mapping[str, Any], document: Mapping[str, Any]) -> bool:
    """Return whether a release as found says what it said when written; one changed by hand is not to be believed.

    Left out: when, by what program and words, which may differ for the same release, and releases made since.
    """
    mine, theirs = document["released"], found.get("released")
    if not isinstance(theirs, list) or not all(isinstance(line, dict) for line in theirs):
        return False
    rest = found.get("not_released")
    if not isinstance(rest, list) or not all(isinstance(line, dict) for line in rest):
        return False
    same = all(found.get(key) == document[key] for key in ("release", "job", "units"))
    words = {"also_in", "notes", "why"}
    kept = [{k: v for k, v in line.items() if k not in words} for line in mine]
    return (
        same
        and kept == [{k: v for k, v in line.items() if k not in words} for line in theirs]
        and [(line["opening"], line["code"]) for line in document["not_released"]]
        == [(line.get("opening"), line.get("code")) for line in rest]
    )


def _bytes_writer(content: bytes) -> Writer:
    def write(path: Path) -> None:
        path.write_bytes(content)

    return write


def earlier_releases(folder: Path, job: str) -> dict[str, list[str]]:
    """Return the numbers of a job's earlier releases in a folder, and the labels that each handed over.

    Parameters
    ----------
    folder : Path
        That of the runs, each release in a folder of its own.
    job : str
        The job's id.
    """
    found: dict[str, list[str]] = {}
    for path in files_of_runs(folder, _JSON):
        document = _document(path)
        if document is None or document.get("job") != job:
            continue
        lines = document.get("released")
        if isinstance(lines, list):
            labels = [str(line.get("opening")) for line in lines if isinstance(line, dict)]
            found[str(document.get("release"))] = labels
    return found


def _document(path: Path) -> dict[str, Any] | None:
    """Return a release as it was written, None where there is none."""
    try:
        document = json.loads(regular_bytes(path, _LARGEST))
    except (OSError, ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) and document.get("schema") == SCHEMA else None
