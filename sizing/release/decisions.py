"""What people decided: lines of `decisions.jsonl` beside `job.toml`, append only, from any number of processes.

A decision counts while the inputs it was taken on are the present ones (`inputs_hash`); else it is stale:
shown, and counting for nothing. A line that cannot be read is reported by its number and stays in the file.
"""

from __future__ import annotations

import json
from pathlib import Path

from sizing.decided import BadLine, Decision, DecisionLog
from sizing.errors import InputError, Problem
from sizing.messages import decisions as messages
from sizing.release.appending import append_line
from sizing.release.decision_line import decision_document, faults, parse_decision

FILE = "decisions.jsonl"
# Guess: far above what a job gathers; it keeps a wrong file from filling the memory.
_MOST_BYTES = 50_000_000
_MOST_SAID = 20


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
    problems = faults(decision)
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
