"""The list of jobs at this desk, and new jobs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk.addresses import require_reachable
from sizing.desk.desk import Desk, desk_of
from sizing.desk.folder import DeskFolder
from sizing.desk.intake_forms import address, choices, day, text
from sizing.desk.intake_photos import take_photo
from sizing.desk.listing import SHOWN, filtered, list_jobs
from sizing.desk.uploads import form_of
from sizing.errors import InputError, Problem
from sizing.jobs.edits import new_job
from sizing.jobs.writer import create
from sizing.messages.verdicts import LISTED_VERDICTS, NOT_CHECKED
from sizing.orders.rulefile import rule_folders, rules_in

PER_PAGE = 100
MOST_LABELS = 200
SHOWN_WORDS = {
    **LISTED_VERDICTS,
    "changed": "changed since its check",
    "unchecked": NOT_CHECKED,
    "broken": "file cannot be read",
}


def jobs(request: Request) -> Response:
    """Show the jobs of the folder, those asked for."""
    desk = desk_of(request)
    words, shown = request.query_params.get("q", "")[:200], request.query_params.get("show", "")
    found = list_jobs(desk.folder)
    counts = {key: sum(job.shown == key for job in found) for key in SHOWN}
    some = filtered(found, words, shown if shown in SHOWN else "")
    pages = max(1, -(-len(some) // PER_PAGE))
    asked = request.query_params.get("page", "1")
    page = min(max(int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 6 else 1, 1), pages)
    return desk.page(
        "jobs.html",
        jobs=some[(page - 1) * PER_PAGE : page * PER_PAGE],
        total=len(found),
        matching=len(some),
        counts=counts,
        shown_words=SHOWN_WORDS,
        q=words,
        show=shown,
        page=page,
        pages=pages,
    )


def new(request: Request) -> Response:
    """Show the form of a new job; while it is filled in the child gets ready for its check."""
    desk = desk_of(request)
    desk.runs.warm()
    return desk.page("intake_new.html", **_form_facts(desk, {}, []))


async def make(request: Request) -> Response:
    """Make a new job of the form, with its photos."""
    desk = desk_of(request)
    async with form_of(request) as form:
        return await run_in_threadpool(_made, desk, form)


def _made(desk: Desk, form: FormData) -> Response:
    given = {key: text(form, key) for key in ("id", "units", "measured_by", "tape", "graduation", "note", "labels")}
    given |= {key: text(form, key) for key in ("wall", "rule", "measured_on", "seen_from")}
    try:
        folder, problems = _new_job(desk.folder, given), list[str]()
    except InputError as error:
        problems = [f"{_key(p)}: {p.says}" for p in error.problems]
        return desk.page("intake_new.html", 400, **_form_facts(desk, given, problems))
    for upload in form.getlist("photos"):
        if isinstance(upload, UploadFile) and upload.filename:
            try:
                take_photo(folder, upload, desk.decoder)
            except InputError as error:
                problems += [str(p) for p in error.problems]
    name = desk.folder.name_of(folder)
    if problems:
        return desk.page("problem.html", 400, problems=[*problems, f"The job {name} was made without these photos."])
    return RedirectResponse(address("job", name), status_code=303)


def _new_job(desk: DeskFolder, given: dict[str, str]) -> Path:
    labels = [one.strip() for one in given["labels"].replace(";", ",").split(",") if one.strip()]
    if not labels or len(labels) > MOST_LABELS:
        raise InputError("labels", [Problem("openings", "name 1 to 200 openings, like W1, W2, W3")])
    if not given["id"]:
        raise InputError("id", [Problem("job", "give it a name, like larch-114")])
    require_reachable(labels)
    facts: dict[str, Any] = {k: given[k] for k in ("id", "units", "measured_by")}
    facts["measured_on"] = day(given["measured_on"], "measured on")
    facts |= {k: given[k] for k in ("tape", "graduation", "seen_from", "note")}
    folder = desk.new_folder(given["id"])
    create(folder, new_job(facts, labels, given["wall"], given["rule"]))
    return folder


def _key(problem: Problem) -> str:
    return problem.where.removeprefix("job.toml: ")


def _form_facts(desk: Desk, given: dict[str, str], problems: list[str]) -> dict[str, Any]:
    defaults = {"units": "in", "labels": "W1", "wall": "masonry", "tape": "unknown", "seen_from": "outside"}
    known = ("id", "units", "measured_by", "measured_on", "tape", "graduation", "note", "labels", "wall", "rule")
    values = {key: given.get(key, defaults.get(key, "")) for key in (*known, "seen_from")}
    rules = [f.rule for f in rules_in(rule_folders(desk.folder.root, top=desk.folder.root)) if f.rule is not None]
    return {"values": values, "problems": problems, "rules": rules, "choices": choices()}


ROUTES: list[BaseRoute] = [
    Route("/", jobs),
    Route("/new", new),
    Route("/new", make, methods=["POST"]),
]
