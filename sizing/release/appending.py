"""A line added to the end of a file by any number of processes at once, whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from sizing.locking import locked


def append_line(file: Path, line: bytes) -> int:
    """Write one line, without its end, as the last of a file; return its number from 1.

    Raises
    ------
    OSError
        The file cannot be written, or is a link or a folder; then it is as it was.

    Notes
    -----
    An exclusive lock of the file, a write to its end, then fsync: lines of several processes never mix. A last
    line without its end (a crash of another program) is ended first, so that it does not swallow this one.
    """
    flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(file, flags, 0o644)
    try:
        with locked(handle):
            return _appended(handle, line + b"\n")
    finally:
        os.close(handle)


def _appended(handle: int, line: bytes) -> int:
    size = os.lseek(handle, 0, os.SEEK_END)
    before = 0
    os.lseek(handle, 0, os.SEEK_SET)
    last = b"\n"
    while chunk := os.read(handle, 1 << 20):
        before += chunk.count(b"\n")
        last = chunk[-1:]
    if last != b"\n":
        line = b"\n" + line
        before += 1
    done = 0
    try:
        while done < len(line):
            done += os.write(handle, line[done:])
        os.fsync(handle)
    except OSError:
        os.ftruncate(handle, size)  # a full disk must not leave half a line
        raise
    return before + 1
