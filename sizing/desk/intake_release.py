"""The release page of a job: what may be ordered, and only that, handed over as files; earlier releases."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk.desk import Desk, desk_of
from sizing.desk.intake_changes import changed
from sizing.desk.intake_forms import address, text
from sizing.desk.intake_view import job_view
from sizing.desk.running import checked_and_kept, last_result
from sizing.desk.worker import Say
from sizing.errors import InputError, Problem
from sizing.messages.release import altered
from sizing.regularfile import regular_bytes
from sizing.release.handover import altered_files
from sizing.runs.runfolder import FOLDER

RELEASE = "release"
_NUMBER = re.compile(r"[0-9a-f]{12}")
_KINDS = {
    "release.pdf": "application/pdf",
    "release.csv": "text/csv; charset=utf-8",
    "release.json": "application/json",
}
_LARGEST = 10_000_000
_LINE = {"opening", "quantity", "width", "height", "released_by", "decided_by", "reason"}


def release_page(request: Request) -> Response:
    """Show what was released, and the form to release."""
    desk, name = desk_of(request), request.path_params["name"]
    folder = desk.folder.job(name)
    ended = desk.runs.ended(name, RELEASE)[-1:]
    return desk.page(
        "intake_release.html",
        view=job_view(name, folder, last_result(desk, name), desk.folder.root),
        runs=[r for r in desk.runs.of(name) if r.kind == RELEASE],
        outcome=ended[0].answer if ended else None,
        earlier=releases(folder),
    )


def hand_over_now(desk: Desk, name: str, form: FormData) -> Response:
    """Check the job anew and hand over what of the chosen openings may be ordered."""
    labels = tuple(str(label) for label in form.getlist("opening"))
    if not labels:
        raise InputError("no-opening", [Problem("release", "choose at least one opening")])
    paper = "a4" if text(form, "paper") == "a4" else "letter"
    desk.runs.start(name, RELEASE, release_task, desk.folder.job(name), labels, paper)
    return RedirectResponse(address("job", name, "release"), status_code=303)


def download(request: Request) -> Response:
    """Send a file of a release."""
    desk, name = desk_of(request), request.path_params["name"]
    number, file = request.path_params["number"], request.path_params["file"]
    if not _NUMBER.fullmatch(number) or file not in _KINDS:
        raise InputError("no-such-file", [Problem(f"{number[:40]}/{file[:40]}", "there is no such file of a release")])
    path = desk.folder.file(name, f"{FOLDER}/release-{number}/{file}")
    for known in releases(desk.folder.job(name)):
        if known["release"] == number and file in known["altered"]:
            raise InputError("release-altered", [Problem(name, altered(path.parent, known["altered"]))])
    says = f'attachment; filename="release-{number}{path.suffix}"'
    return Response(path.read_bytes(), media_type=_KINDS[file], headers={"content-disposition": says})


def releases(folder: Path) -> list[Mapping[str, Any]]:
    """Return the releases in a job's folder, newest first, each with those of its files that were `altered` since."""
    found = []
    for path in (folder / FOLDER).glob("release-*/release.json"):
        try:
            document = json.loads(regular_bytes(path, _LARGEST))
        except (OSError, ValueError, RecursionError):
            continue
        if _shown(document) and f"release-{document['release']}" == path.parent.name:
            found.append(document | {"altered": altered_files(path.parent, document)})
    return sorted(found, key=lambda d: str(d.get("released_at")), reverse=True)


def _shown(document: object) -> bool:
    """Return whether a file is a release as the page shows it: another program, or a hand, may have written it."""
    if not isinstance(document, dict) or not {"release", "released_at", "released", "not_released"} <= set(document):
        return False
    rows = [(document["released"], _LINE), (document["not_released"], {"opening", "says"})]
    return isinstance(document["released_at"], str) and all(
        isinstance(lines, list)
        and all(isinstance(x, dict) and keys <= set(x) and isinstance(x.get("notes", []), list) for x in lines)
        for lines, keys in rows
    )


def release_task(folder: Path, labels: tuple[str, ...], paper: Any, *, say: Say) -> dict[str, Any]:  # noqa: ANN401 -- "letter" or "a4"
    """Return the document of a release after a fresh check, written where anything may be ordered; in the child."""
    from datetime import UTC, datetime

    from sizing.release.handover import hand_over
    from sizing.release.release import plan_release
    from sizing.versions import program_version

    result = checked_and_kept(folder, say)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    program = f"secondtape {program_version()}"
    plan = plan_release(result, labels)
    document, written, before = hand_over(plan, folder, out=None, released_at=now, program=program, paper=paper)
    return {"document": document, "written": written is not None, "before": before}


ROUTES: list[BaseRoute] = [
    Route("/job/{name:job}/release/{number}/{file}", download),
    Route("/job/{name:job}/release", release_page),
    Route("/job/{name:job}/release", changed(hand_over_now), methods=["POST"]),
]
