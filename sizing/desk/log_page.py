"""The log at the desk: past checks of this folder with filters, one check, and what many readings say together."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk.desk import desk_of
from sizing.desk.folder import JOB_FILE, DeskFolder
from sizing.errors import InputError, Problem
from sizing.log.asked import Asked
from sizing.log.codes import coded, codes
from sizing.log.compared_readings import compared
from sizing.log.database import LogError, open_log
from sizing.log.index import refresh
from sizing.log.queries import details, find, find_run
from sizing.log.rebuilding import rebuild
from sizing.logged import Logged
from sizing.messages import log as words
from sizing.messages import log_asked, log_people
from sizing.messages.one_line import clipped
from sizing.messages.verdicts import LISTED_VERDICTS, VERDICTS

_PAGE = 50
_TEXTS = ("job", "by", "tape", "since", "until", "verdict", "decided_by", "released", "each")
_PER = ("measurer", "tape", "both", "day")
_LONGEST = 200


def log_page(request: Request) -> Response:
    """Show the checks that are asked for, fifty a page."""
    desk = desk_of(request)
    given, problems = _given(request), list[str]()
    asked = _asked(given, desk.folder.root, problems)
    found: tuple[Logged, ...] = ()
    try:
        with _log() as log:
            found = find(log, asked)
    except LogError as error:
        problems.append(str(error))
    pages = max(1, -(-len(found) // _PAGE))
    page = min(max(1, _number(request.query_params.get("page"))), pages)
    return desk.page(
        "log.html",
        checks=[_row(x, desk.folder) for x in found[(page - 1) * _PAGE : page * _PAGE]],
        total=len(found),
        page=page,
        pages=pages,
        given=given,
        query=urlencode({k: v for k, v in given.items() if v}),
        problems=problems,
        verdicts=tuple(VERDICTS),
        verdict_words=LISTED_VERDICTS,
    )


def check_page(request: Request) -> Response:
    """Show one check of the log with its readings and decisions, in the words of the terminal."""
    desk = desk_of(request)
    run = request.path_params["run"]
    root = desk.folder.root
    with _or_problem(), _log() as log:
        # By its folder, since copies of a job have runs of one name; else by that name.
        found = find_run(log, str(root / run), under=root) or find_run(log, run, under=root)
        if not found:
            raise InputError("no-such-file", [Problem(run[:40], "the log knows no such check of this folder")])
        one = details(log, found[0])
    unit: Any = one.logged.units if one.logged.units in ("in", "mm") else "in"
    return desk.page("log_check.html", parts=words.shown_parts(one, unit), row=_row(one.logged, desk.folder))


def people_page(request: Request) -> Response:
    """Show what many readings of a person, tape or day say together."""
    from sizing.statistics.groups import grouped

    desk = desk_of(request)
    given, problems = _given(request), list[str]()
    per = request.query_params.get("per", "measurer")
    per = per if per in _PER else "measurer"
    unit: Any = "mm" if request.query_params.get("units") == "mm" else "in"
    hidden = request.query_params.get("codes") == "yes"
    asked = _asked(given, desk.folder.root, problems)
    groups: list[dict[str, Any]] = []
    try:
        with _log() as log:
            rows = compared(log, asked)
            if hidden:
                names = codes(log)
                rows = tuple(coded(r, names) for r in rows)
        for group in grouped(rows, per):
            known = log_people.figures(group, unit) if group.enough else []
            concluded = log_people.conclusions(group)
            groups.append({"heading": log_people.heading(group), "figures": known, "concluded": concluded})
    except LogError as error:
        problems.append(str(error))
    return desk.page(
        "log_people.html",
        groups=groups,
        given=given,
        per=per,
        per_words={p: log_people.grouped(p) for p in _PER},
        unit=unit,
        hidden=hidden,
        scope=log_people.SCOPE,
        problems=problems,
    )


def export_csv_page(request: Request) -> Response:
    """Send the checks that are asked for as CSV, one row a reading.

    What is no day or verdict is refused as by the command: nobody sees of a file that it holds more than was meant.
    """
    from sizing.log.export import export_csv

    desk = desk_of(request)
    problems: list[str] = []
    given = _given(request)
    asked = _asked(given, desk.folder.root, problems)
    if given["verdict"] not in ("", *VERDICTS):
        problems.append(log_asked.bad_choice("verdict", given["verdict"], tuple(VERDICTS)))
    if problems:
        raise InputError("log", [Problem("log", says) for says in problems])
    with _or_problem(), _log() as log:
        found = [details(log, x) for x in find(log, asked)]
        if request.query_params.get("codes") == "yes":
            names = codes(log)
            found = [coded(x, names) for x in found]
    return Response(
        "\ufeff" + export_csv(found),
        media_type="text/csv",
        headers={"Content-Disposition": 'attachment; filename="secondtape-log.csv"'},
    )


def rebuild_page(request: Request) -> Response:
    """Make the log anew from the desk's folder and those that it knows."""
    with _or_problem():
        rebuild([desk_of(request).folder.root])
    return RedirectResponse("/log", status_code=303)


@contextmanager
def _log() -> Iterator[sqlite3.Connection]:
    with open_log(whole=True) as log:
        refresh(log)
        yield log


@contextmanager
def _or_problem() -> Iterator[None]:
    """Turn what befalls the log into a page that says it."""
    try:
        yield
    except LogError as error:
        raise InputError("log", [Problem("log", str(error))]) from error


def _given(request: Request) -> dict[str, str]:
    return {key: request.query_params.get(key, "").strip()[:_LONGEST] for key in _TEXTS}


def _asked(given: dict[str, str], root: Path, problems: list[str]) -> Asked:
    days: dict[str, date | None] = {}
    for key in ("since", "until"):
        try:
            days[key] = date.fromisoformat(given[key]) if given[key] else None
        except ValueError:
            days[key] = None
            problems.append(log_asked.bad_day(key, given[key]))
    return Asked(
        job=given["job"] or None,
        by=given["by"] or None,
        tape=given["tape"] or None,
        since=days["since"],
        until=days["until"],
        verdict=given["verdict"] if given["verdict"] in VERDICTS else None,
        under=root,
        decided_by=given["decided_by"] or None,
        released=given["released"] == "yes",
        each=given["each"] == "yes",
    )


def _row(logged: Logged, desk: DeskFolder) -> dict[str, Any]:
    """Return a check as the page shows it; `name` is the job's at this desk, empty where its folder is gone."""
    root = desk.root
    folder, path = Path(logged.folder) if logged.folder else None, Path(logged.path)
    known = folder is not None and logged.job_file == JOB_FILE and (folder / JOB_FILE).is_file()
    return {
        "run": logged.run,
        "where": path.relative_to(root).as_posix() if path.is_relative_to(root) else logged.run,
        "job": logged.job,
        "day": logged.day,
        "checked": logged.checked_at.replace("T", " ").removesuffix("Z"),
        "verdict": logged.verdict,
        "by": clipped(logged.measured_by or ""),
        "openings": words.openings(logged),
        "decisions": logged.decisions,
        "releases": logged.releases,
        "checks": logged.checks,
        "name": desk.name_of(folder) if known and folder is not None else "",
    }


def _number(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 7 else 1


ROUTES: list[BaseRoute] = [
    Route("/log", log_page),
    Route("/log/people", people_page),
    Route("/log/export.csv", export_csv_page),
    Route("/log/rebuild", rebuild_page, methods=["POST"]),
    Route("/log/check/{run:path}", check_page),
]
