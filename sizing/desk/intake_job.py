"""The page of one job: its openings, photos and readings; typed lengths said back; checks started and followed."""

from __future__ import annotations

import json

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk.desk import desk_of
from sizing.desk.intake_forms import address, choices, said_back
from sizing.desk.intake_photos import SIZES, contact_sheet, panel, picture
from sizing.desk.intake_view import job_view, unused
from sizing.desk.panels import says_of
from sizing.desk.proposing import MOST_PHOTOS, PROPOSE, comparison, proposals_shown, propose_task
from sizing.desk.running import last_result, progress, start_check
from sizing.desk.runs import CHECK
from sizing.errors import InputError, Problem
from sizing.orders.rulefile import rule_folders, rules_in

_MOST_TEXTS = 100
_MOST_LENGTH_BYTES = 100_000
_SHOWN = (CHECK, PROPOSE)
_PICTURE = {"cache-control": "no-store"}


def job_page(request: Request) -> Response:
    """Show one job."""
    desk, name = desk_of(request), request.path_params["name"]
    folder = desk.folder.job(name)
    view = job_view(name, folder, last_result(desk, name), desk.folder.root)
    photos = contact_sheet(folder, desk.decoder) if view.job is not None else ()
    desk.runs.warm()
    rules = [f.rule for f in rules_in(rule_folders(folder, top=desk.folder.root)) if f.rule is not None]
    return desk.page(
        "job.html",
        view=view,
        photos=photos,
        unused=unused(view, photos),
        rules=rules,
        choices=choices(),
        runs=[run for run in desk.runs.of(name) if run.kind in _SHOWN],
        failed=desk.runs.failed(name, _SHOWN),
        proposals=proposals_shown(desk, name, view, photos),
        **comparison(() if view.job is None else view.job.openings),
    )


def start(request: Request) -> Response:
    """Start a check of a job."""
    desk, name = desk_of(request), request.path_params["name"]
    run = start_check(desk, name)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"run": run})
    return RedirectResponse(address("job", name, at="check"), status_code=303)


def propose(request: Request) -> Response:
    """Start looking for which openings the unused photos fit."""
    desk, name = desk_of(request), request.path_params["name"]
    folder = desk.folder.job(name)
    view = job_view(name, folder, None, desk.folder.root)
    free = [p.name for p in unused(view, contact_sheet(folder, desk.decoder))][:MOST_PHOTOS]
    desk.runs.start(name, PROPOSE, propose_task, folder, tuple(free))
    return RedirectResponse(address("job", name, at="check"), status_code=303)


def run_state(request: Request) -> Response:
    """Say where a run stands, as JSON."""
    run = progress(desk_of(request), request.path_params["run"])
    facts = {"state": run.state, "says": run.says, "steps": run.steps, "seconds": round(run.seconds, 1)}
    return JSONResponse(facts | {"error": run.error, "ready": run.ready, "kind": run.kind})


def photo(request: Request) -> Response:
    """Send a photo as a picture that we encoded, of one of the sizes."""
    desk, name = desk_of(request), request.path_params["name"]
    file = request.path_params["file"]
    width = request.path_params["width"]
    if width not in SIZES:
        raise InputError("no-such-file", [Problem(str(width), "there is no picture of this size")])
    desk.folder.file(name, file)
    made = picture(desk.folder.job(name), file, width, desk.decoder)
    return Response(made, media_type="image/jpeg", headers=_PICTURE)


def panel_picture(request: Request) -> Response:
    """Send the write-in panels of the sheets in a photo."""
    desk, name = desk_of(request), request.path_params["name"]
    file = request.path_params["file"]
    desk.folder.file(name, file)
    try:
        made = panel(desk.folder.job(name), file, desk.decoder)
    except InputError as error:
        if error.code != "no-panel":
            raise
        return Response(status_code=204)  # no sheet in the photo is no fault: the page says so
    says = says_of(made)
    written = "yes" if "something" in says else "no"
    return Response(
        made, media_type="image/jpeg", headers={**_PICTURE, "x-panel-says": says, "x-panel-written": written}
    )


async def lengths(request: Request) -> Response:
    """Say typed lengths back, as JSON: `{"unit", "graduation", "texts": {box: text}}`."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _MOST_LENGTH_BYTES:
            return JSONResponse({"error": "too much text"}, status_code=413)
    try:
        asked = json.loads(body)
        texts = {str(k): str(v) for k, v in asked["texts"].items()}
        unit, graduation = asked.get("unit", "in"), str(asked.get("graduation", ""))
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return JSONResponse({"error": "not understood"}, status_code=400)
    if unit not in ("in", "mm") or len(texts) > _MOST_TEXTS:
        return JSONResponse({"error": "not understood"}, status_code=400)
    return JSONResponse(await run_in_threadpool(said_back, texts, unit, graduation))


BEFORE: list[BaseRoute] = [
    Route("/length", lengths, methods=["POST"]),
    Route("/run/{run}", run_state),
    Route("/job/{name:job}/photo/{width:int}/{file:path}", photo),
    Route("/job/{name:job}/panel/{file:path}", panel_picture),
    Route("/job/{name:job}/check", start, methods=["POST"]),
    Route("/job/{name:job}/propose", propose, methods=["POST"]),
]
# After all others: a job's name may hold slashes.
LAST: list[BaseRoute] = [Route("/job/{name:path}", job_page)]
