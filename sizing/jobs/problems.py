"""What is wrong with a job file, said for people: each problem with its key and the remedy."""

from __future__ import annotations

import difflib
import re
import typing
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from sizing.errors import Problem
from sizing.jobs.tables import FORMS, JobFile
from sizing.jobs.values import as_text

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_MEANT = {
    "string_type": "must be text in quotes",
    "int_type": "must be a whole number",
    "float_type": "must be a number",
    "finite_number": "must be a finite number",
    "bool_type": "must be true or false",
    "date_type": "must be a date without quotes, like 2026-05-04",
    "model_type": "must be a table",
    "dict_type": "must be a table",
}
_LIMITS = {
    "greater_than": "more than",
    "greater_than_equal": "at least",
    "less_than": "less than",
    "less_than_equal": "at most",
}
_LISTS = {
    "opening": "must be a list of tables: write [[opening]] in double brackets",
    "visit": "must be a list of tables: write [[opening.visit]] in double brackets",
}
_MANY = {
    "opening": "openings in a job",
    "photos": "photos of an opening",
    "obstacles": "obstacles of an opening",
    "documents": "documents of an opening",
}
_MISSING = {
    "units": 'is missing: say units = "in" or units = "mm"',
    "label": 'is missing: say label = "W1", a name of its own for each opening',
    "wall": 'is missing: say wall = "masonry", "render", "siding" or "panel"',
    "job": 'is missing: the file starts with [job], id = "..." and units = "in" or "mm"',
    "opening": "is missing: at least one [[opening]]",
}


def read_tables(raw: Mapping[str, Any], file: Path) -> tuple[JobFile | None, list[Problem]]:
    """Return the tables of a job, or None with every problem of keys, types, lengths and labels.

    Parameters
    ----------
    raw : Mapping
        The parsed TOML.
    file : Path
        Named in each problem.
    """
    job = raw.get("job")
    unit = job.get("units") if isinstance(job, dict) else None
    problems = _across_tables(raw, file)
    try:
        tables = JobFile.model_validate(raw, context={"unit": "mm" if unit == "mm" else "in"})
    except ValidationError as error:
        return None, model_problems(error, raw, file, JobFile) + problems
    return (None if problems else tables), problems


def model_problems(error: ValidationError, raw: object, file: Path, model: type[BaseModel]) -> list[Problem]:
    """Return every problem that a model found in a file, with the key and the nearest known one."""
    return [_problem(one, raw, file, model) for one in error.errors(include_url=False)]


def key_path(loc: Sequence[str | int], raw: object) -> str:
    """Return where a value stands, for people: `opening[2] "W3".width.top`."""
    words: list[str] = []
    for part in loc:
        if isinstance(part, int):
            words[-1] += f"[{part}]"
            raw = raw[part] if isinstance(raw, list) and part < len(raw) else None
            label = raw.get("label") if isinstance(raw, dict) and words == [f"opening[{part}]"] else None
            if isinstance(label, str) and label.isprintable():
                words[-1] += f' "{label[:40]}"'
        else:
            words.append(part if _BARE_KEY.fullmatch(part) and len(part) <= 40 else repr(part[:40]))
            raw = raw.get(part) if isinstance(raw, dict) else None
    return ".".join(words)


def _across_tables(raw: Mapping[str, Any], file: Path) -> list[Problem]:
    """Return what no single table shows: labels twice, visits out of order, obstacles in photos not named."""
    openings = raw.get("opening")
    tables = openings if isinstance(openings, list) else []
    labels = [one.get("label") if isinstance(one, dict) else None for one in tables]
    # letters with their accents as one sign or as two look the same
    counts = Counter(unicodedata.normalize("NFC", label.strip()) for label in labels if isinstance(label, str))
    problems = [
        Problem(f"{file}: opening {label[:40]!r}", f"{count} openings have this label: give each its own")
        for label, count in counts.items()
        if count > 1
    ]
    job = raw.get("job")
    first = job.get("measured_on") if isinstance(job, dict) else None
    for i, table in enumerate(tables):
        if isinstance(table, dict):
            found = [*_visits_before(table, first), *_photos_unknown(table)]
            problems += [Problem(f"{file}: {key_path(('opening', i, *loc), raw)}", says) for loc, says in found]
    return problems


def _visits_before(opening: Mapping[str, Any], first: object) -> Iterator[tuple[tuple[str | int, ...], str]]:
    latest = first if type(first) is date else None
    for i, visit in enumerate(_tables(opening.get("visit"))):
        on = visit.get("on")
        if type(on) is date:
            if latest is not None and on < latest:
                says = f"{on} is before the readings that it replaces ({latest}): a visit is a later set"
                yield ("visit", i, "on"), says
            latest = on


def _photos_unknown(opening: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    photos = opening.get("photos")
    listed = photos if isinstance(photos, list) else []
    names = [photo.get("file") if isinstance(photo, dict) else photo for photo in listed]
    for i, thing in enumerate(_tables(opening.get("obstacles"))):
        if isinstance(photo := thing.get("photo"), str) and photo not in names:
            yield ("obstacles", i, "photo"), f"{photo[:80]!r} is none of the opening's photos"


def _tables(value: object) -> list[dict[str, Any]]:
    return [one if isinstance(one, dict) else {} for one in value] if isinstance(value, list) else []


def _problem(error: ErrorDetails, raw: object, file: Path, model: type[BaseModel]) -> Problem:
    *path, last = error["loc"] or ("",)
    # Forms of a value are tags of the model and no keys; a key of the file that looks like one stands last.
    loc = [part for part in path if part not in FORMS]
    if last not in FORMS or error["type"] == "extra_forbidden":
        loc.append(last)
    return Problem(f"{file}: {key_path(loc, raw) or 'the file'}", _says(error, loc, model))


def _says(error: ErrorDetails, loc: Sequence[str | int], model: type[BaseModel]) -> str:
    kind, last, found, facts = error["type"], str(loc[-1]), error["input"], error.get("ctx", {})
    match kind:
        case "extra_forbidden":
            says = _unknown_key(last, loc[:-1], model)
        case "value_error":
            says = str(facts["error"])
        case "missing":
            says = _MISSING.get(last, "is missing")
        case "literal_error":
            says = _not_among(found, facts["expected"])
        case "list_type":
            says = _LISTS.get(last, "must be a list in square brackets")
        case "too_long":
            says = f"at most {facts['max_length']} {_MANY.get(last, 'numbers')}; found {facts['actual_length']}"
        case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
            says = f"must be {_LIMITS[kind]} {next(iter(facts.values()))}; found {_shown(found)}"
        case "too_short" if last == "opening":
            says = _MISSING["opening"]
        case _:
            meant = _MEANT.get(kind, error["msg"][:1].lower() + error["msg"][1:])
            says = f"{meant}; found {_shown(found)}"
    return says


def _shown(found: object) -> str:
    if isinstance(found, dict | list):
        return "a table" if isinstance(found, dict) else "a list"
    text = repr(found) if isinstance(found, str) else as_text(found)
    return text if len(text) <= 60 else text[:57] + "..."


def _not_among(found: object, expected: str) -> str:
    known = re.findall(r"'([^']*)'", expected)
    near = difflib.get_close_matches(found.lower(), known, 1) if isinstance(found, str) else []
    return f"must be {expected}; found {_shown(found)}" + (f"; did you mean {near[0]!r}?" if near else "")


def _unknown_key(key: str, loc: Sequence[str | int], model: type[BaseModel]) -> str:
    known = sorted(_fields_at([part for part in loc if isinstance(part, str)], model))
    if key in known:
        return "cannot stand beside the other keys of this table: give one value, or one for each side"
    near = difflib.get_close_matches(key.lower(), known, 1, cutoff=0.5)
    return f"unknown key; did you mean {near[0]!r}?" if near else f"unknown key; known here: {', '.join(known)}"


def _fields_at(names: Sequence[str], model: type[BaseModel]) -> set[str]:
    """Return the keys known at a place: of every form that the value may take there."""
    models: list[type[BaseModel]] = [model]
    for name in names:
        models = [
            inner
            for model in models
            if name in model.model_fields
            for inner in _models_in(model.model_fields[name].annotation)
        ]
    return {key for model in models for key in model.model_fields}


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in typing.get_args(annotation) for model in _models_in(inner)]
