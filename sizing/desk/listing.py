"""The list of jobs: what stands in each file and what its last check said, read again only where files changed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from sizing.decided import DecisionLog
from sizing.desk.folder import JOB_FILE, DeskFolder
from sizing.desk.results import RESULT_FILE
from sizing.errors import InputError
from sizing.jobs.file import MOST_BYTES
from sizing.plain_toml import read_toml
from sizing.regularfile import regular_bytes
from sizing.release.decisions import FILE as DECISIONS
from sizing.release.decisions import read_decisions
from sizing.runs.runfolder import FOLDER, files_of_runs

Shown = Literal["hold", "unproven", "send", "changed", "unchecked", "broken"]
SHOWN: tuple[Shown, ...] = ("hold", "unproven", "send", "changed", "unchecked", "broken")
_LARGEST_RESULT = 50_000_000


@dataclass(frozen=True, slots=True)
class Listed:
    """One job of the list: its name (folder), its id, what is shown of it, and when file and check were made.

    `shown` is the verdict of the last check, or that inputs changed since, that there was none, or that the file
    cannot be read. `verdicts` counts the openings by verdict, `search` is what a search looks through, in lower case.
    `stopped` and `overridden` are labels of openings that people decided on otherwise, on the inputs of that check.
    """

    name: str
    id: str
    shown: Shown
    verdict: str
    openings: int
    readings: int
    verdicts: Mapping[str, int]
    changed_ns: int
    search: str
    stopped: tuple[str, ...] = ()
    overridden: tuple[str, ...] = ()


def list_jobs(folder: DeskFolder) -> tuple[Listed, ...]:
    """Return all jobs of the desk, the last changed first; nothing is checked for it."""
    found = (listed(folder.path_of(name), name) for name in folder.jobs())
    return tuple(sorted(found, key=lambda job: (-job.changed_ns, job.name)))


def filtered(jobs: Sequence[Listed], words: str, shown: str) -> tuple[Listed, ...]:
    """Return the jobs that hold every word of a search, and are shown so (`hold`, `changed`, ...); empty: all."""
    wanted = words.lower().split()
    return tuple(j for j in jobs if shown in ("", j.shown) and all(word in j.search for word in wanted))


def listed(folder: Path, name: str) -> Listed:
    """Return one job as listed.

    Notes
    -----
    A photo that is newer than the result counts as changed: hashing all photos of a thousand jobs would take minutes,
    and the job's own page does it.
    """
    file = folder / JOB_FILE
    try:
        found = file.stat()
    except OSError:
        return Listed(name, name, "broken", "", 0, 0, {}, 0, name.lower())
    id_, openings, readings, words, sha256 = _job(file, found.st_mtime_ns, found.st_size)
    search = f"{name} {words}".lower()
    if not openings:
        return Listed(name, id_ or name, "broken", "", 0, 0, {}, found.st_mtime_ns, search)
    verdict, shown, verdicts, inputs = _of_result(folder, sha256)
    stopped, overridden = _by_people(folder, inputs) if shown != "changed" else ((), ())
    listed_ns = found.st_mtime_ns
    return Listed(name, id_, shown, verdict, openings, readings, verdicts, listed_ns, search, stopped, overridden)


def _by_people(folder: Path, inputs: Mapping[str, str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the labels that people stopped, and those that they overrode, by decisions on these inputs."""
    try:
        at = (folder / DECISIONS).stat(follow_symlinks=False)
    except OSError:
        return (), ()
    standing = {
        label: _decisions(folder, at.st_mtime_ns, at.st_size).standing(label, sha) for label, sha in inputs.items()
    }
    chosen = {label: decision.decision for label, decision in standing.items() if decision is not None}
    return tuple(k for k, v in chosen.items() if v == "hold"), tuple(k for k, v in chosen.items() if v == "override")


@lru_cache(maxsize=8192)
def _decisions(folder: Path, time_ns: int, size: int) -> DecisionLog:
    try:
        return read_decisions(folder)
    except InputError:
        return DecisionLog(folder)


def _of_result(folder: Path, sha256: str) -> tuple[str, Shown, Mapping[str, int], Mapping[str, str]]:
    best: tuple[str, Shown, Mapping[str, int], Mapping[str, str]] = ("", "unchecked", {}, {})
    newest = 0
    for path in files_of_runs(folder / FOLDER, RESULT_FILE):
        try:
            at = path.stat()
        except OSError:
            continue
        said = _result(path, at.st_mtime_ns, at.st_size)
        if said is None or at.st_mtime_ns < newest:
            continue
        newest = at.st_mtime_ns
        of, verdict, verdicts, photos, inputs = said
        changed = of != sha256 or any(_newer(folder / photo, newest) for photo in photos)
        shown: Shown = "changed" if changed or verdict not in ("hold", "unproven", "send") else verdict  # type: ignore[assignment]
        best = verdict, shown, verdicts, inputs
    return best


def _newer(photo: Path, time_ns: int) -> bool:
    try:
        return photo.stat().st_mtime_ns > time_ns
    except (OSError, ValueError):
        return True


@lru_cache(maxsize=8192)
def _job(file: Path, time_ns: int, size: int) -> tuple[str, int, int, str, str]:
    """Return id, number of openings (0: no job), of readings, words to search, and hash of a job file."""
    import hashlib

    try:
        data = regular_bytes(file, MOST_BYTES)
        raw = read_toml(data.decode("utf-8-sig"))
        head, openings = raw["job"], raw["opening"]
        words = [head["id"], head.get("measured_by", ""), head.get("measured_on", ""), head.get("note", "")]
        for opening in openings:
            words += [opening["label"], opening.get("note", "")]
        readings = sum(
            len(boxes) for o in openings for group in ("width", "height", "diagonal") if (boxes := o.get(group))
        )
        readings += sum(len(o.get("visit", ())) for o in openings)
        said = " ".join(str(word) for word in words)[:20_000]
        return str(head["id"]), len(openings), readings, said, hashlib.sha256(data).hexdigest()
    except (OSError, ValueError, RecursionError, LookupError, TypeError, AttributeError):
        return "", 0, 0, "", ""


@lru_cache(maxsize=8192)
def _result(
    path: Path, time_ns: int, size: int
) -> tuple[str, str, Mapping[str, int], tuple[str, ...], Mapping[str, str]] | None:
    """Return hash of the job file, verdict, openings by verdict, photos and hashes of inputs; None of no result."""
    try:
        job: dict[str, Any] = json.loads(regular_bytes(path, _LARGEST_RESULT))["jobs"][0]
        counts: dict[str, int] = {}
        for opening in job["openings"]:
            counts[str(opening["verdict"])] = counts.get(str(opening["verdict"]), 0) + 1
        photos = tuple(str(p["file"]) for o in job["openings"] for p in o.get("photos", ()))
        inputs = {str(o["label"]): str(o.get("inputs_sha256", "")) for o in job["openings"]}
        return str(job.get("sha256")), str(job["verdict"]), counts, photos, inputs
    except (OSError, ValueError, RecursionError, LookupError, TypeError, AttributeError):
        return None
