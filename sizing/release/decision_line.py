"""One decision as a line of `decisions.jsonl`: written, read, and what keeps it from being one."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from sizing.decided import CHOICES, Decision
from sizing.messages import decisions as messages
from sizing.units import LONGEST_MM

# Guesses: far above what a line needs; they keep a wrong file from filling the memory.
_LONGEST_LINE, _LONGEST_TEXT = 100_000, 2_000
_HEX = 64
_LONGEST_NUMBER = 30


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
    for key, says in faults(decision):
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


def faults(decision: Decision) -> list[tuple[str, str]]:
    """Return what keeps a decision from being a line of the file: key and words, each."""
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
