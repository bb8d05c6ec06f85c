"""Exceptions of the package.

SizingError(Exception)
├── InputError(ValueError)   what was typed cannot be used; carries all problems found at once
├── OutputError              stdout cannot be written to
├── ChangedUnderneath        a job file was changed by another meanwhile (`sizing.jobs.writer`)
├── NotDoneError             a job could not be done where it was sent; the text says why and what to do
├── LogError                 the log's index cannot be used (`sizing.log.database`)
└── WorkerError              the desk's child process failed (`sizing.desk.worker`)

Not of this tree, because the modules that call for them turn them into one of these or into a warning:
LengthError and NestedTooDeepError (ValueError), RunFolderError (OSError).
"""

from __future__ import annotations

from dataclasses import dataclass


class SizingError(Exception):
    """Root of what `sizing` raises on purpose."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem of an input: where (file, key or line) and what to do about it."""

    where: str
    says: str

    def __str__(self) -> str:
        return f"{self.where}: {self.says}"


class InputError(SizingError, ValueError):
    """Inputs that cannot be used, with every problem found."""

    def __init__(self, code: str, problems: list[Problem]) -> None:
        super().__init__("; ".join(str(p) for p in problems))
        self.code = code
        self.problems = tuple(problems)


class OutputError(SizingError):
    """Stdout cannot be written to: a full disk, or one that fails; the message is the system's reason."""


class NotDoneError(SizingError):
    """A job could not be done where it was sent, by no fault of its own; the text says why and what to do."""
