"""What the log gives back, as values: a check, its readings, decisions and releases, and it held to one made again."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Logged:
    """One check in the log: `day` of measuring, else of checking; numbers of openings by verdict.

    `decisions` on the job and `releases` of it in all; `checks` are those that differ only in where somebody pointed.
    """

    id: int
    run: str
    path: str
    folder: str | None
    job_file: str
    job: str
    verdict: str
    units: str
    program: str
    measured_by: str | None
    day: str
    checked_at: str
    send: int
    hold: int
    unproven: int
    decisions: int
    releases: int = 0
    checks: int = 1


@dataclass(frozen=True, slots=True)
class LoggedReading:
    """One reading of a check; lengths in mm, `as_written` empty where it is not on record."""

    opening: str
    name: str
    in_force: bool
    by: str | None
    on: str | None
    tape: str | None
    tape_mm: float
    photo_mm: float | None
    difference_mm: float | None
    U95_mm: float | None
    verdict: str | None
    slip: str | None
    as_written: str = ""


@dataclass(frozen=True, slots=True)
class LoggedDecision:
    """One decision on an opening of the job; `stale` where this check's inputs are others than the decision's."""

    opening: str
    time: str
    by: str
    decision: str
    reason: str
    risk_accepted: str
    verdict: str
    stale: bool


@dataclass(frozen=True, slots=True)
class LoggedRelease:
    """One opening in a release of the job, lengths in mm; `stale` where this check's inputs are others."""

    release: str
    released_at: str
    opening: str
    quantity: int
    width_mm: float
    height_mm: float
    released_by: str
    decided_by: str
    stale: bool


@dataclass(frozen=True, slots=True)
class Details:
    """A check with its openings (label, verdict, why), readings, the decisions on them and releases.

    `others` are the checks that differ only in where somebody pointed: time, verdict and run, in order of time.
    """

    logged: Logged
    openings: tuple[tuple[str, str, str], ...]
    readings: tuple[LoggedReading, ...]
    decisions: tuple[LoggedDecision, ...]
    releases: tuple[LoggedRelease, ...] = ()
    others: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Changed:
    """One thing that differs: what it is (a file, a verdict, a measure), as it was and is; empty where absent."""

    what: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class Again:
    """An old check and a new one: programs (empty: not on record), changed inputs, changed results.

    `same_version` is None where the record does not tell.
    """

    program_was: str
    program_now: str
    same_version: bool | None
    inputs: tuple[Changed, ...]
    results: tuple[Changed, ...]

    @property
    def same(self) -> bool:
        """Whether nothing differs that should not."""
        return not self.inputs and not self.results and self.same_version is not False

    @property
    def unexplained(self) -> bool:
        """Whether results differ though inputs and version are the same: a fault of the program or the machine."""
        return bool(self.results) and not self.inputs and self.same_version is True
