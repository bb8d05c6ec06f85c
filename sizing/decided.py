"""What people decided on the openings of a job, as values: decisions, and lines that cannot be read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

Choice = Literal["send", "hold", "override"]
CHOICES: tuple[Choice, ...] = ("send", "hold", "override")


@dataclass(frozen=True, slots=True)
class Decision:
    """One decision: `time` is UTC, sizes are mm (None where none was given), `line` counts from 1 (0: not stored).

    `risk_accepted` is what an override takes upon itself, in its author's words; `verdict` is what the check
    said at that time.
    """

    time: datetime
    by: str
    opening: str
    decision: Choice
    reason: str
    inputs_sha256: str
    width_mm: float | None = None
    height_mm: float | None = None
    risk_accepted: str = ""
    verdict: str = ""
    line: int = 0

    def stale(self, inputs_sha256: str) -> bool:
        """Return whether the inputs are others than those that this was decided on."""
        return self.inputs_sha256 != inputs_sha256


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that cannot be read: its number from 1, and why."""

    line: int
    says: str


@dataclass(frozen=True, slots=True)
class DecisionLog:
    """All decisions of a job in the order of the file, and the lines that cannot be read."""

    file: Path
    decisions: tuple[Decision, ...] = ()
    bad: tuple[BadLine, ...] = ()

    def of(self, opening: str) -> tuple[Decision, ...]:
        """Return the decisions on one opening, oldest line first."""
        return tuple(d for d in self.decisions if d.opening == opening)

    def standing(self, opening: str, inputs_sha256: str) -> Decision | None:
        """Return the last decision on these very inputs, None without one.

        The order is that of the lines: clocks differ, an appended line does not.
        """
        fresh = [d for d in self.of(opening) if not d.stale(inputs_sha256)]
        return fresh[-1] if fresh else None

    def shown(self, opening: str, inputs_sha256: str) -> Decision | None:
        """Return the decision to show: the one that stands, else the last stale one, else None."""
        mine = self.of(opening)
        return self.standing(opening, inputs_sha256) or (mine[-1] if mine else None)

    def unread_after(self, line: int) -> tuple[BadLine, ...]:
        """Return the unreadable lines later than `line`: any may hold a decision that takes it back."""
        return tuple(b for b in self.bad if b.line > line)
