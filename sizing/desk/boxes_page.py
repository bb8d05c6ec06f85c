"""Boxes drawn over an opening's photo: what stands in the way of the product, and what no copy may show."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route
from tomlkit import TOMLDocument

from sizing.desk import photo_view
from sizing.desk.desk import Desk, desk_of
from sizing.desk.intake_changes import conflict_page
from sizing.desk.intake_forms import address, as_is, text
from sizing.desk.opening_page import Asked, opening_asked, photo_number
from sizing.desk.uploads import form_of
from sizing.errors import InputError, Problem
from sizing.jobs.edits import opening_table
from sizing.jobs.edits_of_photos import add_obstacle, remove_obstacle
from sizing.jobs.writer import ChangedUnderneath, save
from sizing.pictures.blanking import Blank, Box, add_blank, read_blanks, remove_blank

_MOST_BYTES = 100_000
_MOST_CHARACTERS = 100
ENDS = ("x0", "y0", "x1", "y1")
END_NAMES = ("left edge", "top edge", "right edge", "bottom edge")
_SUGGESTED = ("downpipe", "lamp", "handle", "meter box", "cable", "vent", "sill", "bell push")


def show(request: Request) -> Response:
    """Show the photo with its boxes, their list, and the form of a new one."""
    desk = desk_of(request)
    asked = opening_asked(desk, request)
    number = request.query_params.get("photo", str(photo_view.telling_photo(asked.opening, asked.found)))
    return _page(desk, asked, photo_number(number, asked.opening))


async def change(request: Request) -> Response:
    """Add a box or take one out."""
    desk = desk_of(request)
    async with form_of(request, _MOST_BYTES) as form:
        return await run_in_threadpool(_changed, desk, request, form)


def _changed(desk: Desk, request: Request, form: FormData) -> Response:
    asked = opening_asked(desk, request)
    number = photo_number(text(form, "number"), asked.opening)
    try:
        does = {"add": _added, "remove-obstacle": _obstacle_removed, "remove-blank": _blank_removed}
        does.get(text(form, "do"), _unknown)(desk, asked, number, form)
    except ChangedUnderneath as error:
        return conflict_page(desk, asked.name, form, error)
    except InputError as error:
        return _page(desk, asked, number, form, [str(p) for p in error.problems], 400)
    here = address("job", asked.name, "opening") + f"/{quote(asked.opening.label, safe='')}/boxes"
    return RedirectResponse(f"{here}?photo={number}#boxes", status_code=303)


def _added(desk: Desk, asked: Asked, number: int, form: FormData) -> None:
    if not asked.opening.photos:
        raise InputError("no-photo", [Problem(asked.opening.label, "has no photo to draw on")])
    box = _box(form)
    file = asked.opening.photos[number].file
    width, height = _size_px(desk, asked, number)
    if box[2] <= 0 or box[3] <= 0 or box[0] >= width - 1 or box[1] >= height - 1:
        says = f"lies outside of the photo, which is {width} x {height} px: draw it anew"
        raise InputError("box-outside", [Problem("box", says)])
    if text(form, "kind") == "blank":
        add_blank(asked.job.folder, Blank(file, box))
        return
    if text(form, "kind") != "obstacle":
        raise InputError("bad-form", [Problem("kind", "choose what the box is for")])
    what = text(form, "what")
    if not what or len(what) > _MOST_CHARACTERS:
        says = f"say what stands there, like downpipe or lamp, in up to {_MOST_CHARACTERS} characters"
        raise InputError("what", [Problem("what is it", says)])

    def edit(document: TOMLDocument) -> None:
        add_obstacle(opening_table(document, asked.opening.label), what, file, box)

    save(asked.job.file, edit, read_sha256=text(form, "sha256"))


def _obstacle_removed(desk: Desk, asked: Asked, number: int, form: FormData) -> None:
    at = text(form, "at")
    which = int(at) if at.isascii() and at.isdigit() and len(at) < 5 else -1

    def edit(document: TOMLDocument) -> None:
        remove_obstacle(opening_table(document, asked.opening.label), which)

    named = [("opening", asked.opening.label, "obstacles")]
    save(asked.job.file, edit, named=named, read_sha256=text(form, "sha256"))


def _blank_removed(desk: Desk, asked: Asked, number: int, form: FormData) -> None:
    remove_blank(asked.job.folder, Blank(as_is(form, "photo"), _box(form)))


def _unknown(desk: Desk, asked: Asked, number: int, form: FormData) -> None:
    raise InputError("bad-form", [Problem("do", "this page knows no such change; open it again")])


def _box(form: FormData) -> Box:
    ends, problems = list[float](), list[Problem]()
    for key, name in zip(ENDS, END_NAMES, strict=True):
        try:
            ends.append(round(float(text(form, key)), 1))
        except ValueError:
            ends.append(math.nan)
        if not abs(ends[-1]) < 1e6:
            problems.append(Problem(name, "needs a number, in pixels of the photo: draw the box or type it"))
    if problems:
        raise InputError("bad-box", problems)
    if not (ends[0] < ends[2] and ends[1] < ends[3]):
        says = "the left edge must be less than the right, the top edge less than the bottom"
        raise InputError("bad-box", [Problem("box", says)])
    return ends[0], ends[1], ends[2], ends[3]


def _size_px(desk: Desk, asked: Asked, number: int) -> tuple[int, int]:
    """Return width and height of a photo, px of its own size: boxes are kept in these."""
    turn = photo_view.corner_facts(asked.opening, asked.found, number)["turn"]
    shown = desk.tiles.pyramid(asked.opening.photos[number].path, turn, desk.decoder)
    return shown.reduced * shown.size_px[0], shown.reduced * shown.size_px[1]


def _page(
    desk: Desk,
    asked: Asked,
    number: int,
    form: FormData | None = None,
    problems: Sequence[str] = (),
    status: int = 200,
) -> Response:
    opening = asked.opening
    blanks, unreadable = _blanks(asked)
    photo = _photo_facts(asked, number, blanks) if opening.photos else None
    given = {key: "" if form is None else text(form, key) for key in (*ENDS, "what", "kind")}
    files = {entry.file: i for i, entry in enumerate(opening.photos)}
    return desk.page(
        "boxes.html",
        status,
        job=asked.name,
        job_id=asked.job.id,
        at=quote(opening.label, safe=""),
        sha256=asked.job.sha256,
        label=opening.label,
        photo=photo,
        measured=bool(asked.found and asked.found.get("measures")),
        obstacles=[
            {"at": i, "what": o.what, "photo": o.photo, "number": files.get(o.photo, 0), "box": _around(o.outline_px)}
            for i, o in enumerate(opening.obstacles)
        ],
        blanks=[
            {"photo": b.photo, "number": files[b.photo], "box": [_short(v) for v in b.box_px]}
            for b in blanks
            if b.photo in files
        ],
        given=given,
        problems=problems,
        unreadable=unreadable,
        ends=list(zip(ENDS, END_NAMES, strict=True)),
        suggested=_SUGGESTED,
    )


def _photo_facts(asked: Asked, number: int, blanks: Sequence[Blank]) -> dict[str, Any]:
    """Return what the page shows of a photo: its sides, and the shapes of obstacles and of what is blanked out."""
    opening = asked.opening
    file = opening.photos[number].file
    drawn = photo_view.drawing(opening, asked.found, number, asked.job.units)
    return {
        "file": file,
        "number": number,
        "turn": photo_view.corner_facts(opening, asked.found, number)["turn"],
        "size": drawn["size"],
        "tabs": photo_view.photo_tabs(opening, asked.found, number),
        "sides": drawn["sides"],
        "shapes": [
            {"kind": "obstacle", "says": o.what, "points": _points(o.outline_px), "at": _corner(o.outline_px)}
            for o in opening.obstacles
            if o.photo == file
        ]
        + [
            {"kind": "blank", "says": "blanked out", "points": _points(_ends(b)), "at": _corner(_ends(b))}
            for b in blanks
            if b.photo == file
        ],
    }


def _blanks(asked: Asked) -> tuple[tuple[Blank, ...], list[str]]:
    """Return the boxes that blank out, or why they cannot be read."""
    try:
        return read_blanks(asked.job.folder), []
    except InputError as error:
        return (), [str(p).replace(f"{asked.job.folder}/", "") for p in error.problems]


def _ends(blank: Blank) -> Sequence[tuple[float, float]]:
    x0, y0, x1, y1 = blank.box_px
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)


def _around(outline_px: Sequence[tuple[float, float]]) -> list[float]:
    xs, ys = [p[0] for p in outline_px], [p[1] for p in outline_px]
    return [_short(v) for v in (min(xs), min(ys), max(xs), max(ys))]


def _corner(outline_px: Sequence[tuple[float, float]]) -> list[float]:
    return _around(outline_px)[:2]


def _points(outline_px: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x},{y}" for x, y in outline_px)


def _short(value: float) -> float:
    return int(value) if float(value).is_integer() else round(float(value), 1)


ROUTES: list[BaseRoute] = [
    Route("/job/{job:job}/opening/{label:path}/boxes", show),
    Route("/job/{job:job}/opening/{label:path}/boxes", change, methods=["POST"]),
]
