"""What checks left in a job's folder: the newest result, and whether its inputs have changed since."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from sizing.desk.folder import JOB_FILE
from sizing.errors import InputError
from sizing.orders.rulefile import find_rule
from sizing.regularfile import regular_bytes, regular_sha256
from sizing.runs.runfolder import FOLDER, files_of_runs

RESULT_FILE = "result.json"
# A result of 200 openings with 12 photos each stays well under this; more was not written by a check.
_LARGEST = 50_000_000


@dataclass(frozen=True, slots=True)
class LastResult:
    """The result of one job (an element of `jobs`), the folder of its run, and what changed since, empty if nothing.

    `unfound` are sizing rules that it was made with and that the desk's folder does not show: whether they changed
    cannot be told.
    """

    document: Mapping[str, Any]
    folder: Path
    changed: tuple[str, ...]
    unfound: tuple[str, ...] = ()

    @property
    def stale(self) -> bool:
        """Whether it was made from other inputs than the present ones, as far as can be told from here."""
        return bool(self.changed or self.unfound)

    def opening(self, label: str) -> Mapping[str, Any] | None:
        """Return the result of one opening, None where the check did not know it."""
        found = (o for o in self.document.get("openings", ()) if o.get("label") == label)
        return next(found, None)


def newest_result(folder: Path, top: Path | None = None) -> LastResult | None:
    """Return the newest result in a job's folder, one of the present inputs before all others; None without any.

    Parameters
    ----------
    folder : the job's.
    top : the desk's, up to which sizing rules are looked for.

    Notes
    -----
    Files are read again only when their time or size has changed. Compared are the job file, the photos and the sizing
    rules, by SHA-256 as the result holds them.
    """
    job_sha256 = file_sha256(folder / JOB_FILE)
    best: LastResult | None = None
    for path in _by_age(folder):
        document = _document(path)
        if document is None:
            continue
        rules, unfound = _changed_rules(folder, document, top)
        found = LastResult(document, path.parent, (*_changed(folder, document, job_sha256), *rules), unfound)
        if best is None or not found.stale:
            best = found
        if not found.stale:
            break
    return best


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file, empty where it cannot be read; kept while its time and size stay."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return ""
    return _sha256(path, found.st_mtime_ns, found.st_size)


def _by_age(folder: Path) -> list[Path]:
    """Return the result files of a job, newest first."""
    found = []
    for path in files_of_runs(folder / FOLDER, RESULT_FILE):
        try:
            found.append((path.stat().st_mtime_ns, path))
        except OSError:  # gone between the two looks
            continue
    return [path for _, path in sorted(found, reverse=True)]


def _document(path: Path) -> Mapping[str, Any] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return _read(path, found.st_mtime_ns, found.st_size)


@lru_cache(maxsize=4096)
def _read(path: Path, time_ns: int, size: int) -> Mapping[str, Any] | None:
    try:
        whole = json.loads(regular_bytes(path, _LARGEST))
        document = whole["jobs"][0]
        labels = [opening["label"] for opening in document["openings"]]
        names = [photo["file"] for opening in document["openings"] for photo in opening.get("photos", ())]
        orders = [opening.get("order") or {} for opening in document["openings"]]
        if not all(isinstance(text, str) for text in (*labels, *names)) or not all(isinstance(o, dict) for o in orders):
            return None
    except (OSError, ValueError, RecursionError, LookupError, TypeError, AttributeError):
        return None
    return document if isinstance(document, dict) and labels else None


@lru_cache(maxsize=16384)
def _sha256(path: Path, time_ns: int, size: int) -> str:
    return regular_sha256(path)


def _changed_rules(
    folder: Path, document: Mapping[str, Any], top: Path | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the sizing rules, by name, that are not those that the result was made with; and those not found."""
    then: dict[str, object] = {}
    for opening in document["openings"]:
        if isinstance(name := opening.get("rule"), str):
            then[name] = (opening.get("order") or {}).get("rule_sha256")
    changed, unfound = [], []
    for name, sha256 in then.items():
        try:
            now: str | None = find_rule(name, folder, top=top, allow_outside=False).sha256
        except InputError as error:
            now = None
            if sha256 and error.code == "rule-missing":
                unfound.append(name)
                continue
        if now != sha256:
            changed.append(f"rule {name}")
    return tuple(changed), tuple(unfound)


def _changed(folder: Path, document: Mapping[str, Any], job_sha256: str) -> tuple[str, ...]:
    changed = [] if document.get("sha256") == job_sha256 else [JOB_FILE]
    for opening in document["openings"]:
        for photo in opening.get("photos", ()):
            name = str(photo.get("file"))
            if photo.get("sha256") and file_sha256(folder / name) != photo["sha256"]:
                changed.append(name)
    return tuple(dict.fromkeys(changed))
