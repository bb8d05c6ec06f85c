"""Fields of forms as they come from the browser: texts, dates, boxes of readings; and what a field may be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, get_args
from urllib.parse import quote

from starlette.datastructures import FormData

from sizing.errors import InputError, Problem
from sizing.jobs.edits import BOXES
from sizing.jobs.job import SeenFrom, SillAt, Tape
from sizing.messages.intake import length_words
from sizing.units import LengthError, Unit, parse_length
from vision.request import Wall

MOST_CHARACTERS = 2000
# Fields by how the place of a problem names them, where that is not by their key.
_FIELDS = {"measured on": "measured_on", "read on": "on"}


def text(form: FormData, key: str) -> str:
    """Return a field's text without blanks around it, empty where it is none; line ends become single spaces."""
    value = form.get(key, "")
    if not isinstance(value, str):
        return ""
    return " ".join(value.split())[:MOST_CHARACTERS]


def as_is(form: FormData, key: str) -> str:
    """Return a field that names what is there already, an opening or a photo: letter for letter, blanks and all."""
    value = form.get(key, "")
    return value[:MOST_CHARACTERS] if isinstance(value, str) else ""


def day(written: str, what: str) -> date | None:
    """Return the date of a field, None where it is empty; InputError where it is no date."""
    if not written:
        return None
    try:
        return date.fromisoformat(written)
    except ValueError:
        raise InputError("bad-date", [Problem(what, f"{written[:40]!r} is no date: write 2026-05-04")]) from None


def boxes(form: FormData, prefix: str = "") -> dict[str, dict[str, str]]:
    """Return the boxes of readings of a form by group and box, as typed; those that the form does not hold are out."""
    found: dict[str, dict[str, str]] = {}
    for group, names in BOXES.items():
        for box in names:
            if (key := f"{prefix}{group}.{box}") in form:
                found.setdefault(group, {})[box] = text(form, key)
    return found


def said_back(texts: Mapping[str, str], unit: Unit, graduation: str) -> dict[str, dict[str, Any]]:
    """Return for each typed length whether it can be read, and in words how, or why not.

    Parameters
    ----------
    texts : mapping
        Text by the name of its box.
    unit : "in" or "mm"
    graduation : str
        The job's finest mark as written, for `strong` and `scant`; empty: the usual one.
    """
    try:
        mark = parse_length(graduation, unit).mm if graduation else None
    except LengthError:
        mark = None
    answers: dict[str, dict[str, Any]] = {}
    for box, written in texts.items():
        try:
            length = parse_length(written, unit, graduation_mm=mark)
            answers[box] = {"ok": True, "says": length_words(length, unit)}
        except LengthError as error:
            answers[box] = {"ok": False, "says": str(error)}
    return answers


def faults(problems: Iterable[Problem], keys: Iterable[str]) -> dict[str, list[str]]:
    """Return what is said against each field of a form; a problem of none of its fields is out.

    Examples
    --------
    >>> faults([Problem('job.toml: opening[0] "W1".visit[1].width.top', "no length")], ["width.top", "top", "by"])
    {'width.top': ['no length']}
    """
    found: dict[str, list[str]] = {}
    longest_first = sorted(set(keys), key=len, reverse=True)
    for problem in problems:
        where = _FIELDS.get(problem.where, problem.where).removesuffix(".value").removesuffix(".across")
        key = next((k for k in longest_first if where == k or where.endswith(f".{k}")), None)
        if key is not None:
            found.setdefault(key, []).append(problem.says)
    return found


def choices() -> dict[str, tuple[str, ...]]:
    """Return what fields of a fixed choice may be."""
    return {
        "wall": get_args(Wall),
        "tape": get_args(Tape),
        "seen_from": get_args(SeenFrom),
        "sill_at": get_args(SillAt),
        "units": ("in", "mm"),
    }


def address(*parts: str, at: str = "") -> str:
    """Return the address of a page of the desk, every part quoted; `at` is a place in it."""
    return "/" + "/".join(quote(part) for part in parts) + (f"#{quote(at)}" if at else "")
