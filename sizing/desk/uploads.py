"""Files that come from the browser: of bounded size, with safe names, never over another, whole or not at all."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request

from sizing.errors import InputError, Problem
from sizing.runs.runfolder import safe_name

# Contract, *Limits*: photos of up to 150 MB. One request carries a few of them at most; the page sends one each.
MOST_BYTES = 150_000_000
MOST_REQUEST_BYTES = 1_000_000_000
MOST_FILES = 60
MOST_FIELDS = 4000
PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".heic", ".heif", ".tif", ".tiff", ".webp", ".mpo")
_CHUNK = 1 << 20
_MOST_NAMES = 10_000


@dataclass(frozen=True, slots=True)
class Kept:
    """A file that was taken in: its name in the job's folder, and whether the same file was there already."""

    name: str
    known: bool


@contextlib.asynccontextmanager
async def form_of(
    request: Request, most_bytes: int = MOST_REQUEST_BYTES, most_files: int = MOST_FILES
) -> AsyncIterator[FormData]:
    """Give a request's form; 413 where it says no size or one beyond the limit, before anything is read."""
    said = request.headers.get("content-length", "")
    if not (said.isascii() and said.isdigit()):
        raise HTTPException(411, "The browser did not say how large this is; use another browser.")
    if int(said) > most_bytes:
        raise HTTPException(413, f"More than {most_bytes / 1e6:.0f} MB at once: send fewer or smaller files.")
    async with request.form(max_files=most_files, max_fields=MOST_FIELDS, max_part_size=2_000_000) as form:
        yield form


def keep_photo(folder: Path, upload: UploadFile) -> Kept:
    """Write an uploaded photo into a job's folder under a safe name of its own.

    Raises
    ------
    InputError
        No kind of file that photos come in, too large, or not to be written; then nothing is left behind.

    Notes
    -----
    The file is written beside under a hidden name, then linked to the first free name: a file that is there is never
    replaced, however many processes do this at once. A file of the same content keeps its old name.
    """
    given = (upload.filename or "").replace("\\", "/").rsplit("/", 1)[-1]
    suffix = Path(given).suffix.lower()
    shown = given[:80] or "a file without a name"
    if suffix not in PHOTO_SUFFIXES:
        says = "not a photo of a kind that is read here; give JPEG, PNG, HEIC, TIFF or WebP"
        raise InputError("photo-format", [Problem(shown, says)])
    try:
        handle, name = tempfile.mkstemp(prefix=".incoming-", dir=folder)
        beside = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                sha256 = _copied(upload, stream, shown)
            return _linked(beside, folder, safe_name(Path(given).stem), suffix, sha256)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise InputError("cannot-write", [Problem(shown, f"cannot be kept: {error.strerror or error}")]) from None


def move_aside(file: Path, below: Path, folder: str) -> None:
    """Move a file into a folder below another, which is made, under the first name that is free there.

    Raises
    ------
    InputError
        It cannot be moved; then it stays.
    """
    if below.is_symlink() or (below / folder).is_symlink():
        problem = Problem(file.name, f"cannot be moved: {below.name}/{folder} is a link; make it a folder")
        raise InputError("cannot-write", [problem])
    try:
        (below / folder).mkdir(parents=True, exist_ok=True)
        for i in range(1, _MOST_NAMES):
            aside = below / folder / (file.name if i == 1 else f"{file.stem}-{i}{file.suffix}")
            try:
                _new_link(file, aside)
            except FileExistsError:
                continue
            file.unlink()
            return
    except OSError as error:
        problem = Problem(file.name, f"cannot be moved out of the way: {error.strerror or error}")
        raise InputError("cannot-write", [problem]) from None
    raise InputError("cannot-write", [Problem(file.name, "there are too many files of this name")])


def _copied(upload: UploadFile, stream: object, shown: str) -> str:
    digest, size = hashlib.sha256(), 0
    while chunk := upload.file.read(_CHUNK):
        size += len(chunk)
        if size > MOST_BYTES:
            raise InputError("photo-too-large", [Problem(shown, "more than 150 MB; save it as JPEG")])
        digest.update(chunk)
        stream.write(chunk)  # type: ignore[attr-defined]  # a binary file
    return digest.hexdigest()


def _linked(beside: Path, folder: Path, stem: str, suffix: str, sha256: str) -> Kept:
    beside.chmod(0o644)
    for i in range(1, _MOST_NAMES):
        final = folder / (f"{stem}{suffix}" if i == 1 else f"{stem}-{i}{suffix}")
        try:
            _new_link(beside, final)
        except FileExistsError:
            if not final.is_symlink() and final.is_file() and _sha256(final) == sha256:
                return Kept(final.name, known=True)
            continue
        return Kept(final.name, known=False)
    raise InputError("cannot-write", [Problem(f"{stem}{suffix}", "there are too many files of this name")])


def _new_link(beside: Path, final: Path) -> None:
    try:
        final.hardlink_to(beside)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: an exclusive new file instead
        made = final.open("xb")
        try:
            with made as stream, beside.open("rb") as source:
                while chunk := source.read(_CHUNK):
                    stream.write(chunk)
        except OSError:  # a part of a file is none
            final.unlink(missing_ok=True)
            raise


def _sha256(path: Path) -> str:
    with contextlib.suppress(OSError), path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
    return ""
