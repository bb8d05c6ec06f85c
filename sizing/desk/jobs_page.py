"""The list of jobs at this desk."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from sizing.desk.app import desk_of


async def jobs(request: Request) -> Response:
    """Show all jobs of the folder."""
    desk = desk_of(request)
    return desk.page("jobs.html", jobs=desk.folder.jobs())


ROUTES: list[BaseRoute] = [Route("/", jobs)]
