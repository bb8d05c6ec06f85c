"""Boxes that blank out parts of pictures: faces, number plates, house numbers; in copies, never in the photos.

They stand in `blank.toml` beside the job file, or come with the command:

    [[blank]]
    photo = "w1-a.jpg"
    box = [120, 80, 400, 300]     # x0, y0, x1, y1 px of the upright photo
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tomlkit
from numpy.typing import NDArray
from tomlkit.items import AoT

from sizing.errors import InputError, Problem
from sizing.jobs.writer import alone, replace_file
from sizing.messages import report_pictures as words
from sizing.plain_toml import read_toml
from sizing.regularfile import regular_bytes, unread
from vision.photo.reading import at_read_size

FILE = "blank.toml"
_LARGEST = 1_000_000
FILL = (96, 96, 96)
_LOOKS_LIKE = '[[blank]] with photo = "w1-a.jpg" and box = [x0, y0, x1, y1], in px of the upright photo'

Pixels = NDArray[np.uint8]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Blank:
    """A box (x0, y0, x1, y1) px of an upright photo that no copy shows; `photo` as in the job file."""

    photo: str
    box_px: Box


def read_blanks(folder: Path) -> tuple[Blank, ...]:
    """Return the boxes of `blank.toml` in a job's folder; none without the file.

    Raises
    ------
    InputError
        The file cannot be read or says something else: pictures would show what they should not.
    """
    file = folder / FILE
    return _blanks_in(file) if os.path.lexists(file) else ()


def job_blanks(folder: Path, files: Iterable[str], more: Sequence[Blank] = ()) -> tuple[Blank, ...]:
    """Return the boxes of a job whose photos are `files`: `more` and those of `blank.toml`.

    Raises
    ------
    InputError
        As `read_blanks`; or a box names no photo of the job.
    """
    blanks = (*more, *read_blanks(folder))
    unknown = unknown_photos(blanks, files)
    if unknown:
        raise InputError("blank-unknown", [Problem("blank", words.unknown_blank(unknown))])
    return blanks


def add_blank(folder: Path, blank: Blank) -> None:
    """Add a box to `blank.toml` in a job's folder, which is made where missing; one that stands there stays one.

    Raises
    ------
    InputError
        The file says something else, or the box is none.
    OSError
        It cannot be written; then it is as it was.
    """

    def edit(tables: AoT) -> None:
        if blank not in [_blank(table.unwrap()) for table in tables]:
            table = tomlkit.table()
            table.add("photo", blank.photo)
            table.add("box", [int(v) if v.is_integer() else v for v in blank.box_px])
            tables.append(table)

    _changed(folder, edit)


def remove_blank(folder: Path, blank: Blank) -> None:
    """Take a box out of `blank.toml`; InputError where it is not there any more, otherwise as `add_blank`."""

    def edit(tables: AoT) -> None:
        found = [_blank(table.unwrap()) for table in tables]
        if blank not in found:
            raise InputError("no-such-box", [Problem(FILE, "this box is not there any more: open the page again")])
        del tables[found.index(blank)]

    _changed(folder, edit)


def _changed(folder: Path, edit: Callable[[AoT], None]) -> None:
    """Change the file under the job's lock, on what it says now; comments stay."""
    file = folder / FILE
    with alone(folder):
        document = tomlkit.document()
        if os.path.lexists(file):  # a link to nothing is no absent file
            _blanks_in(file)
            document = tomlkit.parse(regular_bytes(file, _LARGEST).decode("utf-8-sig"))
        tables = document.get("blank")
        if tables is None:
            document["blank"] = tables = tomlkit.aot()
        if not isinstance(tables, AoT):
            says = f"is written in a way that the desk cannot change: write {_LOOKS_LIKE}, a box each"
            raise InputError("blank-invalid", [Problem(FILE, says)])
        edit(tables)
        if not tables:
            file.unlink(missing_ok=True)
            return
        replace_file(file, tomlkit.dumps(document).encode(), _checked)


def _checked(file: Path) -> None:
    _blanks_in(file)


def _blanks_in(file: Path) -> tuple[Blank, ...]:
    try:
        data = regular_bytes(file, _LARGEST)
        raw = read_toml(data.decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError("blank-unreadable", [Problem(str(file), unread(error))]) from None
    tables = raw.get("blank")
    if set(raw) != {"blank"} or not isinstance(tables, list):
        raise InputError("blank-invalid", [Problem(str(file), f"must hold nothing but {_LOOKS_LIKE}")])
    found: list[Blank] = []
    problems: list[Problem] = []
    for i, table in enumerate(tables, start=1):
        blank = _blank(table)
        if blank is None:
            problems.append(Problem(f"{file}: blank {i}", f"must be {_LOOKS_LIKE}"))
        else:
            found.append(blank)
    if problems:
        raise InputError("blank-invalid", problems)
    return tuple(found)


def parse_blank(text: str) -> Blank:
    """Return the box of an option `PHOTO:x0,y0,x1,y1`.

    Raises
    ------
    InputError
        It says something else.

    Examples
    --------
    >>> parse_blank("w1-a.jpg:120,80,400,300").box_px
    (120.0, 80.0, 400.0, 300.0)
    """
    photo, _, numbers = text.rpartition(":")
    try:
        box: list[object] = [float(part) for part in numbers.split(",")]
    except ValueError:
        box = []
    blank = _blank({"photo": photo, "box": box})
    if blank is None:
        says = f"{text!r} is no box: write PHOTO:x0,y0,x1,y1 with x0 < x1 and y0 < y1, in px of the upright photo"
        raise InputError("blank-invalid", [Problem("--blank", says)])
    return blank


def unknown_photos(blanks: Iterable[Blank], files: Iterable[str]) -> list[str]:
    """Return the photos of boxes that are none of `files`: a slip there would leave something in view."""
    known = set(files)
    return list(dict.fromkeys(blank.photo for blank in blanks if blank.photo not in known))


def boxes_of(blanks: Iterable[Blank], photo: str) -> tuple[Box, ...]:
    """Return the boxes of one photo."""
    return tuple(blank.box_px for blank in blanks if blank.photo == photo)


def blanked(photo_rgb: Pixels, boxes: Sequence[Box], reduced: int = 1) -> Pixels:
    """Return the photo (H, W, 3) with boxes filled, the pixels on their rims too; a copy where there are boxes.

    Boxes are in pixels of the photo itself, of which `reduced` go into one of `photo_rgb`.

    Raises
    ------
    InputError
        A box that covers nothing of the photo: what it was meant to hide would be seen.
    """
    if not boxes:
        return photo_rgb
    copy = photo_rgb.copy()
    height, width = copy.shape[:2]
    for box in boxes:
        x0, y0, x1, y1 = at_read_size(box, reduced)
        left, top = max(0, math.floor(x0)), max(0, math.floor(y0))
        right, bottom = min(width, math.ceil(x1) + 1), min(height, math.ceil(y1) + 1)
        if left >= right or top >= bottom:
            raise InputError(
                "blank-outside", [Problem("blank", words.blank_outside(box, reduced * width, reduced * height))]
            )
        copy[top:bottom, left:right] = FILL
    return copy


def _blank(table: object) -> Blank | None:
    if not isinstance(table, dict) or set(table) != {"photo", "box"}:
        return None
    photo, box = table["photo"], table["box"]
    if not isinstance(photo, str) or not photo or not isinstance(box, list) or len(box) != 4:
        return None
    if not all(isinstance(v, int | float) and not isinstance(v, bool) and abs(v) < 1e6 for v in box):
        return None
    x0, y0, x1, y1 = (float(v) for v in box)
    return Blank(photo, (x0, y0, x1, y1)) if x0 < x1 and y0 < y1 else None
