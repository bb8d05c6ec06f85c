"""What a page changes in a job file: functions over its document that leave everything else as it was written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

import tomlkit
from tomlkit.container import OutOfOrderTableProxy
from tomlkit.items import AoT, Array, InlineTable, Table

from sizing.errors import InputError, Problem

BOXES = {"width": ("top", "middle", "bottom"), "height": ("left", "middle", "right"), "diagonal": ("down", "up")}
FIRST_LINES = "Written by the desk; edit it freely, comments stay."


def new_job(facts: Mapping[str, Any], labels: Iterable[str], wall: str, rule: str = "") -> tomlkit.TOMLDocument:
    """Return the document of a new job with openings that hold nothing yet.

    Parameters
    ----------
    facts : mapping
        Keys and values of `[job]`, `id` and `units` among them; empty values are left out.
    labels : iterable of str
        One opening each.
    wall, rule : str
        Of all openings; no rule when empty.
    """
    document = tomlkit.document()
    document.add(tomlkit.comment(FIRST_LINES))
    head = tomlkit.table()
    for key, value in facts.items():
        if value not in ("", None):
            head.add(key, value)
    document.add("job", head)
    document.add("opening", tomlkit.aot())
    for label in labels:
        add_opening(document, label, wall, rule)
    return document


def add_opening(document: tomlkit.TOMLDocument, label: str, wall: str, rule: str = "") -> None:
    """Add an opening at the end; a label that is there already is refused when the file is saved."""
    _append_table(document, "opening", {"label": label, "wall": wall, "rule": rule})


def set_facts(table: Any, facts: Mapping[str, Any]) -> None:  # noqa: ANN401 -- a table of tomlkit, which is loosely typed
    """Set keys of a table; an empty value takes its key out, one that says the same as before stays as written."""
    for key, value in facts.items():
        if value in ("", None):
            table.pop(key, None)
        elif key not in table or str(table[key]) != str(value):
            put(table, key, value)


def job_table(document: tomlkit.TOMLDocument) -> Any:  # noqa: ANN401 -- as above
    """Return the table `[job]`; InputError where there is none."""
    if "job" not in document:
        raise InputError("job-invalid", [Problem("job", "the file has no table [job]: begin it with one")])
    return document["job"]


def opening_table(document: tomlkit.TOMLDocument, label: str) -> Any:  # noqa: ANN401 -- as above
    """Return the table of an opening by its label; InputError where there is none."""
    for table in document.get("opening", []):
        if table.get("label") == label:
            return table
    raise InputError("no-such-opening", [Problem(label[:100], "the job has no such opening any more; open its page")])


def set_readings(table: Any, boxes: Mapping[str, Mapping[str, str]]) -> None:  # noqa: ANN401 -- as above
    """Set boxes of readings, `{"width": {"top": "54 3/8"}}`, in an opening or a visit; an empty text takes one out.

    The text goes in as typed. A box that is not named stays; one whose text is the same keeps its way of writing.
    """
    for group, values in boxes.items():
        _set_texts(table, group, values)


def add_visit(table: Any, by: str, on: date | None, note: str, boxes: Mapping[str, Mapping[str, str]]) -> None:  # noqa: ANN401 -- as above
    """Add a later set of readings to an opening: it replaces the boxes that it fills, the earlier stay on record."""
    _append_table(table, "visit", {"by": by, "on": on, "note": note}, boxes)


def set_ordered(table: Any, sizes: Mapping[str, str]) -> None:  # noqa: ANN401 -- as above
    """Set the size that is about to be ordered, `{"width": "55 3/8"}`, as typed; an empty text takes one out."""
    _set_texts(table, "ordered", sizes)


def _set_texts(table: Any, group: str, values: Mapping[str, str]) -> None:  # noqa: ANN401 -- as above
    """Set texts of an inner table, which is made where it is missing and taken out when nothing is left in it."""
    inner = table.get(group)
    for box, text in values.items():
        if not text.strip():
            if inner is not None:
                inner.pop(box, None)
            continue
        if inner is None:
            put(table, group, _inner_table(table))
            inner = table[group]
        if str(inner.get(box, "")) != text.strip():
            inner[box] = text.strip()
    if inner is not None and not inner:
        table.pop(group)


def put(table: Any, key: str, value: Any) -> None:  # noqa: ANN401 -- as above
    """Set a key so that plain values stand before tables: behind `[opening.width]` they would belong to that."""
    # where parts of one table stand apart in the file, tomlkit finds the place itself
    if key in table or isinstance(value, (Table, AoT)) or isinstance(table, OutOfOrderTableProxy):
        table[key] = value
        return
    inner = [(k, v) for k, v in table.items() if isinstance(v, (Table, AoT))]
    if not inner:
        table[key] = value
        return
    for k, _ in inner:
        table.remove(k)
    table[key] = value
    for k, v in inner:
        table[k] = v


def _append_table(
    parent: Any,  # noqa: ANN401 -- as above
    key: str,
    facts: Mapping[str, Any],
    boxes: Mapping[str, Mapping[str, str]] | None = None,
) -> None:
    """Append a table to a list of tables as that is written, inline or in double brackets; made where it is missing."""
    listed = parent.get(key)
    inline = isinstance(listed, Array) or (listed is None and isinstance(parent, InlineTable))
    entry = tomlkit.inline_table() if inline else tomlkit.table()
    set_facts(entry, facts)
    set_readings(entry, boxes or {})
    if listed is None:
        listed = tomlkit.array() if inline else tomlkit.aot()
        listed.append(entry)
        parent[key] = listed
    else:
        listed.append(entry)


def _inner_table(parent: Any) -> Table | InlineTable:  # noqa: ANN401 -- as above
    """Return an empty table that may stand in another."""
    return tomlkit.inline_table() if isinstance(parent, InlineTable) else tomlkit.table()
