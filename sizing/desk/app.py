"""The desk as a web application: routes put together, one guard before all of them."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Mount
from starlette.staticfiles import StaticFiles

from sizing.desk import (
    boxes_page,
    intake_changes,
    intake_import,
    intake_job,
    intake_release,
    jobs_page,
    log_page,
    opening_page,
    papers_page,
    pictures_page,
)
from sizing.desk.desk import Desk, desk_of
from sizing.desk.folder import DeskFolder
from sizing.desk.guard import Guard
from sizing.desk.runs import Runs
from sizing.errors import InputError
from sizing.messages.verdicts import listed_verdict


def create_app(root: Path, token: str, port: int) -> Guard:
    """Return the desk over the folder `root`, behind its guard.

    Parameters
    ----------
    root : folder whose jobs are shown and changed; nothing outside is.
    token : of the first address.
    port : where it will listen; requests that name another are refused.
    """
    desk = Desk(DeskFolder(root.resolve()), _templates(), Runs(root.resolve()))
    app = Starlette(
        routes=[*_routes(), Mount("/static", StaticFiles(directory=str(files("sizing.desk") / "static")))],
        exception_handlers={
            InputError: _bad_input,
            OSError: _cannot_write,
            ClientDisconnect: _gone,
            404: _missing,
            Exception: _at_fault,
        },
    )
    app.state.desk = desk
    return Guard(app, token, port)


def _routes() -> list[BaseRoute]:
    # The page of a job comes last: its name may hold slashes.
    return [
        *jobs_page.ROUTES,
        *log_page.ROUTES,
        *pictures_page.ROUTES,
        *boxes_page.ROUTES,
        *opening_page.ROUTES,
        *intake_job.BEFORE,
        *intake_changes.ROUTES,
        *intake_release.ROUTES,
        *papers_page.ROUTES,
        *intake_import.ROUTES,
        *intake_job.LAST,
    ]


def _templates() -> Environment:
    templates = Environment(
        loader=PackageLoader("sizing.desk"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters["listed_verdict"] = listed_verdict
    return templates


async def _bad_input(request: Request, error: Exception) -> Response:
    assert isinstance(error, InputError)
    problems = [str(p) for p in error.problems]
    return desk_of(request).page("problem.html", 404 if error.code == "no-such-file" else 400, problems=problems)


async def _cannot_write(request: Request, error: Exception) -> Response:
    why = getattr(error, "strerror", None) or type(error).__name__
    problem = f"A file or folder could not be read or written: {why}. Free some room, or the right to write there."
    return desk_of(request).page("problem.html", 500, problems=[problem])


async def _missing(request: Request, error: Exception) -> Response:
    return desk_of(request).page("problem.html", 404, problems=["There is no such page at this desk."])


async def _gone(request: Request, error: Exception) -> Response:
    """Answer nobody: the browser broke off what it was sending, a page closed or a cable pulled."""
    return Response(status_code=400)


async def _at_fault(request: Request, error: Exception) -> Response:
    """Answer a fault of ours; Starlette raises it again afterwards, and the server writes its trace to stderr."""
    problem = (
        f"The desk could not do this, by a fault of its own ({type(error).__name__}). What happened is written where "
        "the desk was started; go back, look at the job as it is now, and try another way."
    )
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"problems": [problem]}, status_code=500)
    return desk_of(request).page("problem.html", 500, problems=[problem])
