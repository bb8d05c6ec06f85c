"""Photos of a job for the contact sheet: in order of time, as small pictures that only we encoded.

A photo is decoded in the desk's child process, one at a time, within limits of time and memory. What was made of it
is kept in the job's `secondtape/thumbs`, named by the photo's path, time and size, and made again where it is lost.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.datastructures import UploadFile

from sizing.desk.panels import panel_task
from sizing.desk.uploads import PHOTO_SUFFIXES, Kept, keep_photo, move_aside
from sizing.desk.worker import Say, Worker, WorkerError
from sizing.errors import InputError, Problem
from sizing.regularfile import regular_bytes
from sizing.runs.runfolder import FOLDER

THUMB_PX, LARGE_PX = 360, 1600
SIZES = (THUMB_PX, LARGE_PX)
# Guess: the slowest photo within the limits takes 15 s on an old machine.
SECONDS = 60.0
_FOLDER = "thumbs"
_LEFT_OUT = "left-out"
# Faults that stay with a file; of others (rights, memory, a missing decoder) the next try may do better.
_LASTING = frozenset(f"photo-{fault}" for fault in ("format", "damaged", "truncated", "too-small", "empty", "size"))
_PANEL = "panel-2"  # kept under another name since it says what it shows
_QUALITY = 82
# Guess: facts take some hundred bytes, a side within the limit of 250 MP far fewer px.
_MOST_FACTS, _MOST_PX = 100_000, 10_000_000
MOST_PHOTOS = 600
_DEEPEST = 2
_NO_PHOTOS = frozenset({FOLDER, "rules"})


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photo in a job's folder: its relative name, when it was taken (ISO 8601), by the camera or by the file."""

    name: str
    taken: str
    by_camera: bool
    size_px: tuple[int, int] | None
    error: str = ""


def photo_names(folder: Path) -> tuple[str, ...]:
    """Return the photos in a job's folder by name, relative to it; links and hidden files are passed over."""
    found = []
    for path in _files(folder, 0):
        if path.suffix.lower() in PHOTO_SUFFIXES:
            found.append(path.relative_to(folder).as_posix())
            if len(found) == MOST_PHOTOS:
                break
    return tuple(sorted(found))


def contact_sheet(folder: Path, worker: Worker) -> tuple[PhotoFile, ...]:
    """Return all photos of a job in order of time; what the camera wrote is read in the child and kept."""
    names = photo_names(folder)
    known = {name: _kept_facts(folder, name) for name in names}
    new = [name for name, facts in known.items() if facts is None]
    if new:
        try:
            read = worker.run(facts_task, [folder / name for name in new], timeout_s=SECONDS)
        except WorkerError as error:
            read = [{"error": str(error)}] * len(new)
        for name, facts in zip(new, read, strict=True):
            known[name] = facts
            if not facts.get("error"):
                _keep(_kept(folder, name, "facts.json"), json.dumps(facts).encode())
    photos = (_photo(folder, name, facts or {}) for name, facts in known.items())
    return tuple(sorted(photos, key=lambda p: (p.taken, p.name)))


def take_photo(folder: Path, upload: UploadFile, worker: Worker) -> Kept:
    """Keep an uploaded photo in a job's folder, once it has been decoded.

    Raises
    ------
    InputError
        It is no photo that can be used, or cannot be written; then nothing is left behind.
    """
    one = keep_photo(folder, upload)
    try:
        picture(folder, one.name, THUMB_PX, worker)
    except InputError:
        if not one.known:
            (folder / one.name).unlink(missing_ok=True)
        raise
    return one


def require_unusable(folder: Path, name: str, worker: Worker) -> None:
    """Raise InputError where a photo can be decoded, so that it is not left out by mistake."""
    try:
        picture(folder, name, THUMB_PX, worker)
    except InputError:
        return
    raise InputError("photo-usable", [Problem(name, "this photo can be read: set it to 'not used' instead")])


def leave_out(folder: Path, name: str) -> None:
    """Move a photo that cannot be used out of the job's photos; nothing is lost, it stays in `secondtape/left-out`.

    Raises
    ------
    InputError
        It cannot be moved.
    """
    move_aside(folder / name, folder / FOLDER, _LEFT_OUT)


def picture(folder: Path, name: str, width_px: int, worker: Worker) -> bytes:
    """Return a photo as JPEG of at most that long side, upright and without its Exif.

    Raises
    ------
    InputError
        The photo cannot be decoded; the text says why.
    """
    return _made(folder, name, str(width_px), worker)


def panel(folder: Path, name: str, worker: Worker) -> bytes:
    """Return the write-in panels of the sheets in a photo, straightened and enlarged, as JPEG (`sizing.desk.panels`).

    Raises
    ------
    InputError
        No sheet is found (`no-panel`), or the photo cannot be decoded.
    """
    made = _made(folder, name, _PANEL, worker)
    if not made:
        raise InputError("no-panel", [Problem(name, "no printed sheet was found in this photo")])
    return made


def _made(folder: Path, name: str, what: str, worker: Worker) -> bytes:
    kept = _kept(folder, name, f"{what}.jpg")
    with contextlib.suppress(OSError):
        return kept.read_bytes()
    task = panel_task if what == _PANEL else pictures_task
    sizes = () if what == _PANEL else (SIZES if int(what) in SIZES else (int(what),))
    try:
        made = worker.run(task, folder / name, *([sizes] if sizes else []), timeout_s=SECONDS)
    except WorkerError as error:
        raise InputError("photo-unreadable", [Problem(name, _nearby(str(error), folder, name))]) from None
    if "error" in made:
        says = _nearby(made["error"].decode(), folder, name)
        _keep(_kept(folder, name, "facts.json"), json.dumps({"error": says}).encode())
        raise InputError("photo-unreadable", [Problem(name, says)])
    for key, data in made.items():
        _keep(_kept(folder, name, f"{_PANEL if key == 'panel' else key}.jpg"), data)
    return bytes(made["panel" if what == _PANEL else what])


def facts_task(paths: list[Path], *, say: Say) -> list[dict[str, Any]]:
    """Return time and size of photos by their headers; in the child."""
    return [_facts(path) for path in paths]


def pictures_task(path: Path, sizes: tuple[int, ...], *, say: Say) -> dict[str, bytes]:
    """Return a photo as JPEG in several sizes (longest side, px), or `error` that stays with the file; in the child."""
    from PIL import Image

    from vision.errors import PhotoError
    from vision.photo.reading import read_photo

    try:
        whole = Image.fromarray(read_photo(path).rgb)
    except PhotoError as error:
        if error.code not in _LASTING:
            raise
        return {"error": str(error).encode("utf-8", "replace")}
    made = {}
    for size in sorted(sizes, reverse=True):
        whole.thumbnail((size, size), Image.Resampling.LANCZOS, reducing_gap=2.0)
        made[str(size)] = _jpeg(whole)
    return made


def _jpeg(image: Any) -> bytes:  # noqa: ANN401 -- PIL is imported in the child only
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=_QUALITY)
    return stream.getvalue()


def _facts(path: Path) -> dict[str, Any]:
    import warnings

    from vision.errors import PhotoError
    from vision.photo.exif import orientation_of, read_exif
    from vision.photo.reading import read_photo

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with _header(path) as image:
                orientation = orientation_of(image)
                facts, _ = read_exif(image, orientation)
                size = image.size[::-1] if orientation >= 5 else image.size
        return {"taken": facts.taken, "size_px": list(size)}
    except Exception:  # garbage: decoding it says what is wrong
        try:
            read_photo(path)
        except PhotoError as error:
            return {"taken": None, "size_px": None, "error": str(error)}
        return {"taken": None, "size_px": None}


def _header(path: Path) -> Any:  # noqa: ANN401 -- PIL is imported in the child only
    """Return a picture of which only the header is read."""
    from PIL import Image

    if path.suffix.lower() in (".heic", ".heif"):
        from pillow_heif import HeifImageFile

        return HeifImageFile(path)  # type: ignore[no-untyped-call]
    return Image.open(path, formats=("JPEG", "MPO", "PNG", "TIFF", "WEBP"))


def _photo(folder: Path, name: str, facts: dict[str, Any]) -> PhotoFile:
    taken, size = facts.get("taken"), facts.get("size_px")
    by_camera = isinstance(taken, str)
    if not isinstance(taken, str):
        taken = ""
        with contextlib.suppress(OSError):
            taken = datetime.fromtimestamp((folder / name).stat().st_mtime, UTC).isoformat(timespec="seconds")[:19]
    size_px = (int(size[0]), int(size[1])) if isinstance(size, list) and len(size) == 2 else None
    return PhotoFile(name, taken, by_camera, size_px, _nearby(str(facts.get("error", "")), folder, name))


def _files(folder: Path, depth: int) -> Iterator[Path]:
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        return
    for entry in entries:
        if entry.name.startswith(".") or entry.is_symlink():
            continue
        if entry.is_file():
            yield entry
        elif depth < _DEEPEST and entry.is_dir() and entry.name not in _NO_PHOTOS and not (entry / "job.toml").exists():
            yield from _files(entry, depth + 1)


def _kept(folder: Path, name: str, what: str) -> Path:
    try:
        found = (folder / name).stat()
        key = f"{name}\0{found.st_mtime_ns}\0{found.st_size}"
    except OSError:
        key = name
    return folder / FOLDER / _FOLDER / f"{hashlib.sha256(key.encode('utf-8', 'surrogatepass')).hexdigest()[:16]}-{what}"


def _kept_facts(folder: Path, name: str) -> dict[str, Any] | None:
    """Return what was kept of a photo, None where it was not, or is nothing that was written here."""
    try:
        facts = json.loads(regular_bytes(_kept(folder, name, "facts.json"), _MOST_FACTS))
    except (OSError, ValueError, RecursionError):
        return None
    return facts if isinstance(facts, dict) and _sound(facts) else None


def _sound(facts: dict[str, Any]) -> bool:
    taken, size, error = facts.get("taken"), facts.get("size_px"), facts.get("error", "")
    sized = isinstance(size, list) and len(size) == 2 and all(type(n) is int and 0 < n < _MOST_PX for n in size)
    return (taken is None or isinstance(taken, str)) and (size is None or sized) and isinstance(error, str)


def _keep(path: Path, data: bytes) -> None:
    """Write a small file beside and rename it; where that cannot be, it is made again the next time."""
    with contextlib.suppress(OSError):
        if path.parent.parent.is_symlink() or path.parent.is_symlink():
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)


def _nearby(text: str, folder: Path, name: str) -> str:
    return text.replace(f"{folder}/", "").removeprefix(f"{name}: ")
