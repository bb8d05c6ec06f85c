"""The folder of one run: pictures and `result.json`, written whole or not at all.

A run is named by the hash of its inputs, so the same inputs give the same folder and earlier runs stay.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path

from sizing.runs.unfinished import ended_in_order, sweep

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


def write_run(target: Path, files: Iterable[tuple[str, Writer]], *, beside_job: bool = False) -> None:
    """Write every file beside `target` first and move them there when all are done.

    Parameters
    ----------
    target : Path
        The run's folder; made when absent. Files of the same name in it are replaced, nothing else touched.
    files : iterable of (name, writer)
        Each writer is called with the path that it is to write.
    beside_job : bool
        Whether `target` is in the folder of a job, which is not made anew when it was moved away meanwhile.

    Raises
    ------
    RunFolderError
        When the folder cannot be made or a file not written; then `target` is as it was.

    Notes
    -----
    A run that is told to end takes its unfinished folder with it; what one that was killed left in the folder of a
    job is removed by the first run a day later (`unfinished`).
    """
    with ended_in_order():
        _write_run(target, files, beside_job)


def _write_run(target: Path, files: Iterable[tuple[str, Writer]], beside_job: bool) -> None:
    parent = target.parent
    if parent.is_symlink() and parent.name == FOLDER:
        raise RunFolderError(f"{parent} is a link, and links are not followed when writing; use --out DIR")
    if beside_job and not parent.parent.is_dir():
        raise RunFolderError(f"{parent.parent} is gone, or was moved while it was checked; check it where it is now")
    first = not parent.exists()
    try:
        parent.mkdir(parents=not beside_job, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=parent))
    except (FileExistsError, NotADirectoryError) as error:
        raise RunFolderError(f"{parent} is not a folder; name one with --out DIR") from error
    except OSError as error:
        raise RunFolderError(f"{parent}: {error.strerror or error}; name another folder with --out DIR") from error
    try:
        if parent.name == FOLDER:  # where all is this program's
            sweep(fresh)
        for name, write in files:
            write(fresh / name)
        _move_in(fresh, target)
    except OSError as error:
        raise RunFolderError(
            f"{target}: {error.strerror or error}; make room, or name another folder with --out DIR"
        ) from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
        if first and beside_job:
            with suppress(OSError):  # not empty: the run is in it
                parent.rmdir()


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


def files_of_runs(folder: Path, name: str) -> list[Path]:
    """Return the files of a name in the folders of runs in `folder`, sorted; unfinished ones, hidden, are left out."""
    return sorted(path for path in folder.glob(f"*/{name}") if not path.parent.name.startswith("."))


def text_writer(text: str) -> Writer:
    """Return a writer of `text` as UTF-8."""

    def write(path: Path) -> None:
        path.write_text(text, encoding="utf-8", newline="\n")

    return write
