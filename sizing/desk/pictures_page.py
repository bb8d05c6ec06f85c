"""Pictures of the desk: tiles of photos, and the wall seen square on; all encoded by us, none with Exif."""

from __future__ import annotations

from pathlib import Path

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from sizing.desk.desk import Desk, desk_of
from sizing.desk.folder import JOB_FILE
from sizing.desk.running import checked
from sizing.desk.worker import Say, WorkerError
from sizing.errors import InputError, Problem

SQUARE_ON = "square-on"
TURNS = ("0", "90", "180", "270")


def facts(request: Request) -> Response:
    """Return size and scales of a photo's tiles as JSON."""
    desk, photo, turn = _asked(request)
    found = desk.tiles.pyramid(photo, turn, desk.decoder)
    return JSONResponse({"size": found.size_px, "reduced": found.reduced, "scales": found.scales})


def tile(request: Request) -> Response:
    """Return one tile of a photo."""
    desk, photo, turn = _asked(request)
    place = [_number(request, key) for key in ("scale", "column", "row")]
    return _jpeg(desk.tiles.tile(photo, turn, desk.decoder, (place[0], place[1], place[2])))


def square_on(request: Request) -> Response:
    """Return the wall of one opening seen square on, with scale bars; drawn by the child that checks."""
    desk = desk_of(request)
    job = request.path_params["job"]
    run = desk.runs.start(
        job,
        SQUARE_ON,
        square_on_task,
        desk.folder.job(job),
        request.query_params.get("label", ""),
        _number(request, "photo"),
    )
    try:
        return _jpeg(desk.runs.result(run))
    except WorkerError as error:
        raise InputError("no-picture", [Problem(job, str(error))]) from None


def square_on_task(folder: Path, label: str, number: int, *, say: Say) -> bytes:
    """Return the square-on view of one photo of one opening as JPEG, in the child."""
    import io

    from sizing.pictures.blanking import boxes_of, read_blanks
    from sizing.pictures.drawn import as_measured
    from vision.pictures.rectified import rectified_view

    result, _ = checked(folder, say)
    opening = next((o for o in result.openings if o.opening.label == label), None)
    if opening is None or not 0 <= number < len(opening.photos):
        raise InputError("no-such-opening", [Problem(JOB_FILE, "the job has no such opening or photo any more")])
    report = opening.photos[number].report
    if report is None or report.wall_to_photo is None or report.extent_mm is None:
        raise InputError(
            "no-picture", [Problem(label, "this photo could not be measured, so there is no square-on view")]
        )
    entry = opening.opening.photos[number]
    rgb = as_measured(report, entry.turn, boxes_of(read_blanks(folder), entry.file))
    stream = io.BytesIO()
    rectified_view(rgb, report.wall_to_photo, report.extent_mm).convert("RGB").save(stream, "JPEG", quality=88)
    return stream.getvalue()


def _asked(request: Request) -> tuple[Desk, Path, int]:
    desk, turn = desk_of(request), request.query_params.get("turn", "0")
    if turn not in TURNS:
        raise InputError("bad-turn", [Problem("turn", "must be 0, 90, 180 or 270")])
    return desk, desk.folder.file(request.path_params["job"], request.query_params.get("file", "")), int(turn)


def _number(request: Request, key: str) -> int:
    text = request.query_params.get(key, "")
    if not (text.isascii() and text.isdigit() and len(text) < 7):
        raise InputError("bad-number", [Problem(key, "must be a whole number")])
    return int(text)


def _jpeg(data: bytes) -> Response:
    return Response(data, media_type="image/jpeg")


ROUTES: list[BaseRoute] = [
    Route("/tiles/{job:path}", tile),
    Route("/tile-facts/{job:path}", facts),
    Route("/square-on/{job:path}", square_on),
]
