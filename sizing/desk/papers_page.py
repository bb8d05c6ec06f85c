"""The papers of a job: report, footprint of the product on the wall, and the page that asks for a photo."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk.desk import Desk, desk_of
from sizing.desk.folder import JOB_FILE
from sizing.desk.intake_changes import changed
from sizing.desk.intake_forms import address, text
from sizing.desk.results import file_sha256
from sizing.desk.running import checked_and_kept
from sizing.desk.worker import Say, WorkerError
from sizing.errors import InputError, Problem
from sizing.jobs.file import load_job
from sizing.jobs.job import Job
from sizing.messages import footprint as words
from sizing.regularfile import regular_bytes
from sizing.runs.runfolder import FOLDER, safe_name

REPORT, FOOTPRINT = "report", "footprint"
_MADE = ("report.pdf", "report.html")
_KINDS = {".pdf": "application/pdf", ".html": "text/html; charset=utf-8", ".jpg": "image/jpeg"}
_PICTURE = re.compile(r"footprint-[0-9a-f]{12}/[A-Za-z0-9_.-]+-footprint-(on-wall|in-photo)\.jpg")
_LARGEST = 200_000_000
# Files beside the job file that a report rests on too; the hashes in it do not tell of them.
_ALSO = {"blank.toml": "the boxes that blank out", "decisions.jsonl": "the decisions"}


def papers_page(request: Request) -> Response:
    """Show what papers there are of a job, and the forms to make them."""
    desk, name = desk_of(request), request.path_params["name"]
    job = load_job(desk.folder.job(name) / JOB_FILE)
    ended = desk.runs.ended(name, FOOTPRINT)[-1:]
    return desk.page(
        "papers.html",
        name=name,
        job=job,
        labels=[o.label for o in job.openings],
        report=report_made(job),
        runs=[r for r in desk.runs.of(name) if r.kind in (REPORT, FOOTPRINT)],
        failed=desk.runs.failed(name, (REPORT, FOOTPRINT)),
        said=[line for run in desk.runs.ended(name, REPORT)[-1:] for line in run.answer],
        footprint=ended[0].answer if ended else None,
        notes=(words.PLACED, words.OBSTACLES, words.CAUTION),
    )


def make(desk: Desk, name: str, form: FormData) -> Response:
    """Start making a report or footprints; or send the page that asks for a photo at once."""
    does = text(form, "do")
    folder = desk.folder.job(name)
    paper = "a4" if text(form, "paper") == "a4" else "letter"
    if does == REPORT:
        desk.runs.start(name, REPORT, report_task, folder, paper)
    elif does == FOOTPRINT:
        desk.runs.start(name, FOOTPRINT, footprint_task, folder)
    elif does == "request":
        return _request(load_job(folder / JOB_FILE), form, paper)
    else:
        raise InputError("bad-form", [Problem("do", "this page knows no such paper; open it again")])
    return RedirectResponse(address("job", name, "papers"), status_code=303)


def download(request: Request) -> Response:
    """Send the report as a file, or a picture of a footprint to be shown."""
    desk, name, file = desk_of(request), request.path_params["name"], request.path_params["file"]
    if file in _MADE:
        path = desk.folder.file(name, f"{FOLDER}/report/{file}")
        says = {"content-disposition": f'attachment; filename="{safe_name(Path(name).name)}-{file}"'}
    elif _PICTURE.fullmatch(file):
        path, says = desk.folder.file(name, f"{FOLDER}/{file}"), {}
    else:
        raise InputError("no-such-file", [Problem(file[:100], "there is no such paper")])
    return Response(regular_bytes(path, _LARGEST), media_type=_KINDS[path.suffix], headers=says)


def report_made(job: Job) -> Mapping[str, Any] | None:
    """Return when the report on disk was made and what has changed since; None where there is none.

    The report names its inputs by SHA-256: one that is not in it has changed. What has no hash there goes by the time
    of the file.
    """
    folder = job.folder / FOLDER / "report"
    try:
        pdf = (folder / "report.pdf").stat()
        html = regular_bytes(folder / "report.html", _LARGEST).decode("utf-8", "replace")
    except OSError:
        return None
    changes = [] if job.sha256 in html else ["the job file"]
    photos = {p.file: p.path for o in job.openings for p in o.photos}
    changes += [file for file, path in photos.items() if (found := file_sha256(path)) and found not in html]
    changes += [says for file, says in _ALSO.items() if _time(job.folder / file) > pdf.st_mtime]
    handed_over = (job.folder / FOLDER).glob("release-*/release.json")
    changes += ["the releases"] if any(_time(file) > pdf.st_mtime for file in handed_over) else []
    return {"made": pdf.st_mtime, "kb": round(pdf.st_size / 1000), "changed": changes}


def report_task(folder: Path, paper: Any, *, say: Say) -> list[str]:  # noqa: ANN401 -- "letter" or "a4"
    """Check the job anew and write its report; return what it says first and what could not be drawn; in the child."""
    from datetime import UTC, datetime

    from sizing.messages import report as report_words
    from sizing.report.files import report_job

    result = checked_and_kept(folder, say)
    say("writing the report")
    complaints = list[str]()
    try:
        built, _ = report_job(result, datetime.now(UTC).date().isoformat(), (), paper, None, complaints.append)
    except OSError as error:
        raise WorkerError(report_words.not_written(str(error))) from None
    return [report_words.spoken(built.job, built.headline), *complaints]


def footprint_task(folder: Path, *, say: Say) -> dict[str, Any]:
    """Check the job anew and draw what is ordered onto the wall; return what was found by opening; in the child."""
    from sizing.footprint.files import write_footprints
    from sizing.footprint.result import footprint_lines, job_footprints
    from sizing.messages.one_line import sentence
    from sizing.messages.written_files import cannot_write

    result = checked_and_kept(folder, say)
    say("drawing")
    complaints = list[str]()
    found = job_footprints(result)
    try:
        target, names = write_footprints(result, found, None, complaints.append)
    except OSError as error:
        raise WorkerError(cannot_write(str(error))) from None
    openings = []
    for one in found:
        label = one.result.opening.label
        heading, *lines = (line.strip() for line in footprint_lines(one, result.job.units))
        pictures = [f"{target.name}/{file}" for file in names.get(label, ())] if target else []
        facts = {
            "label": label,
            "heading": sentence(heading.removeprefix(f"{label}: ")),
            "lines": lines,
            "pictures": pictures,
        }
        openings.append(facts | {"verdict": one.verdict})
    return {"sha256": result.job.sha256, "openings": openings, "complaints": complaints}


def _request(job: Job, form: FormData, paper: Any) -> Response:  # noqa: ANN401 -- "letter" or "a4"
    from sizing.report.request_page import FILE, request_pdf

    known = [o.label for o in job.openings]
    labels = [label for label in known if label in form.getlist("opening")]
    if not labels:
        raise InputError("no-opening", [Problem("request", "choose at least one opening to photograph")])
    sheets = bool(text(form, "sheets"))
    made = request_pdf(paper, job=job.id, openings=labels, contact=text(form, "contact")[:200], sheets=sheets)
    says = {"content-disposition": f'attachment; filename="{safe_name(job.id)}-{FILE}"'}
    return Response(made, media_type="application/pdf", headers=says)


def _time(file: Path) -> float:
    try:
        return file.stat(follow_symlinks=False).st_mtime
    except OSError:
        return 0.0


ROUTES: list[BaseRoute] = [
    Route("/job/{name:job}/papers", papers_page),
    Route("/job/{name:job}/papers", changed(make), methods=["POST"]),
    Route("/job/{name:job}/papers/{file:path}", download),
]
