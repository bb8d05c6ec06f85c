"""The folder that the desk works in: its jobs, and paths that never leave it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sizing.errors import InputError, Problem

JOB_FILE = "job.toml"
_DEEPEST = 3


@dataclass(frozen=True, slots=True)
class DeskFolder:
    """The desk's folder, resolved once; jobs are folders in it that hold `job.toml`, named by their relative path."""

    root: Path

    def jobs(self) -> tuple[str, ...]:
        """Return the names of all jobs, sorted."""
        return tuple(sorted(p.parent.relative_to(self.root).as_posix() for p in self._files(self.root, 0)))

    def _files(self, folder: Path, depth: int) -> Iterator[Path]:
        try:
            entries = sorted(folder.iterdir())
        except OSError:
            return
        for entry in entries:
            if entry.name == JOB_FILE and entry.is_file():
                yield entry
            elif depth < _DEEPEST and entry.is_dir() and not entry.is_symlink() and not _passed_over(entry.name):
                yield from self._files(entry, depth + 1)

    def job(self, name: str) -> Path:
        """Return the folder of a job.

        Raises
        ------
        InputError : no such job in this folder.
        """
        return self._inside(name, JOB_FILE).parent

    def file(self, job: str, name: str) -> Path:
        """Return a regular file in a job's folder; InputError where there is none or it lies outside."""
        return self._inside(job, name)

    def _inside(self, job: str, name: str) -> Path:
        try:
            path = (self.root / job / name).resolve()
            folder = (self.root / job).resolve()
            if folder.is_relative_to(self.root) and path.is_relative_to(folder) and path.is_file():
                return path
        except (OSError, ValueError, RuntimeError):  # a name too long, a NUL in it, a loop of links
            pass
        shown = "".join(c if c.isprintable() else "?" for c in f"{job}/{name}"[:200])
        raise InputError("no-such-file", [Problem(shown, "there is no such file at this desk")])


def _passed_over(name: str) -> bool:
    """Return whether a folder holds no jobs: hidden, pictures and results of checks, or a name no page can hold."""
    return name.startswith(".") or name == "secondtape" or any("\ud800" <= c <= "\udfff" for c in name)
