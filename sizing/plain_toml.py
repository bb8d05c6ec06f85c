"""TOML that somebody else wrote, held to what a table for people needs, before and after `tomllib` reads it."""

from __future__ import annotations

import re
import tomllib
from typing import Any

# A job nests six deep; what is deeper overruns the stack of those who walk it later.
DEEPEST = 50
# Python's reader takes a time that grows with the square of a key's parts: 50 000 of them five minutes.
MOST_PARTS = DEEPEST
# Texts and remarks of TOML 1.0, in which points join nothing; one that is never closed is taken to the end, so that
# the time grows with the length only.
_TEXT = re.compile(
    r'"""(?:[^\\]|\\.)*?(?:"""|\Z)' r"|'''.*?(?:'''|\Z)" r'|"(?:[^"\\\n]|\\[^\n])*"?' r"|'[^'\n]*'?|#[^\n]*", re.DOTALL
)
_KEY = re.compile(rf"(?<![\w-])[\w-]+(?:[ \t]*\.[ \t]*[\w-]+){{{MOST_PARTS},}}")


class NestedTooDeepError(ValueError):
    """Tables or lists within each other deeper than any file for people; the message says what to do."""


def read_toml(text: str) -> dict[str, Any]:
    """Return the table that TOML says, at most 50 deep.

    Raises
    ------
    NestedTooDeepError : keys of more parts, or tables and lists deeper than that.
    tomllib.TOMLDecodeError, ValueError, RecursionError : as `tomllib.loads` does.
    """
    found = _KEY.search(_TEXT.sub(_same_lines, text)) if text.count(".") >= MOST_PARTS else None
    if found is not None:
        line = found.string.count("\n", 0, found.start()) + 1
        raise NestedTooDeepError(
            f"line {line}: a key of more than {MOST_PARTS} parts joined by points: write tables at most {DEEPEST} deep"
        )
    raw = tomllib.loads(text)
    level: list[tuple[str, object]] = list(raw.items())
    for _ in range(DEEPEST):
        level = [(top, inner) for top, value in level for inner in _inside(value)]
    if level:
        raise NestedTooDeepError(
            f"'{level[0][0][:40]}' nests tables or lists more than {DEEPEST} deep: write them flat"
        )
    return raw


def _same_lines(found: re.Match[str]) -> str:
    """Return a word in place of a text, so that one that is part of a key stays one, with its line ends."""
    return ("" if found[0].startswith("#") else "x") + "\n" * found[0].count("\n")


def _inside(value: object) -> list[object]:
    if isinstance(value, dict):
        return list(value.values())
    return list(value) if isinstance(value, list) else []
