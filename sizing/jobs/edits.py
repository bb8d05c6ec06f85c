"""What a page changes in a job file: functions over its document that leave everything else as it was written."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, InlineTable, Table

from sizing.errors import InputError, Problem

BOXES = {"width": ("top", "middle", "bottom"), "height": ("left", "middle", "right"), "diagonal": ("down", "up")}
FIRST_LINES = "Written by the desk; edit it freely, comments stay."
Quadrilateral = Sequence[Sequence[float]]


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
    openings = tomlkit.aot()
    for label in labels:
        openings.append(_new_opening(label, wall, rule))
    document.add("opening", openings)
    return document


def add_opening(document: tomlkit.TOMLDocument, label: str, wall: str, rule: str = "") -> None:
    """Add an opening at the end; a label that is there already is refused when the file is saved."""
    openings = document.get("opening")
    if not isinstance(openings, AoT):
        openings = tomlkit.aot()
        document["opening"] = openings
    openings.append(_new_opening(label, wall, rule))


def set_facts(table: Any, facts: Mapping[str, Any]) -> None:  # noqa: ANN401 -- a table of tomlkit, which is loosely typed
    """Set keys of a table; an empty value takes its key out, one that says the same as before stays as written."""
    for key, value in facts.items():
        if value in ("", None):
            table.pop(key, None)
        elif key not in table or str(table[key]) != str(value):
            put(table, key, value)


def job_table(document: tomlkit.TOMLDocument) -> Any:  # noqa: ANN401 -- as above
    """Return the table `[job]`."""
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
    visit = tomlkit.table()
    set_facts(visit, {"by": by, "on": on, "note": note})
    set_readings(visit, boxes)
    visits = table.get("visit")
    if not isinstance(visits, AoT):
        visits = tomlkit.aot()
        visits.append(visit)
        table["visit"] = visits
    else:
        visits.append(visit)


def set_photos(table: Any, files: Sequence[str]) -> None:  # noqa: ANN401 -- as above
    """Set which photos an opening has, in this order; what is told of a photo that stays is kept with it."""
    before = {_file_of(entry): entry for entry in table.get("photos", [])}
    if list(before) == list(files):
        return
    if not files:
        table.pop("photos", None)
        return
    photos = tomlkit.array()
    for file in files:
        photos.append(before.get(file, file))
    put(table, "photos", photos)


def photo_files(table: Any) -> list[str]:  # noqa: ANN401 -- as above
    """Return the files of an opening's photos, in their order."""
    return [_file_of(entry) for entry in table.get("photos", [])]


def set_ordered(table: Any, sizes: Mapping[str, str]) -> None:  # noqa: ANN401 -- as above
    """Set the size that is about to be ordered, `{"width": "55 3/8"}`, as typed; an empty text takes one out."""
    _set_texts(table, "ordered", sizes)


def set_corners(table: Any, file: str, corners_px: Quadrilateral | None, *, trace: bool = True) -> None:  # noqa: ANN401 -- as above
    """Set the four corners of the opening in one of its photos, px to a tenth; None takes them out.

    Parameters
    ----------
    trace : bool
        Whether the sides are traced from there; false: the corners stand as clicked.
    """
    entry = _photo_table(table, file)
    if corners_px is None:
        entry.pop("corners", None)
        entry.pop("trace", None)
        return
    entry["corners"] = _points(corners_px)
    if trace:
        entry.pop("trace", None)
    else:
        entry["trace"] = False


def set_reference_corners(table: Any, file: str, quads_px: Sequence[Quadrilateral]) -> None:  # noqa: ANN401 -- as above
    """Set the corners of the pages or cards in one of an opening's photos, px; an empty list takes them out."""
    entry = _photo_table(table, file)
    if not quads_px:
        entry.pop("reference_corners", None)
        return
    outer = tomlkit.array()
    for quad in quads_px:
        outer.append(_points(quad))
    entry["reference_corners"] = outer


def add_obstacle(table: Any, what: str, file: str, box_px: Sequence[float]) -> None:  # noqa: ANN401 -- as above
    """Add an obstacle, outlined by a box (x0, y0, x1, y1) px in one of an opening's photos."""
    if file not in photo_files(table):
        raise InputError("no-such-photo", [Problem(file[:100], "is none of the opening's photos any more")])
    things = table.get("obstacles")
    thing = tomlkit.table() if isinstance(things, AoT) else tomlkit.inline_table()
    for key, value in (("what", what), ("photo", file), ("box", [_px(v) for v in box_px])):
        thing.add(key, value)
    if things is None:
        array = tomlkit.array()
        array.append(thing)
        put(table, "obstacles", array)
    else:
        things.append(thing)


def remove_obstacle(table: Any, number: int) -> None:  # noqa: ANN401 -- as above
    """Take out an obstacle by its number from 0; InputError where there is none."""
    things = table.get("obstacles", [])
    if not 0 <= number < len(things):
        raise InputError("no-such-obstacle", [Problem("obstacles", "this one is not there any more: open the page")])
    if len(things) == 1:
        table.pop("obstacles")
    else:
        del things[number]


def _set_texts(table: Any, group: str, values: Mapping[str, str]) -> None:  # noqa: ANN401 -- as above
    """Set texts of an inner table, which is made where it is missing and taken out when nothing is left in it."""
    inner = table.get(group)
    for box, text in values.items():
        if not text.strip():
            if inner is not None:
                inner.pop(box, None)
            continue
        if inner is None:
            put(table, group, tomlkit.table())
            inner = table[group]
        if str(inner.get(box, "")) != text.strip():
            inner[box] = text.strip()
    if inner is not None and not inner:
        table.pop(group)


def _new_opening(label: str, wall: str, rule: str) -> Table:
    table = tomlkit.table()
    set_facts(table, {"label": label, "wall": wall, "rule": rule})
    return table


def put(table: Any, key: str, value: Any) -> None:  # noqa: ANN401 -- as above
    """Set a key so that plain values stand before tables: behind `[opening.width]` they would belong to that."""
    if key in table or isinstance(value, (Table, AoT)):
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


def _photo_table(table: Any, file: str) -> Any:  # noqa: ANN401 -- as above
    """Return the inline table of a photo; a bare name becomes one."""
    photos = table.get("photos", [])
    for i, entry in enumerate(photos):
        if _file_of(entry) == file:
            if not isinstance(entry, InlineTable):
                inline = tomlkit.inline_table()
                inline["file"] = file
                photos[i] = inline
            return photos[i]
    raise InputError("no-such-photo", [Problem(file[:100], "is none of the opening's photos any more; open its page")])


def _file_of(entry: Any) -> str:  # noqa: ANN401 -- as above
    return str(entry.get("file") if isinstance(entry, Mapping) else entry)


def _points(points_px: Quadrilateral) -> Array:
    array = tomlkit.array()
    for x, y in points_px:
        array.append("-" if math.isnan(x) else [_px(x), _px(y)])  # a corner out of view
    return array


def _px(value: float) -> int | float:
    tenth = round(float(value), 1)
    return int(tenth) if tenth.is_integer() else tenth
