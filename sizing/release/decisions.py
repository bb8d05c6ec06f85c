"""What people decided: lines of `decisions.jsonl` beside `job.toml`, append only, from any number of processes.

A decision counts while the inputs it was taken on are the present ones (`inputs_hash`); else it is stale:
shown, and counting for nothing. A line that cannot be read is reported by its number and stays in the file.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from sizing.errors import InputError, Problem
from sizing.messages import record as messages
from sizing.release.appending import append_line
from sizing.units import LONGEST_MM

Choice = Literal["send", "hold", "override"]

FILE = "decisions.jsonl"
CHOICES: tuple[Choice, ...] = ("send", "hold", "override")
# Guesses: far above what a job gathers; they keep a wrong file from filling the memory.
_MOST_BYTES, _LONGEST_LINE, _LONGEST_TEXT = 50_000_000, 100_000, 2_000
_HEX = 64
_LONGEST_NUMBER = 30
_MOST_SAID = 20


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


def append_decision(folder: Path, decision: Decision) -> int:
    """Write one decision as the last line of the job's `decisions.jsonl`; return its number from 1.

    Parameters
    ----------
    folder : Path
        The folder of the job file.
    decision : Decision
        `line` is not written.

    Raises
    ------
    InputError
        A text is empty or too long, an override lacks its accepted risk, or the file cannot be written.
    """
    problems = _faults(decision)
    if problems:
        raise InputError("decision-invalid", [Problem(key, says) for key, says in problems])
    file = folder / FILE
    line = json.dumps(decision_document(decision), ensure_ascii=True, allow_nan=False).encode()
    try:
        return append_line(file, line)
    except OSError as error:
        plain = not file.is_symlink() and (file.is_file() or not file.exists())
        says = messages.cannot_append(error.strerror or "") if plain else messages.no_regular_file()
        raise InputError("cannot-write", [Problem(str(file), says)]) from error


def read_decisions(folder: Path) -> DecisionLog:
    """Return the decisions of a job; none where there is no file.

    Raises
    ------
    InputError
        The file is there and cannot be read, or is over 50 MB.
    """
    file = folder / FILE
    try:
        if file.is_symlink() or (file.exists() and not file.is_file()):
            raise InputError("decisions-unreadable", [Problem(str(file), messages.no_regular_file())])
        with file.open("rb") as stream:
            data = stream.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        return DecisionLog(file)
    except OSError as error:
        says = messages.cannot_read(error.strerror or "")
        raise InputError("decisions-unreadable", [Problem(str(file), says)]) from error
    if len(data) > _MOST_BYTES:
        raise InputError("decisions-unreadable", [Problem(str(file), messages.too_large(_MOST_BYTES))])
    decisions: list[Decision] = []
    bad: list[BadLine] = []
    for number, line in enumerate(data.split(b"\n"), start=1):
        if not line.strip():
            continue
        try:
            decisions.append(parse_decision(line, number))
        except ValueError as error:
            bad.append(BadLine(number, str(error)))
    return DecisionLog(file, tuple(decisions), tuple(bad))


def bad_line_problems(log: DecisionLog) -> list[Problem]:
    """Return unreadable lines as problems that name file, line and remedy: the first 20, then how many more."""
    said = [Problem(f"{log.file}: line {b.line}", messages.bad_line(b.says)) for b in log.bad[:_MOST_SAID]]
    more = len(log.bad) - len(said)
    return [*said, Problem(str(log.file), messages.more_bad_lines(more))] if more else said


def parse_decision(line: bytes, number: int = 0) -> Decision:
    """Return the decision that one line says; ValueError with the reason where it says none."""
    if len(line) > _LONGEST_LINE:
        raise ValueError(f"over {_LONGEST_LINE} bytes long")
    try:
        found = json.loads(
            line.decode("utf-8-sig"), object_pairs_hook=_once, parse_constant=_no_constant, parse_int=_whole
        )
    except UnicodeDecodeError:
        raise ValueError("not UTF-8 text") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"not JSON ({error.msg} at column {error.colno})") from None
    except RecursionError:
        raise ValueError("brackets too deep") from None
    if not isinstance(found, dict):
        raise ValueError("not a table { ... }")  # noqa: TRY004 -- one kind of error a line
    ordered = found.get("ordered")
    if ordered is None:
        ordered = {}
    if not isinstance(ordered, dict):
        raise ValueError("'ordered' is not a table { width_mm, height_mm }")  # noqa: TRY004
    choice = _text(found, "decision")
    if choice not in CHOICES:
        raise ValueError(f"decision {choice!r} is not one of {', '.join(CHOICES)}")
    decision = Decision(
        time=_time(_text(found, "time")),
        by=_text(found, "by"),
        opening=_text(found, "opening"),
        decision=choice,
        reason=_text(found, "reason"),
        inputs_sha256=_text(found, "inputs_sha256"),
        width_mm=_size_mm(ordered, "width_mm"),
        height_mm=_size_mm(ordered, "height_mm"),
        risk_accepted=_text(found, "risk_accepted", ""),
        verdict=_text(found, "verdict", ""),
        line=number,
    )
    for key, says in _faults(decision):
        raise ValueError(f"{key} {says}")
    return decision


def decision_document(decision: Decision) -> dict[str, Any]:
    """Return a decision as one line of the file holds it."""
    document: dict[str, Any] = {
        "time": decision.time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        "by": decision.by,
        "opening": decision.opening,
        "decision": decision.decision,
        "reason": decision.reason,
        "ordered": ordered_document(decision),
        "inputs_sha256": decision.inputs_sha256,
    }
    known = {"risk_accepted": decision.risk_accepted, "verdict": decision.verdict}
    return document | {key: value for key, value in known.items() if value}


def ordered_document(decision: Decision) -> dict[str, float] | None:
    """Return the ordered size that was decided on, mm; None where none was given."""
    sizes = {"width_mm": decision.width_mm, "height_mm": decision.height_mm}
    return {key: value for key, value in sizes.items() if value is not None} or None


def shown_document(decision: Decision | None, inputs_sha256: str) -> dict[str, Any] | None:
    """Return `decision` of an opening in the result: the one to show, with whether it is stale."""
    if decision is None:
        return None
    document = decision_document(decision)
    del document["opening"]
    return document | {"stale": decision.stale(inputs_sha256)}


def _faults(decision: Decision) -> list[tuple[str, str]]:
    problems = []
    texts = {"by": decision.by, "opening": decision.opening, "reason": decision.reason}
    if decision.decision == "override":
        texts["risk_accepted"] = decision.risk_accepted
    for key, text in texts.items():
        if not text.strip():
            problems.append((key, messages.text_missing(key)))
    for key, text in (texts | {"risk_accepted": decision.risk_accepted, "verdict": decision.verdict}).items():
        if len(text) > _LONGEST_TEXT:
            problems.append((key, messages.text_too_long(_LONGEST_TEXT)))
        if any("\ud800" <= c <= "\udfff" for c in text):  # half a character: no file could hold it
            problems.append((key, messages.no_text()))
    for key, size in (("width", decision.width_mm), ("height", decision.height_mm)):
        if size is not None and not 0 < size <= LONGEST_MM:  # read back, it would spoil the line
            problems.append((key, messages.no_size_of_order()))
    sha = decision.inputs_sha256
    if len(sha) != _HEX or any(c not in "0123456789abcdef" for c in sha):
        problems.append(("inputs_sha256", messages.no_hash()))
    return problems


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    table = dict(pairs)
    if len(table) != len(pairs):
        raise ValueError("a key stands twice")
    return table


def _whole(digits: str) -> int:
    if len(digits) > _LONGEST_NUMBER:
        raise ValueError("a number too long")
    return int(digits)


def _no_constant(name: str) -> object:
    raise ValueError(f"{name} is no number of JSON")


def _text(table: dict[str, Any], key: str, default: str | None = None) -> str:
    value = table.get(key, default)
    if value is None:
        raise ValueError(f"'{key}' is missing")
    if not isinstance(value, str):
        raise ValueError(f"'{key}' is not text")  # noqa: TRY004 -- one kind of error a line
    return value


def _size_mm(table: dict[str, Any], key: str) -> float | None:
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= LONGEST_MM:
        raise ValueError(f"ordered.{key} is not a length in mm above 0")
    return float(value)


def _time(text: str) -> datetime:
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"time {text[:40]!r} is not like 2026-05-04T12:30:00Z") from None
    if when.tzinfo is None:
        raise ValueError(f"time {text[:40]!r} has no zone: UTC ends with Z")
    try:
        return when.astimezone(UTC)
    except OverflowError:  # an hour before the first year, or after the last
        raise ValueError(f"time {text[:40]!r} is of no year from 1 to 9999 in UTC") from None
