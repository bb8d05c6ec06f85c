"""Readings from a spreadsheet into a job: template, preview, and then all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk.addresses import label_problems, require_reachable
from sizing.desk.desk import Desk, desk_of
from sizing.desk.folder import JOB_FILE
from sizing.desk.intake_forms import address, choices, text
from sizing.desk.intake_view import boxes_of, job_view
from sizing.desk.uploads import form_of
from sizing.desk.worker import Say, WorkerError
from sizing.errors import InputError, Problem
from sizing.intake.spreadsheet import LENGTHS, Readings, SheetRow, places_of, put_rows, read_readings
from sizing.intake.spreadsheet_cells import MOST_BYTES
from sizing.intake.spreadsheet_export import readings_csv, readings_xlsx, template_csv, template_xlsx
from sizing.jobs import edits as jobedits
from sizing.jobs.writer import ChangedUnderneath, create, save
from sizing.runs.runfolder import safe_name
from sizing.units import LengthError, Unit, parse_length

_SECONDS = 30.0
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_CSV = "text/csv; charset=utf-8"
_MOST_LISTED = 1000
_FACTS = frozenset({"wall", "rule", "quantity", "note"})


def form_page(request: Request) -> Response:
    """Show the form to import, for a job that is there or a new one."""
    return _form(desk_of(request), request.query_params.get("job", ""), [])


def template(request: Request) -> Response:
    """Send the template."""
    unit: Unit = "mm" if request.query_params.get("units") == "mm" else "in"
    if request.path_params["kind"] == "xlsx":
        return _file(template_xlsx(unit), _XLSX, "readings-template.xlsx")
    return _file(template_csv(unit), _CSV, "readings-template.csv")


def export(request: Request) -> Response:
    """Send the readings of a job as a spreadsheet that can be read in again."""
    desk, name = desk_of(request), request.path_params["name"]
    view = job_view(name, desk.folder.job(name), None, desk.folder.root)
    if view.job is None:
        raise InputError("job-invalid", [Problem(name, "the job file cannot be used; its page says why")])
    tables = [_in_force(o.tables, o.facts) for o in view.openings]
    stem = f"{safe_name(view.job.id)}-readings"
    if request.path_params["kind"] == "xlsx":
        return _file(readings_xlsx(tables, view.job.units), _XLSX, f"{stem}.xlsx")
    return _file(readings_csv(tables, view.job.units), _CSV, f"{stem}.csv")


async def preview(request: Request) -> Response:
    """Read a spreadsheet and show what would become of the job; nothing is written."""
    desk = desk_of(request)
    async with form_of(request, MOST_BYTES + 100_000) as form:
        return await run_in_threadpool(_previewed, desk, form)


async def confirm(request: Request) -> Response:
    """Write what was shown, all of it or nothing."""
    desk = desk_of(request)
    async with form_of(request, MOST_BYTES) as form:
        return await run_in_threadpool(_confirmed, desk, form)


def read_task(data: bytes, name: str, unit: Unit, graduation_mm: float | None, *, say: Say) -> Readings:
    """Return the readings of a spreadsheet; in the child, since a file from anywhere is taken apart."""
    try:
        return read_readings(data, name, unit, graduation_mm)
    except InputError as error:
        return Readings((), error.problems, ())


def _previewed(desk: Desk, form: FormData) -> Response:
    upload = form.get("file")
    target, new = text(form, "job"), text(form, "new")
    if not isinstance(upload, UploadFile) or not upload.filename:
        return _form(desk, target, ["choose a spreadsheet first"], 400)
    if not target and not new:
        return _form(desk, target, ["choose a job, or name a new one"], 400)
    unit: Unit = "mm" if text(form, "units") == "mm" else "in"
    graduation: float | None = None
    now: Mapping[str, Mapping[str, str]] = {}
    sha256 = ""
    if target:
        view = job_view(target, desk.folder.job(target), None, desk.folder.root)
        if view.job is None:
            return _form(desk, target, [f"{target}: the job file cannot be used; its page says why"], 400)
        unit, sha256 = view.job.units, view.text.sha256
        graduation = view.job.graduation_mm if "graduation" in view.raw["job"] else None
        now = {o.label: {**boxes_of(o.tables), **_ordered(o.tables)} for o in view.openings}
    try:
        data = upload.file.read(MOST_BYTES + 1)
        found: Readings = desk.decoder.run(read_task, data, upload.filename, unit, graduation, timeout_s=_SECONDS)
        found = replace(found, problems=(*found.problems, *label_problems(row.label for row in found.rows)))
    except WorkerError as error:
        return _form(desk, target, [f"{upload.filename[:80]}: {error}"], 400)
    rows = json.dumps([[r.number, r.label, dict(r.lengths), dict(r.facts)] for r in found.rows])
    facts: dict[str, Any] = {
        "target": target,
        "new": new,
        "unit": unit,
        "file": upload.filename[:80],
        "now": now,
        "sha256": sha256,
    }
    return desk.page(
        "intake_preview.html",
        found=found,
        rows=rows,
        headings=LENGTHS,
        wall=text(form, "wall") or "masonry",
        **facts,
    )


def _confirmed(desk: Desk, form: FormData) -> Response:
    # The rows went through the browser: they are checked again, and as texts they can do no more than a form.
    target, new, wall = text(form, "job"), text(form, "new"), text(form, "wall")
    unit: Unit = "mm" if text(form, "units") == "mm" else "in"
    rows = _rows(form.get("rows"), unit)
    require_reachable(row.label for row in rows)
    if not target:
        folder = desk.folder.new_folder(new)
        document = jobedits.new_job({"id": new, "units": unit}, (), wall)
        put_rows(document, rows, wall)
        create(folder, document)
        target = desk.folder.name_of(folder)
    else:
        file = desk.folder.job(target) / JOB_FILE
        try:
            read = text(form, "sha256") or None
            save(file, lambda d: put_rows(d, rows, wall), named=places_of(rows), read_sha256=read)
        except ChangedUnderneath as error:
            again = f"{error}; read the spreadsheet in again to see what would change now"
            return _form(desk, target, [again], 409)
    return RedirectResponse(address("job", target), status_code=303)


def _rows(given: object, unit: Unit) -> list[SheetRow]:
    try:
        listed = json.loads(given if isinstance(given, str) else "")
        rows = [
            SheetRow(int(n), str(label), {str(k): str(v) for k, v in a.items()}, {str(k): str(v) for k, v in b.items()})
            for n, label, a, b in listed
        ]
        for row in rows:
            int(row.facts.get("quantity", "1"))
            for value in row.lengths.values():
                parse_length(value, unit)
    except (ValueError, TypeError, AttributeError, OverflowError, RecursionError, LengthError):
        raise _damaged() from None
    if not all(row.lengths.keys() <= LENGTHS.keys() and row.facts.keys() <= _FACTS for row in rows):
        raise _damaged()
    return rows


def _damaged() -> InputError:
    return InputError("spreadsheet", [Problem("preview", "is damaged: read the spreadsheet in again")])


def _in_force(table: Mapping[str, Any], facts: Any) -> dict[str, Any]:  # noqa: ANN401 -- sizing.jobs.job.Opening
    """Return the table of an opening with the readings in force, as named in the file."""
    whole: dict[str, Any] = {key: table[key] for key in table if key not in ("width", "height", "diagonal")}
    for reading in facts.readings:
        group, _, box = reading.as_named.partition("_")
        whole.setdefault(group, {})[box] = reading.length.as_written
    return whole


def _ordered(table: Mapping[str, Any]) -> dict[str, str]:
    return {f"ordered.{key}": str(table.get("ordered", {}).get(key, "")) for key in ("width", "height")}


def _form(desk: Desk, target: str, problems: list[str], status: int = 200) -> Response:
    jobs = desk.folder.jobs()[:_MOST_LISTED]
    return desk.page("intake_import.html", status, jobs=jobs, target=target, problems=problems, choices=choices())


def _file(data: bytes, kind: str, name: str) -> Response:
    says = f'attachment; filename="{Path(name).name}"'
    return Response(data, media_type=kind, headers={"content-disposition": says})


ROUTES: list[BaseRoute] = [
    Route("/import", form_page),
    Route("/import", preview, methods=["POST"]),
    Route("/import/confirm", confirm, methods=["POST"]),
    Route("/import/template.{kind}", template),
    Route("/job/{name:job}/readings.{kind}", export),
]
