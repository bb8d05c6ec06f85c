"""Reading a file that somebody else put there: a regular one of bounded size, or an `OSError`; nothing ever waits."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from pathlib import Path

PHOTO_BYTES = 150_000_000  # contract, *Limits*: no file that is hashed is larger than a photo may be


def regular_bytes(file: Path, most: int) -> bytes:
    """Return all bytes of a regular file; links are followed.

    Parameters
    ----------
    file : Path
        Of any kind: a pipe without a writer and an endless device are refused, not read.
    most : int
        Largest size in bytes.

    Raises
    ------
    OSError : no regular file, larger than `most`, or not readable.
    """
    # A pipe opened without this waits for its other end.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        handle = os.open(file, flags)
    except ValueError:  # a NUL in the name
        raise OSError(errno.EINVAL, "no name of a file", str(file)) from None
    with os.fdopen(handle, "rb") as stream:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, "no regular file", str(file))
        data = stream.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"over {most} bytes", str(file))
    return data


def unread(error: Exception) -> str:
    """Return why a file could not be read, with the remedy where the right to read it lacks.

    Examples
    --------
    >>> unread(PermissionError(errno.EACCES, "Permission denied", "job.toml"))
    'cannot be read: Permission denied; give yourself the right to read it'
    """
    says = f"cannot be read: {getattr(error, 'strerror', None) or error}"
    return f"{says}; give yourself the right to read it" if isinstance(error, PermissionError) else says


def regular_sha256(file: Path, otherwise: str = "") -> str:
    """Return the SHA-256 of a regular file of at most a photo's size; `otherwise` for anything else."""
    try:
        return hashlib.sha256(regular_bytes(file, PHOTO_BYTES)).hexdigest()
    except OSError:
        return otherwise
