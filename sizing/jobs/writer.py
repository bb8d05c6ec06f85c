"""Job files changed in place: comments and order stay, saves are whole, and no save loses another's.

The file on disk is the truth. Every change takes the job's lock, reads the file anew, edits that, has the result
checked, writes it beside and renames. Who read the file earlier says so by its hash; when another wrote it in between
nothing is written and both versions are handed back. What may be edited stands in `sizing.jobs.edits`.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import tempfile
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from sizing.errors import InputError, Problem, SizingError
from sizing.jobs.file import JOB_FILE, MOST_BYTES, load_job
from sizing.jobs.staying import Place, lost, place_name
from sizing.locking import locked
from sizing.regularfile import regular_bytes

Edit = Callable[[tomlkit.TOMLDocument], None]
_LOCK = ".job.lock"


@dataclass(frozen=True, slots=True)
class JobText:
    """A job file as read: its text and the SHA-256 of its bytes."""

    text: str
    sha256: str


class ChangedUnderneath(SizingError):
    """The file is not the one that was read; `on_disk` is its text now, `wanted` that text with the change in it."""

    def __init__(self, on_disk: JobText, wanted: str) -> None:
        super().__init__("the job file was changed by someone else since this page was opened")
        self.on_disk = on_disk
        self.wanted = wanted


def read_text(file: Path) -> JobText:
    """Return the text of a job file with its hash; InputError where it cannot be read as text."""
    try:
        data = regular_bytes(file, MOST_BYTES)
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise InputError("job-too-large", [Problem(str(file), "over 1 MB: a job file holds text only")]) from None
        raise InputError("job-missing", [Problem(str(file), f"cannot be read: {error.strerror or error}")]) from None
    try:
        return JobText(data.decode("utf-8-sig"), hashlib.sha256(data).hexdigest())
    except UnicodeDecodeError:
        raise InputError("job-not-text", [Problem(str(file), "not UTF-8 text: save the file as UTF-8")]) from None


def save(file: Path, edit: Edit, *, named: Sequence[Place] = (), read_sha256: str | None = None) -> JobText:
    """Change a job file; return it as it is now on disk.

    Parameters
    ----------
    file : Path
        An existing job file; links are not followed.
    edit : callable
        Changes the document in place; run once, on the text that is on disk now.
    named : sequence of places
        What it may change or take out, with all that is in there (`sizing.jobs.staying`); all else that was there must
        be there afterwards. What it adds need not be named.
    read_sha256 : str, optional
        Hash of the file that the change was made for; absent: the change holds for whatever is there now.

    Raises
    ------
    ChangedUnderneath
        The file on disk is another; it is left as it is.
    InputError
        The file cannot be read, would not be a job with the change, or would lose what is not named: every problem is
        said, nothing is written.
    OSError
        It cannot be written; then it is as it was.
    """
    with alone(file.parent):
        now = read_text(file)
        wanted = _edited(file, now.text, edit, named)
        if read_sha256 is not None and read_sha256 != now.sha256:
            raise ChangedUnderneath(now, wanted)
        return now if wanted == now.text else _replaced(file, wanted)


def create(folder: Path, document: tomlkit.TOMLDocument) -> JobText:
    """Write the job file of a new job into a folder, which is made; never over one that is there.

    Raises
    ------
    InputError
        The folder holds a job already, or is none (`job-exists`), or the document is no job; then no folder is made.
    OSError
        It cannot be written.
    """
    text, file = tomlkit.dumps(document), folder / JOB_FILE
    with tempfile.TemporaryDirectory() as apart:
        _replaced(Path(apart) / JOB_FILE, text)
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise InputError("job-exists", [Problem(folder.name, "there is a file or link of this name: choose another")])
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with alone(folder):
            if file.exists() or file.is_symlink():
                raise InputError("job-exists", [Problem(folder.name, "there is a job of this name: choose another")])
            return _replaced(file, text)
    except OSError:
        if made:
            with contextlib.suppress(OSError):
                (folder / _LOCK).unlink(missing_ok=True)
                folder.rmdir()
        raise


def _edited(file: Path, text: str, edit: Edit, named: Sequence[Place]) -> str:
    try:
        document = tomlkit.parse(text)
    except (TOMLKitError, ValueError) as error:
        says = f"not TOML, so that nothing can be changed in it: {error}; mend it in a text editor"
        raise InputError("job-not-toml", [Problem(str(file), says)]) from None
    try:
        edit(document)
        wanted = tomlkit.dumps(document)
        after = tomllib.loads(wanted)
        survived = after == document.unwrap()
        gone = lost(tomllib.loads(text), after, named)
    except InputError:
        raise
    except Exception as error:  # what unusual ways of writing bring about in TOML Kit is not to be foreseen
        raise _not_safely(file) from error
    if not survived:
        raise _not_safely(file)
    if gone is not None:
        says = f"this change would have altered or lost {place_name(gone)}: make it in a text editor"
        raise InputError("job-would-lose", [Problem(str(file), says)])
    return wanted


def _not_safely(file: Path) -> InputError:
    says = "is written in a way that the desk cannot change safely; mend it in a text editor"
    return InputError("job-not-toml", [Problem(str(file), says)])


def replace_file(file: Path, data: bytes, check: Callable[[Path], None]) -> None:
    """Write a file beside, have `check` read that, then rename; what it raises leaves the file as it was."""
    if file.is_symlink():
        raise InputError("job-missing", [Problem(str(file), "is a link; links are not followed when writing")])
    handle, name = tempfile.mkstemp(prefix=f".{file.stem}-", suffix=file.suffix, dir=file.parent)
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        check(beside)
        beside.chmod(file.stat().st_mode & 0o777 if file.exists() else 0o644)
        beside.replace(file)
    finally:
        beside.unlink(missing_ok=True)


def _replaced(file: Path, text: str) -> JobText:
    try:
        data = text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputError(
            "job-not-text", [Problem(file.name, "would hold signs that are no text: type it anew")]
        ) from None
    replace_file(file, data, lambda beside: _check(beside, file))
    return JobText(text, hashlib.sha256(data).hexdigest())


def _check(beside: Path, file: Path) -> None:
    """Refuse what would be no job, naming the file that it would have become."""
    try:
        load_job(beside)
    except InputError as error:
        problems = [Problem(p.where.replace(str(beside), file.name), p.says) for p in error.problems]
        raise InputError(error.code, problems) from None


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Hold the job's lock: a hidden file of its own, since the job file itself is replaced at each save."""
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
    handle = os.open(folder / _LOCK, flags, 0o644)
    try:
        with locked(handle):
            yield
    finally:
        os.close(handle)
