"""From the tables of a job file to a job: lengths in mm, readings as seen from outside, files found."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

import sizing.jobs.tables as form
from sizing.errors import Problem
from sizing.jobs.corners import corner_array, corner_fault
from sizing.jobs.job import READINGS, Document, Job, Obstacle, Opening, PhotoEntry, Reading, Size, Tolerance, Visit
from sizing.jobs.lenses import profiles_in_reach
from sizing.jobs.named_files import inside
from sizing.jobs.values import Written, given_reference
from sizing.units import (
    GRADUATION_MM,
    LengthError,
    Unit,
    parse_length,
    parse_signed_length,
)
from vision.request import SIDES, CheckBar, Quantity, Reference, Side

# Seen from inside, left and right change places, and so do the two diagonals (contract, *Job file*).
_MIRRORED = {
    "height_left": "height_right",
    "height_right": "height_left",
    "diagonal_down": "diagonal_up",
    "diagonal_up": "diagonal_down",
}
# Contract, *Job file*: an offset that is given is good to 1 mm.
_OFFSET_U_MM = 1.0


@dataclass(frozen=True, slots=True)
class Place:
    """Where a job stands: its file as named, its folder resolved, its unit, and what paths may do."""

    file: Path
    folder: Path
    unit: Unit
    allow_outside: bool


def build_job(tables: form.JobFile, place: Place, sha256: str) -> tuple[Job, list[Problem]]:
    """Return the job, and what was found wrong only now; with problems the job must not be used."""
    head, problems = tables.job, list[Problem]()
    graduation = _optional_mm(head.graduation, place.unit)
    first = Visit(
        0,
        head.measured_by,
        head.measured_on,
        head.tape or "unknown",
        graduation or float(GRADUATION_MM[place.unit]),
        head.seen_from or "outside",
    )
    job = Job(
        id=head.id,
        file=place.file,
        folder=place.folder,
        units=place.unit,
        sha256=sha256,
        openings=tuple(
            _opening(table, f'opening[{i}] "{table.label}"', first, graduation, place, problems)
            for i, table in enumerate(tables.opening)
        ),
        measured_by=first.by,
        measured_on=first.on,
        tape=first.tape,
        graduation_mm=first.graduation_mm,
        seen_from=first.seen_from,
        tolerance=Tolerance(**(given := _tolerance_given(head.tolerance, place.unit))),
        tolerance_given=MappingProxyType(given),
        note=head.note,
        extra=MappingProxyType(head.extra),
    )
    return job, problems


def _optional_mm(written: Written | None, unit: Unit) -> float | None:
    return None if written is None else parse_length(written, unit).mm


def _tolerance_given(written: Written | form.ToleranceTable | None, unit: Unit) -> dict[str, float]:
    if written is None:
        return {}
    if isinstance(written, form.ToleranceTable):
        return {f"{key}_mm": parse_length(value, unit).mm for key, value in written if value is not None}
    # One tolerance is that of widths and heights; diagonals keep theirs (contract, *Decision*).
    mm = parse_length(written, unit).mm
    return dict.fromkeys(("width_under_mm", "width_over_mm", "height_under_mm", "height_over_mm"), mm)


def _opening(
    table: form.OpeningTable,
    key: str,
    first: Visit,
    graduation: float | None,
    place: Place,
    problems: list[Problem],
) -> Opening:
    visits = _visits(table, key, first, graduation, place, problems)
    readings, superseded = _in_force(visits)
    return Opening(
        label=table.label,
        wall=table.wall,
        photos=tuple(_photo(photo, f"{key}.photos[{i}]", place) for i, photo in enumerate(table.photos)),
        reference=_reference(table.reference, place.unit),
        check_bar=_check_bar(table.check_bar, place.unit),
        edge_offset=_edge_offset(table.edge_offset, place.unit),
        sill_at=table.sill_at,
        shape=table.shape,
        rule=table.rule,
        quantity=table.quantity,
        readings=readings,
        superseded=superseded,
        visits=visits,
        ordered=_size(table.ordered, place.unit),
        delivered=_size(table.delivered, place.unit),
        obstacles=tuple(_obstacle(thing) for thing in table.obstacles),
        clearances=MappingProxyType(
            {side: parse_length(value, place.unit) for side, value in table.clearances if value is not None}
        ),
        documents=tuple(_document(paper, f"{key}.documents[{i}]", place) for i, paper in enumerate(table.documents)),
        note=table.note,
        extra=MappingProxyType(table.extra),
    )


def _visits(
    table: form.OpeningTable,
    key: str,
    first: Visit,
    graduation: float | None,
    place: Place,
    problems: list[Problem],
) -> tuple[Visit, ...]:
    done = [_with_readings(first, table, key, graduation, place, problems)]
    for i, visit in enumerate(table.visit):
        where = f"{key}.visit[{i}]"
        own = _optional_mm(visit.graduation, place.unit) or graduation
        header = Visit(
            number=i + 1,
            by=visit.by,
            on=visit.on,
            tape=visit.tape or first.tape,
            graduation_mm=own or first.graduation_mm,
            seen_from=visit.seen_from or first.seen_from,
            note=visit.note,
        )
        done.append(_with_readings(header, visit, where, own, place, problems))
    return tuple(done)


def _boxes(table: form.Boxes) -> Iterator[tuple[str, str, Written]]:
    for group, boxes in (("width", table.width), ("height", table.height), ("diagonal", table.diagonal)):
        for box, value in boxes:
            if value is not None:
                yield group, box, value


def _with_readings(
    visit: Visit, table: form.Boxes, key: str, graduation: float | None, place: Place, problems: list[Problem]
) -> Visit:
    found: dict[str, Reading] = {}
    for group, box, value in _boxes(table):
        named = f"{group}_{box}"
        try:
            length = parse_length(value, place.unit, graduation_mm=graduation)
        except LengthError as error:  # 'scant' by a graduation of its own may pass zero
            problems.append(Problem(f"{place.file}: {key}.{group}.{box}", str(error)))
            continue
        name = _MIRRORED.get(named, named) if visit.seen_from == "inside" else named
        found[name] = Reading(
            name=name,
            length=length,
            as_named=named,
            by=visit.by,
            on=visit.on,
            tape=visit.tape,
            graduation_mm=visit.graduation_mm,
            seen_from=visit.seen_from,
            visit=visit.number,
        )
    return replace(visit, readings=tuple(found[name] for name in READINGS if name in found))


def _in_force(visits: tuple[Visit, ...]) -> tuple[tuple[Reading, ...], tuple[Reading, ...]]:
    now: dict[str, Reading] = {}
    superseded: list[Reading] = []
    for visit in visits:
        for reading in visit.readings:
            if reading.name in now:
                superseded.append(now[reading.name])
            now[reading.name] = reading
    return tuple(now[name] for name in READINGS if name in now), tuple(superseded)


def _reference(written: str | form.ReferenceTable, unit: Unit) -> Reference:
    if isinstance(written, form.ReferenceTable):
        return given_reference(parse_length(written.width, unit), parse_length(written.height, unit))
    return Reference(written)  # type: ignore[arg-type]  # one of the kinds, by the model


def _check_bar(written: Written | form.CheckBarTable | None, unit: Unit) -> CheckBar:
    if not isinstance(written, form.CheckBarTable):
        return CheckBar(across=_bar(written, None, unit))
    u_mm = _optional_mm(written.u, unit)
    return CheckBar(_bar(written.across, u_mm, unit), _bar(written.along, u_mm, unit))


def _bar(written: Written | None, u_mm: float | None, unit: Unit) -> Quantity | None:
    if written is None:
        return None
    length = parse_length(written, unit)
    # Half a step of the last digit either way, rectangular (JCGM 100, 4.3.7).
    return Quantity(length.mm, u_mm or length.step_mm / 12**0.5)


def _edge_offset(
    written: Written | form.QuantityTable | form.SidesTable | None, unit: Unit
) -> MappingProxyType[Side, Quantity] | None:
    if written is None:
        return None
    if isinstance(written, form.SidesTable):
        given = {side: getattr(written, side) for side in SIDES}
        return MappingProxyType({side: _offset(one, unit) for side, one in given.items() if one is not None})
    return MappingProxyType(dict.fromkeys(SIDES, _offset(written, unit)))


def _offset(written: Written | form.QuantityTable, unit: Unit) -> Quantity:
    if isinstance(written, form.QuantityTable):
        u_mm = _optional_mm(written.u, unit) or _OFFSET_U_MM
        return Quantity(parse_signed_length(written.value, unit).mm, u_mm)
    return Quantity(parse_signed_length(written, unit).mm, _OFFSET_U_MM)


def _photo(written: str | form.PhotoTable, key: str, place: Place) -> PhotoEntry:
    table = form.PhotoTable(file=written) if isinstance(written, str) else written
    path, fault = inside(place.folder, table.file, allow_outside=place.allow_outside)
    faults = [(key, fault)]
    lens: Path | None = None
    if table.lens is not None:
        lens, fault = inside(place.folder, table.lens, allow_outside=place.allow_outside)
        faults.append((f"{key}.lens", fault))
    if table.corners is not None:
        faults.append((f"{key}.corners", corner_fault(table.corners, upright=True)))
    quads = table.reference_corners or ()
    faults += [(f"{key}.reference_corners", corner_fault(quad, upright=False)) for quad in quads]
    errors = [Problem(f"{place.file}: {where}", says) for where, says in faults if says]
    usable = not errors
    return PhotoEntry(
        file=table.file,
        path=path,
        turn=table.turn,
        corners_px=corner_array(table.corners) if usable and table.corners else None,
        trace=table.trace,
        click_px=table.click_px,
        reference=None if table.reference is None else _reference(table.reference, place.unit),
        reference_corners_px=tuple(corner_array(quad) for quad in quads) if usable else (),
        focal35_mm=table.focal35,
        lens=lens,
        lenses=() if table.lens is not None else profiles_in_reach(place.folder),
        when=table.when,
        error=errors[0] if errors else None,
    )


def _document(table: form.DocumentTable, key: str, place: Place) -> Document:
    path, fault = inside(place.folder, table.file, allow_outside=place.allow_outside)
    return Document(table.file, path, table.kind, Problem(f"{place.file}: {key}", fault) if fault else None)


def _obstacle(table: form.ObstacleTable) -> Obstacle:
    if table.box is not None:
        x0, y0, x1, y1 = table.box
        return Obstacle(table.what, table.photo, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
    return Obstacle(table.what, table.photo, tuple(point for point in table.polygon or () if point))


def _size(table: form.OrderedTable | None, unit: Unit) -> Size | None:
    if table is None:
        return None
    width, height = (None if one is None else parse_length(one, unit) for one in (table.width, table.height))
    if isinstance(table, form.DeliveredTable):
        return Size(width, height, table.by, table.tape)
    return Size(width, height)
