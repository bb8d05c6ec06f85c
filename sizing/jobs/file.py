"""Reading of a job file: found, of bounded size, UTF-8, TOML 1.0, and every problem said at once."""

from __future__ import annotations

import hashlib
import json
import re
import stat
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from sizing.errors import InputError, Problem
from sizing.jobs.build import Place, build_job
from sizing.jobs.job import Job
from sizing.jobs.problems import read_tables
from sizing.plain_json import plain_json
from sizing.plain_toml import NestedTooDeepError, read_toml
from sizing.regularfile import unread

JOB_FILE = "job.toml"
# Contract, *Limits*: job file 1 MB.
MOST_BYTES = 1_000_000
_POINTED = frozenset({"corners", "reference_corners", "trace", "turn"})
_QUOTES = "texts and lengths such as 54 3/8 stand in quotes"
_QUOTED = 'an inch mark inside quotes ends them: leave it out, as in "4\' 6 3/8"'
_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


def load_job(path: Path, *, allow_outside: bool = False) -> Job:
    """Return a job, read from its file and checked.

    A photo or document that cannot be used carries its own `error`, so that it does not stop the others.

    Parameters
    ----------
    path : Path
        A job file, or a folder that holds `job.toml`.
    allow_outside : bool
        Files named in the job may lie outside its folder.

    Raises
    ------
    InputError
        The file cannot be read (`job-missing`, `job-too-large`, `job-not-text`, `job-not-toml`) or says no
        job (`job-invalid`); with every problem found, each naming file and key or line.
    """
    file = _job_file(path)
    data = _bytes(file)
    raw = _toml(file, data)
    tables, problems = read_tables(raw, file)
    if tables is None:
        raise InputError("job-invalid", problems)
    place = Place(file, file.absolute().parent.resolve(), tables.job.units, allow_outside)
    job, problems = build_job(tables, place, hashlib.sha256(data).hexdigest())
    if problems:
        raise InputError("job-invalid", problems)
    return replace(job, unpointed_sha256=_unpointed_sha256(raw))


def _unpointed_sha256(raw: Mapping[str, Any]) -> str:
    """Return the hash of what a job file says but where somebody pointed in its photos: alike while corners move."""

    def photo(entry: object) -> object:
        table = dict(entry) if isinstance(entry, dict) else {"file": entry}
        return {key: value for key, value in table.items() if key not in _POINTED}

    openings = [o | {"photos": [photo(p) for p in o.get("photos", ())]} for o in raw["opening"]]
    text = json.dumps(plain_json({**raw, "opening": openings}), sort_keys=True)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _refused(code: str, where: Path | str, says: str) -> InputError:
    return InputError(code, [Problem(str(where), says)])


def _job_file(path: Path) -> Path:
    try:
        file = path / JOB_FILE if path.is_dir() else path
        mode = file.stat().st_mode
    except FileNotFoundError:
        name = path / JOB_FILE if path.is_dir() else path
        says = "no such job: name a job file, or a folder that holds job.toml"
        raise _refused("job-missing", name, says + _jobs_below(name)) from None
    except (OSError, ValueError, RuntimeError) as error:
        raise _refused("job-missing", path, unread(error)) from None
    if not stat.S_ISREG(mode):
        raise _refused("job-missing", file, "no regular file: name a job file, or a folder that holds job.toml")
    return file


def _jobs_below(missing: Path) -> str:
    """Return the hint where the folder of a job file that is not there has folders that hold one."""
    path = missing.parent
    try:
        listed = path.iterdir() if missing.name == JOB_FILE and path.is_dir() else ()
        found = sum((folder / JOB_FILE).is_file() for folder in listed)
    except OSError:
        return ""
    if not found:
        return ""
    held = "1 folder that does" if found == 1 else f"{found} folders that do"
    return f"; it holds {held}: name them one by one, or all as {path / '*' / JOB_FILE}"


def _bytes(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise _refused("job-missing", file, unread(error)) from None
    if len(data) > MOST_BYTES:
        raise _refused("job-too-large", file, "over 1 MB: a job file holds text only, photos are named in it")
    return data


def _toml(file: Path, data: bytes) -> dict[str, Any]:
    try:
        # Some editors put a byte order mark in front.
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise _refused("job-not-text", f"{file}: line {line}", "not UTF-8 text: save the file as UTF-8") from None
    try:
        return read_toml(text)
    except NestedTooDeepError as error:
        raise _refused("job-not-toml", file, str(error)) from None
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        at = _AT.search(said)
        line = int(at[1]) if at and at[1] else text.count("\n") + 1
        fact = said[: at.start()] if at else said
        marked = '""' in text.split("\n")[line - 1]
        says = f"not TOML: {fact}; {_QUOTED if marked else _QUOTES}"
        raise _refused("job-not-toml", f"{file}: line {line}", says) from None
    except (ValueError, RecursionError) as error:
        fact = "brackets too deep" if isinstance(error, RecursionError) else "a number too long"
        raise _refused("job-not-toml", file, f"not TOML: {fact}") from None
