"""The folder that the desk works in: its jobs, and paths that never leave it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sizing.desk.addresses import job_name, job_path
from sizing.errors import InputError, Problem
from sizing.runs.runfolder import FOLDER, safe_name

JOB_FILE = "job.toml"
_DEEPEST = 3


@dataclass(frozen=True, slots=True)
class DeskFolder:
    """The desk's folder, resolved once; jobs are folders in it that hold `job.toml`, named by their path (`addresses`).

    Where the folder is itself a job, that one goes by the folder's own name: no address can end in '.'.
    """

    root: Path

    def jobs(self) -> tuple[str, ...]:
        """Return the names of all jobs, sorted."""
        return tuple(sorted(self.name_of(p.parent) for p in self._files(self.root, 0)))

    def name_of(self, folder: Path) -> str:
        """Return the name of a folder in the desk's."""
        return self._own_name() if folder == self.root else job_name(folder.relative_to(self.root).as_posix())

    def path_of(self, job: str) -> Path:
        """Return where the folder of a name is, whether it holds a job or not."""
        own = job == self._own_name() and (self.root / JOB_FILE).is_file()
        return self.root if own else self.root / job_path(job)

    def new_folder(self, id_: str) -> Path:
        """Return where a new job is made: a folder of a safe name like its id, in which jobs are looked for."""
        name = safe_name(id_)
        return self.root / (f"{name}-job" if _passed_over(name) or name == "rules" else name)

    def _own_name(self) -> str:
        """Return the name of the desk's folder as a job: its own, told apart from a folder of that name in it."""
        name = self.root.name or "job"
        while (self.root / name).exists():
            name += "-itself"
        return name

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
            folder = self.path_of(job).resolve()
            path = (folder / name).resolve()
            if folder.is_relative_to(self.root) and path.is_relative_to(folder) and path.is_file():
                return path
        except (OSError, ValueError, RuntimeError):  # a name too long, a NUL in it, a loop of links
            pass
        shown = "".join(c if c.isprintable() else "?" for c in f"{job}/{name}"[:200])
        raise InputError("no-such-file", [Problem(shown, "there is no such file at this desk")])


def _passed_over(name: str) -> bool:
    """Return whether a folder holds no jobs: hidden, pictures and results of checks, or a name no page can hold."""
    return name.startswith(".") or name == FOLDER or any("\ud800" <= c <= "\udfff" for c in name)
