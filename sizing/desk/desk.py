"""What every page of the desk needs, as one value that hangs on the application."""

from __future__ import annotations

from dataclasses import dataclass, field

from jinja2 import Environment
from starlette.requests import Request
from starlette.responses import HTMLResponse

from sizing.desk.folder import DeskFolder
from sizing.desk.runs import Runs
from sizing.desk.tiles import Tiles
from sizing.desk.worker import Worker

# Guess: a PNG at the limit of 250 MP needs 2 GB, the libraries of the child reserve 1 GB.
DECODER_MB = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Desk:
    """What every page needs: the folder, the templates, the runs of checks, and the child that decodes photos."""

    folder: DeskFolder
    templates: Environment
    runs: Runs = field(default_factory=Runs)
    decoder: Worker = field(default_factory=lambda: Worker(memory_mb=DECODER_MB))
    tiles: Tiles = field(default_factory=Tiles)

    def page(self, template: str, status: int = 200, **facts: object) -> HTMLResponse:
        """Return a page of this desk."""
        return HTMLResponse(self.templates.get_template(template).render(**facts), status_code=status)


def desk_of(request: Request) -> Desk:
    """Return the desk that a request was made to."""
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk
