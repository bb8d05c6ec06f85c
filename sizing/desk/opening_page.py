"""The page of one opening: verdict, photo with corners to drag, readings, order, decision."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from jinja2 import UndefinedError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk import opening_view as view
from sizing.desk import photo_view
from sizing.desk.corner_form import click_of, points_of, require_outlines, small, turn_of
from sizing.desk.corner_moves import on_line
from sizing.desk.decide_page import decide, decision_facts
from sizing.desk.decided_view import decided_views
from sizing.desk.desk import Desk, desk_of
from sizing.desk.folder import JOB_FILE
from sizing.desk.intake_changes import conflict_page
from sizing.desk.intake_forms import address
from sizing.desk.proposing import compare_pointed, comparison, fit_said
from sizing.desk.results import LastResult
from sizing.desk.running import last_result, start_check
from sizing.desk.runs import CHECK
from sizing.desk.uploads import form_of
from sizing.errors import InputError, Problem
from sizing.jobs.edits import opening_table
from sizing.jobs.edits_of_photos import set_click, set_corners, set_reference_corners, set_turn
from sizing.jobs.file import load_job
from sizing.jobs.job import Job, Opening
from sizing.jobs.writer import ChangedUnderneath, JobText, save
from sizing.messages.pointing import no_corners_for_click

# Corners of one photo and its references, or a decision with its reason.
_MOST_BYTES = 1_000_000
_MISSHAPEN = (LookupError, TypeError, ValueError, AttributeError, ArithmeticError, UndefinedError)


@dataclass(frozen=True, slots=True)
class Asked:
    """An opening of a job as asked for: its name at the desk, the job as it is on disk, and its last check."""

    name: str
    job: Job
    opening: Opening
    last: LastResult | None

    @property
    def found(self) -> Mapping[str, Any] | None:
        """Return the opening's element of the last result, None before the first check."""
        return None if self.last is None else self.last.opening(self.opening.label)


def show(request: Request) -> Response:
    """Show the page of an opening."""
    desk = desk_of(request)
    asked = opening_asked(desk, request)
    number = request.query_params.get("photo", "")
    try:
        best = str(photo_view.telling_photo(asked.opening, asked.found))
        return desk.page("opening.html", **_facts(desk, asked, photo_number(number or best, asked.opening)))
    except _MISSHAPEN:  # a result that no check of ours wrote: the job file is the truth, the result can be made anew
        bare = replace(asked, last=None)
        return desk.page("opening.html", **_facts(desk, bare, photo_number(number, asked.opening)))


def warm(request: Request) -> Response:
    """Make the checking child ready while somebody looks at the page: its first check is then not kept waiting."""
    desk_of(request).runs.warm()
    return Response(status_code=204)


async def change(request: Request) -> Response:
    """Do what a form of the page asks for: check, save corners, take another line, decide."""
    desk = desk_of(request)
    async with form_of(request, _MOST_BYTES, most_files=0) as form:
        return await run_in_threadpool(_changed, desk, request, form)


def _changed(desk: Desk, request: Request, form: FormData) -> Response:
    as_json = "application/json" in request.headers.get("accept", "")
    asked = opening_asked(desk, request)
    try:
        return _done(desk, asked, form, as_json=as_json)
    except ChangedUnderneath as error:
        if not as_json:
            return conflict_page(desk, asked.name, form, error)
        problems, status = [str(error)], 409
    except InputError as error:
        problems, status = [p.says if p.where == "corners" else str(p) for p in error.problems], 400
    except OSError as error:
        says = f"{JOB_FILE} cannot be written: {error.strerror or error}; nothing was changed"
        problems, status = [says], 500
    if as_json:
        return JSONResponse({"problems": problems}, status_code=status)
    return desk.page("problem.html", status, problems=problems)


def _done(desk: Desk, asked: Asked, form: FormData, *, as_json: bool) -> Response:
    here = address("job", asked.name, "opening") + "/" + _quoted(asked.opening.label)
    does, sha256 = str(form.get("do", "")), ""
    if does == "decide":
        decide(asked.job, asked.opening, asked.found, form, desk.folder.root)
        return RedirectResponse(here + "#decision", status_code=303)
    if does in ("corners", "line"):
        sha256 = _pointed(desk, asked, form, does).sha256
    elif does != "check":
        raise InputError("bad-form", [Problem("do", "this page knows no such change; open it again")])
    # the page draws over the photo itself, and the next corner need not wait for pictures
    run = start_check(desk, asked.name, pictures=False)
    # pointed at anew: what was said before of which opening's readings the photo fits holds no more
    then = ""
    if does != "check" and comparison(asked.job.openings)["comparable"]:
        file = asked.opening.photos[photo_number(str(form.get("number", "0")), asked.opening)].file
        if not fit_said(desk, asked.name, file, load_job(asked.job.file).openings):
            then = compare_pointed(desk, asked.name, file)
    if as_json:
        return JSONResponse({"run": run, "sha256": sha256, "then": then})
    number = photo_number(str(form.get("number", "0")), asked.opening)
    return RedirectResponse(f"{here}?photo={number}", status_code=303)


def _facts(desk: Desk, asked: Asked, shown: int) -> dict[str, Any]:
    job, opening, found = asked.job, asked.opening, asked.found
    labels = [o.label for o in job.openings]
    at = labels.index(opening.label)
    verdicts = {o["label"]: o["verdict"] for o in (asked.last.document["openings"] if asked.last else ())}
    people = decided_views(job, asked.last, desk.folder.root)
    photo: dict[str, Any] | None = None
    if opening.photos:
        photo = {
            "tabs": photo_view.photo_tabs(opening, found, shown),
            "drawing": photo_view.drawing(opening, found, shown, job.units),
            "corners": photo_view.corner_facts(opening, found, shown),
            "lines": photo_view.line_choices(opening, found, shown, job.units),
            "measured": bool(found and found.get("measures")),
            "fit": fit_said(desk, asked.name, opening.photos[shown].file, job.openings),
        }
    goes_on = [run for run in desk.runs.of(asked.name) if run.kind == CHECK and not run.ready]
    return {
        "job": asked.name,
        "job_id": job.id,
        "sha256": job.sha256,
        "label": opening.label,
        "note": opening.note,
        "wall": opening.wall,
        "others": [
            {"label": name, "verdict": verdicts.get(name, "none"), "at": _quoted(name), "decided": people[name]}
            for name in labels
        ],
        "before": _quoted(labels[at - 1]) if at else "",
        "after": _quoted(labels[at + 1]) if at + 1 < len(labels) else "",
        "at": _quoted(opening.label),
        "verdict": view.verdict_facts(found, asked.last),
        "rows": view.reading_rows(found, job.units),
        "unexplained": view.unexplained_lines(found),
        "tolerance": view.tolerance_says(found, job.units),
        "further": view.further_rows(found, job.units),
        "budget": view.budget_rows(found, job.units),
        "warnings": view.warning_lines(found),
        "order": view.order_facts(found, job.units),
        "request": str((found or {}).get("request") or ""),
        "photo": photo,
        "decision": decision_facts(job, opening, found, desk.folder.root),
        "decided": people[opening.label],
        "run": goes_on[-1].id if goes_on else "",
    }


def _pointed(desk: Desk, asked: Asked, form: FormData, does: str) -> JobText:
    """Save the corners of a form, or those that follow from another line, in the job file."""
    opening = asked.opening
    number = photo_number(str(form.get("number", "0")), opening)
    entry = opening.photos[number]
    references: list[list[tuple[float, float]]] | None = None
    corners: list[tuple[float, float]] | None
    trace, click_px = True, click_of(form, entry.click_px)
    if does == "line":
        corners, turn = _by_line(desk, asked, number, form)
    else:
        corners, turn = points_of(form, "c", 4), turn_of(form)
        trace = "as_clicked" not in form
        count = form.get("reference_count")
        if count is not None:
            references = [q for q in (points_of(form, f"r{i}", 4) for i in range(small(str(count)))) if q is not None]

    require_outlines(corners, references or [])
    if click_px != entry.click_px and corners is None and not references:
        raise InputError("bad-corner", [Problem("corners", no_corners_for_click())])

    def edit(document: Any) -> None:  # noqa: ANN401 -- a document of tomlkit
        table = opening_table(document, opening.label)
        if corners is not None or entry.corners_px is not None:
            set_corners(table, entry.file, corners, trace=trace, number=number)
        if references is not None and (references or entry.reference_corners_px):
            set_reference_corners(table, entry.file, references, number=number)
        if turn != entry.turn and corners is not None:
            set_turn(table, entry.file, turn, number=number)
        if click_px != entry.click_px:
            set_click(table, entry.file, click_px, number=number)

    photo = ("opening", opening.label, "photos", entry.file)
    named = [(*photo, key) for key in ("corners", "trace", "reference_corners", "turn", "click_px")]
    return save(asked.job.file, edit, named=named, read_sha256=str(form.get("sha256", "")))


def _by_line(desk: Desk, asked: Asked, number: int, form: FormData) -> tuple[list[tuple[float, float]], int]:
    """Return the corners for a side put on another line, px of the file, and the turn that they are for."""
    facts = photo_view.corner_facts(asked.opening, asked.found, number)
    rivals = photo_view.rival_lines(asked.opening, asked.found, number)
    side, shift = str(form.get("side", "")), str(form.get("shift_mm", ""))
    line = next((r["ends_px"] for r in rivals if r["side"] == side and str(r["shift_mm"]) == shift), None)
    found = facts["found"]
    if line is None or len(found) != 4 or any(None in p for p in [*found, *line]):
        raise InputError("no-such-line", [Problem("line", "is not there any more: open the page again")])
    entry = asked.opening.photos[number]
    pyramid = desk.tiles.pyramid(entry.path, facts["turn"], desk.decoder)
    moved = on_line([(p[0], p[1]) for p in found], side, ((line[0][0], line[0][1]), (line[1][0], line[1][1])))
    r = pyramid.reduced
    return [((x + 0.5) * r - 0.5, (y + 0.5) * r - 0.5) for x, y in moved], facts["turn"]


def photo_number(text: str, opening: Opening) -> int:
    """Return the number of a photo as asked for, 0 where the opening has no such one."""
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0
    return number if number < len(opening.photos) else 0


def _quoted(label: str) -> str:
    from urllib.parse import quote

    return quote(label, safe="")


def opening_asked(desk: Desk, request: Request) -> Asked:
    """Return job and opening of an address; InputError where there is none of that name."""
    name, label = request.path_params["job"], request.path_params["label"]
    job = load_job(desk.folder.job(name) / JOB_FILE)
    opening = next((o for o in job.openings if o.label == label), None)
    if opening is None:
        raise InputError("no-such-file", [Problem(label[:100], "there is no such opening at this desk")])
    return Asked(name, job, opening, last_result(desk, name))


ROUTES: list[BaseRoute] = [
    Route("/warm", warm),
    Route("/job/{job:job}/opening/{label:path}", show),
    Route("/job/{job:job}/opening/{label:path}", change, methods=["POST"]),
]
