"""What is changed on the page of a job: photos taken in and given to openings, readings, facts, new openings."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from difflib import SequenceMatcher
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route
from tomlkit import TOMLDocument

from sizing.desk.addresses import require_reachable
from sizing.desk.desk import Desk, desk_of
from sizing.desk.folder import JOB_FILE
from sizing.desk.intake_forms import address, as_is, boxes, day, faults, text
from sizing.desk.intake_photos import leave_out, require_unusable, take_photo
from sizing.desk.uploads import form_of
from sizing.errors import InputError, Problem
from sizing.jobs import edits as jobedits
from sizing.jobs.edits_of_photos import photo_files, set_photos
from sizing.jobs.edits_of_sides import BAR, OFFSET, set_bars, set_offsets
from sizing.jobs.staying import ANY, Place
from sizing.jobs.writer import ChangedUnderneath, Edit, save
from sizing.messages import intake as words

# Forms without files: a job file has at most 1 MB.
_MOST_TEXT_BYTES = 3_000_000
Change = Callable[[Desk, str, FormData], Response]
# What a page that refuses a change sends again unseen; all else can be mended there.
_HIDDEN = ("visit", "photo", "to", "also", "json")
# The place on the page where openings are added, the only one where a label can be mended.
_NEW = "new-opening"
_JOB_FACTS = ("measured_by", "tape", "graduation", "seen_from", "note")
_OPENING_FACTS = ("wall", "rule", "note")


def changed(change: Change, most_bytes: int = _MOST_TEXT_BYTES) -> Callable[[Request], Awaitable[Response]]:
    """Return the endpoint that reads a form and makes one change to a job by it."""

    async def endpoint(request: Request) -> Response:
        desk, name = desk_of(request), request.path_params["name"]
        desk.folder.job(name)
        async with form_of(request, most_bytes) as form:
            return await run_in_threadpool(change, desk, name, form)

    return endpoint


def readings(desk: Desk, name: str, form: FormData) -> Response:
    """Set the readings of an opening as typed; with `visit` they are a later set of readings."""
    label = as_is(form, "label")
    typed = boxes(form)
    later = bool(text(form, "visit"))
    named = [] if later else [("opening", label, group, box) for group, some in typed.items() for box in some]

    def edit(document: TOMLDocument) -> None:
        table = jobedits.opening_table(document, label)
        if later:
            filled = {g: {b: t for b, t in some.items() if t} for g, some in typed.items()}
            if not any(filled.values()):
                raise InputError("empty", [Problem(label, "no reading was typed: fill at least one box")])
            jobedits.add_visit(table, text(form, "by"), day(text(form, "on"), "read on"), text(form, "note"), filled)
        else:
            jobedits.set_readings(table, typed)

    return _saved(desk, name, form, edit, f"opening-{label}", named)


def job_facts(desk: Desk, name: str, form: FormData) -> Response:
    """Set what is common to all openings."""

    def edit(document: TOMLDocument) -> None:
        facts: dict[str, Any] = {key: text(form, key) for key in _JOB_FACTS if key in form}
        if "measured_on" in form:
            facts["measured_on"] = day(text(form, "measured_on"), "measured on")
        jobedits.set_facts(jobedits.job_table(document), facts)

    return _saved(
        desk, name, form, edit, "facts", [("job", key) for key in (*_JOB_FACTS, "measured_on") if key in form]
    )


def opening_facts(desk: Desk, name: str, form: FormData) -> Response:
    """Set the facts of an opening, and the size that is about to be ordered."""
    label = as_is(form, "label")

    def edit(document: TOMLDocument) -> None:
        table = jobedits.opening_table(document, label)
        jobedits.set_facts(table, {key: text(form, key) for key in _OPENING_FACTS if key in form})
        typed = {key: text(form, key) for key in form}
        set_offsets(table, typed)
        set_bars(table, typed)
        if "quantity" in form:
            jobedits.set_facts(table, {"quantity": _quantity(text(form, "quantity"))})
        jobedits.set_ordered(
            table, {k: text(form, key) for k in ("width", "height") if (key := f"ordered.{k}") in form}
        )

    named = [("opening", label, key) for key in (*_OPENING_FACTS, "quantity", OFFSET, BAR, "ordered")]
    return _saved(desk, name, form, edit, f"opening-{label}", named)


def add_opening(desk: Desk, name: str, form: FormData) -> Response:
    """Add an opening."""
    label = text(form, "label")

    def edit(document: TOMLDocument) -> None:
        require_reachable([label])
        jobedits.add_opening(document, label, text(form, "wall"), text(form, "rule"))

    return _saved(desk, name, form, edit, _NEW)


def assign(desk: Desk, name: str, form: FormData) -> Response:
    """Give a photo to an opening (`to`), or to none; with `also` it stays where else it is."""
    photo, to, also = as_is(form, "photo"), as_is(form, "to"), bool(text(form, "also"))
    desk.folder.file(name, photo)

    def edit(document: TOMLDocument) -> None:
        if to:
            jobedits.opening_table(document, to)
        for table in document["opening"]:
            files = photo_files(table)
            if table.get("label") == to:
                set_photos(table, [*files, *([] if photo in files else [photo])])
            elif not also:
                set_photos(table, [f for f in files if f != photo])

    at = f"opening-{to}" if to else "photos"
    return _saved(desk, name, form, edit, at, [("opening", ANY, "photos", photo)])


def left_out(desk: Desk, name: str, form: FormData) -> Response:
    """Take a photo that cannot be used from all openings and out of the job's photos."""
    photo, folder = as_is(form, "photo"), desk.folder.job(name)
    desk.folder.file(name, photo)
    require_unusable(folder, photo, desk.decoder)
    answer = assign(desk, name, FormData([("photo", photo), ("to", "")]))
    if answer.status_code < 400:
        leave_out(folder, photo)
    return answer


def photos(desk: Desk, name: str, form: FormData) -> Response:
    """Take in photos; each is decoded once, and one that is none is not kept."""
    folder = desk.folder.job(name)
    kept, problems = list[str](), list[str]()
    for upload in form.getlist("photos"):
        if not isinstance(upload, UploadFile) or not upload.filename:
            continue
        try:
            kept.append(take_photo(folder, upload, desk.decoder).name)
        except InputError as error:
            problems += [str(p) for p in error.problems]
    if text(form, "json"):
        return JSONResponse({"kept": kept, "problems": problems}, status_code=200 if kept or not problems else 400)
    if problems:
        more = [f"Taken in: {', '.join(kept)}."] if kept else []
        return desk.page("problem.html", 400, problems=[*problems, *more])
    return RedirectResponse(address("job", name, at="photos"), status_code=303)


def _saved(desk: Desk, name: str, form: FormData, edit: Edit, at: str, named: Sequence[Place] = ()) -> Response:
    """Save a change and show the job again at a place; or both versions where the file changed underneath."""
    file = desk.folder.job(name) / JOB_FILE
    try:
        now = save(file, edit, named=named, read_sha256=text(form, "sha256") or None)
    except ChangedUnderneath as error:
        if text(form, "json"):
            return JSONResponse({"problems": [str(error)]}, status_code=409)
        return conflict_page(desk, name, form, error)
    except InputError as error:
        problems = [f"{words.place_name(p.where.removeprefix(f'{JOB_FILE}: '))}: {p.says}" for p in error.problems]
        if text(form, "json"):
            return JSONResponse({"problems": problems}, status_code=400)
        facts = {
            "name": name,
            "at": at,
            "problems": problems,
            "again": _again(form),
            "faults": faults(error.problems, form),
            "name_of": words.field_name,
            "sha256": text(form, "sha256"),
        }
        hidden = _HIDDEN if at == _NEW else (*_HIDDEN, "label")
        return desk.page("intake_refused.html", 400, hidden=hidden, **facts)
    except OSError as error:
        problem = Problem(JOB_FILE, f"cannot be written: {error.strerror or error}; nothing was changed")
        raise InputError("cannot-write", [problem]) from None
    if text(form, "json"):
        return JSONResponse({"sha256": now.sha256})
    return RedirectResponse(address("job", name, at=at), status_code=303)


def conflict_page(desk: Desk, name: str, form: FormData, error: ChangedUnderneath) -> Response:
    """Return the page that shows the file on disk and the same with the change of a form, to choose from."""
    versions = _marked(error.on_disk.text, error.wanted)
    facts = {"name": name, "sha256": error.on_disk.sha256, "versions": versions, "again": _again(form)}
    return desk.page("intake_conflict.html", 409, **facts)


def _marked(one: str, other: str) -> list[list[tuple[str, bool]]]:
    """Return the lines of two versions, each with whether the other has it not."""
    texts = one.splitlines(), other.splitlines()
    differ: tuple[set[int], set[int]] = (set(), set())
    for kind, a0, a1, b0, b1 in SequenceMatcher(None, *texts, autojunk=False).get_opcodes():
        if kind != "equal":
            differ[0].update(range(a0, a1))
            differ[1].update(range(b0, b1))
    return [[(line, i in mine) for i, line in enumerate(text)] for text, mine in zip(texts, differ, strict=True)]


def _again(form: FormData) -> list[tuple[str, str]]:
    """Return what was typed, so that it can be sent again from the page that refused it."""
    return [(k, v) for k, v in form.multi_items() if isinstance(v, str) and k != "sha256"]


def _quantity(written: str) -> int | None:
    if not written:
        return None
    if not written.isascii() or not written.isdigit() or len(written) > 5:
        raise InputError("bad-quantity", [Problem("quantity", f"{written[:40]!r} is no whole number")])
    return int(written)


ROUTES: list[BaseRoute] = [
    Route("/job/{name:job}/readings", changed(readings), methods=["POST"]),
    Route("/job/{name:job}/facts", changed(job_facts), methods=["POST"]),
    Route("/job/{name:job}/opening-facts", changed(opening_facts), methods=["POST"]),
    Route("/job/{name:job}/openings", changed(add_opening), methods=["POST"]),
    Route("/job/{name:job}/assign", changed(assign), methods=["POST"]),
    Route("/job/{name:job}/left-out", changed(left_out), methods=["POST"]),
    Route("/job/{name:job}/photos", changed(photos, 1_000_000_000), methods=["POST"]),
]
