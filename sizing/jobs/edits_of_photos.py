"""What a page changes of an opening's photos: which they are, what is pointed at in them, what is in the way."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array

from sizing.errors import InputError, Problem
from sizing.jobs.edits import put

Quadrilateral = Sequence[Sequence[float]]


def set_photos(table: Any, files: Sequence[str]) -> None:  # noqa: ANN401 -- a table of tomlkit, loosely typed
    """Set which photos an opening has, in this order; what is told of a photo that stays is kept with it.

    The list is changed in place, since comments stand in it; only one beside a photo that is taken out goes with it.
    """
    photos = table.get("photos")
    if photos is None:
        if files:
            put(table, "photos", tomlkit.item(list(files)))
        return
    over = Counter(photo_files(table)) - Counter(files)
    for i in range(len(photos) - 1, -1, -1):
        if over[file := _file_of(photos[i])]:
            over[file] -= 1
            del photos[i]
    for i, file in enumerate(files):
        at = next((j for j in range(i, len(photos)) if _file_of(photos[j]) == file), None)
        if at != i:
            entry = _new_photo(photos, file) if at is None else photos[at]
            if at is not None:
                del photos[at]
            photos.insert(i, entry)
    if not photos and "#" not in photos.as_string():
        table.pop("photos")


def photo_files(table: Any) -> list[str]:  # noqa: ANN401 -- as above
    """Return the files of an opening's photos, in their order."""
    return [_file_of(entry) for entry in table.get("photos", [])]


def set_corners(
    table: Any,  # noqa: ANN401 -- as above
    file: str,
    corners_px: Quadrilateral | None,
    *,
    trace: bool = True,
    number: int | None = None,
) -> None:
    """Set the four corners of the opening in one of its photos, px to a tenth; None takes them out.

    Parameters
    ----------
    trace : bool
        Whether the sides are traced from there; false: the corners stand as clicked.
    number : int, optional
        Which photo of the opening is meant, from 0, where a file is listed more than once; else the first.
    """
    entry = _photo_table(table, file, number)
    if corners_px is None:
        entry.pop("corners", None)
        entry.pop("trace", None)
        return
    put(entry, "corners", _points(corners_px))
    if trace:
        entry.pop("trace", None)
    else:
        put(entry, "trace", value=False)


def set_click(table: Any, file: str, click_px: float, *, number: int | None = None) -> None:  # noqa: ANN401 -- as above
    """Set how exactly the corners of one of an opening's photos were put, px a coordinate; `number` as for these."""
    whole = float(click_px).is_integer()
    put(_photo_table(table, file, number), "click_px", int(click_px) if whole else float(click_px))


def set_turn(table: Any, file: str, turn: int, *, number: int | None = None) -> None:  # noqa: ANN401 -- as above
    """Set by how much one of an opening's photos is turned, degrees; `number` as for its corners."""
    put(_photo_table(table, file, number), "turn", turn)


def set_reference_corners(
    table: Any,  # noqa: ANN401 -- as above
    file: str,
    quads_px: Sequence[Quadrilateral],
    *,
    number: int | None = None,
) -> None:
    """Set the corners of the pages or cards in one of an opening's photos, px; an empty list takes them out.

    `number` as for the opening's corners.
    """
    entry = _photo_table(table, file, number)
    if not quads_px:
        entry.pop("reference_corners", None)
        return
    outer = tomlkit.array()
    for quad in quads_px:
        outer.append(_points(quad))
    put(entry, "reference_corners", outer)


def add_obstacle(table: Any, what: str, file: str, box_px: Sequence[float]) -> None:  # noqa: ANN401 -- as above
    """Add an obstacle, outlined by a box (x0, y0, x1, y1) px in one of an opening's photos."""
    if file not in photo_files(table):
        raise InputError("no-such-photo", [Problem(file[:100], "is none of the opening's photos any more")])
    things = table.get("obstacles")
    thing = tomlkit.table() if isinstance(things, AoT) else tomlkit.inline_table()
    for key, value in (("what", what), ("photo", file), ("box", [to_tenth(v) for v in box_px])):
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


def _photo_table(table: Any, file: str, number: int | None) -> Any:  # noqa: ANN401 -- as above
    """Return the table of a photo; a bare name becomes one."""
    photos = table.get("photos", [])
    found = [i for i, entry in enumerate(photos) if _file_of(entry) == file]
    if not found:
        problem = Problem(file[:100], "is none of the opening's photos any more; open its page")
        raise InputError("no-such-photo", [problem])
    at = number if number in found else found[0]
    if not isinstance(photos[at], Mapping):
        inline = tomlkit.inline_table()
        inline["file"] = file
        photos[at] = inline
    return photos[at]


def _new_photo(photos: Any, file: str) -> Any:  # noqa: ANN401 -- as above
    """Return what a list of photos holds for one more: its name, or a table where it is `[[opening.photos]]`."""
    if not isinstance(photos, AoT):
        return file
    entry = tomlkit.table()
    entry.add("file", file)
    return entry


def _file_of(entry: Any) -> str:  # noqa: ANN401 -- as above
    return str(entry.get("file") if isinstance(entry, Mapping) else entry)


def _points(points_px: Quadrilateral) -> Array:
    array = tomlkit.array()
    for x, y in points_px:
        array.append("-" if math.isnan(x) else [to_tenth(x), to_tenth(y)])  # a corner out of view
    return array


def to_tenth(px: float) -> int | float:
    """Return pixels to a tenth, whole ones without their point."""
    tenth = round(float(px), 1)
    return int(tenth) if tenth.is_integer() else tenth
