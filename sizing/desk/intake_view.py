"""What the page of a job shows, put together from its file, its photos and its last check; no arithmetic here."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sizing.desk.addresses import require_reachable
from sizing.desk.decided_view import DecidedView, decided_views
from sizing.desk.folder import JOB_FILE
from sizing.desk.intake_photos import PhotoFile
from sizing.desk.results import LastResult
from sizing.errors import InputError
from sizing.jobs.edits import BOXES
from sizing.jobs.edits_of_sides import OFFSET, bar_texts, offset_texts
from sizing.jobs.file import load_job
from sizing.jobs.job import Job, Opening
from sizing.jobs.writer import JobText, read_text
from sizing.messages import order as order_words
from sizing.messages import verdicts as words
from sizing.messages.intake import rules_not_found
from sizing.messages.names import name_of
from sizing.messages.one_line import sentence
from sizing.messages.photo_figures import about
from sizing.units import Unit
from vision.request import NINE

Boxes = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class MeasureLine:
    """One measure of a pre-quote in words: its name, and about what it is with its uncertainty."""

    name: str
    says: str


@dataclass(frozen=True, slots=True)
class OpeningView:
    """One opening on the job's page.

    `boxes` are the readings as written by `width.top`, ...; `verdict`, `why` and `next_step` those of the last check;
    `measures` and `sizes` are there for a pre-quote only; `decided` is what people did about it.
    """

    label: str
    facts: Opening
    boxes: Boxes
    photos: tuple[str, ...]
    verdict: str
    verdict_words: str
    why: str
    next_step: str
    request: str
    measures: tuple[MeasureLine, ...]
    sizes: tuple[str, ...]
    tables: Mapping[str, Any]
    decided: DecidedView

    @property
    def offsets(self) -> Mapping[str, str]:
        """Return the edge offsets as written, by `edge_offset`, `edge_offset.head` and so on."""
        return offset_texts(self.tables)

    @property
    def by_side(self) -> bool:
        """Whether edge offsets are written by side."""
        return any(text for key, text in self.offsets.items() if key != OFFSET)

    @property
    def bars(self) -> Mapping[str, str]:
        """Return the printed bars as measured, as written, by `check_bar` and `check_bar.along`."""
        return bar_texts(self.tables)

    @property
    def typed(self) -> bool:
        """Whether any reading is there, of the first set or a later one."""
        return bool(self.facts.readings)


@dataclass(frozen=True, slots=True)
class JobView:
    """A job on its page; `job` None where the file is no job, `problems` then say why and `text` shows it."""

    name: str
    text: JobText
    job: Job | None
    problems: tuple[str, ...]
    openings: tuple[OpeningView, ...]
    last: LastResult | None
    raw: Mapping[str, Any]

    @property
    def prequote(self) -> bool:
        """Whether there are no readings at all: it measures, and nothing in it is for ordering."""
        return self.job is not None and not any(o.typed for o in self.openings)

    @property
    def unfound(self) -> str:
        """Return which sizing rules of the last check this desk does not see, as a sentence; empty where none."""
        return "" if self.last is None else rules_not_found(self.last.unfound)

    def used(self, photo: str) -> tuple[str, ...]:
        """Return the labels of the openings that have a photo."""
        return tuple(o.label for o in self.openings if photo in o.photos)


def job_view(name: str, folder: Path, last: LastResult | None, top: Path) -> JobView:
    """Return what the page of a job shows; `top` is the desk's folder."""
    text = read_text(folder / JOB_FILE)
    try:
        job = load_job(folder / JOB_FILE)
        raw = tomllib.loads(text.text)
        require_reachable(o.label for o in job.openings)
    except (InputError, ValueError) as error:
        found = [str(p) for p in error.problems] if isinstance(error, InputError) else [str(error)]
        problems = tuple(p.replace(f"{folder}/", "") for p in found)
        return JobView(name, text, None, problems, (), last, {})
    tables = {table["label"]: table for table in raw["opening"]}
    people = decided_views(job, last, top)
    openings = tuple(_opening(job, o, tables.get(o.label, {}), last, people[o.label]) for o in job.openings)
    return JobView(name, text, job, (), openings, last, raw)


def unused(view: JobView, photos: Sequence[PhotoFile]) -> tuple[PhotoFile, ...]:
    """Return the photos that no opening has."""
    return tuple(p for p in photos if not view.used(p.name))


def boxes_of(table: Mapping[str, Any]) -> dict[str, str]:
    """Return the readings of an opening or a visit as written, by `width.top` and so on; empty where there is none."""
    return {f"{group}.{box}": str(table.get(group, {}).get(box, "")) for group, boxes in BOXES.items() for box in boxes}


def _opening(
    job: Job, opening: Opening, table: Mapping[str, Any], last: LastResult | None, decided: DecidedView
) -> OpeningView:
    found = last.opening(opening.label) if last is not None else None
    found = found or {}
    verdict = str(found.get("verdict", ""))
    bare = not opening.readings
    return OpeningView(
        label=opening.label,
        facts=opening,
        boxes=boxes_of(table),
        photos=tuple(p.file for p in opening.photos),
        verdict=verdict,
        verdict_words=words.verdict_of(verdict, bool(opening.photos), str(found.get("why_code", "")), readings=not bare)
        if verdict
        else words.NOT_CHECKED,
        why=sentence(str(found["why"])) if found.get("why") else "",
        next_step=str(found.get("next_step") or ""),
        request=str(found.get("request", "")),
        measures=_measures(found, job.units) if bare else (),
        sizes=_sizes(found, job.units) if bare else (),
        tables=table,
        decided=decided,
    )


def _measures(found: Mapping[str, Any], unit: Unit) -> tuple[MeasureLine, ...]:
    measures = found.get("measures", {})
    return tuple(
        MeasureLine(name_of(name), about(measures[name]["value_mm"], measures[name]["U95_mm"], unit))
        for name in NINE
        if name in measures
    )


def _sizes(found: Mapping[str, Any], unit: Unit) -> tuple[str, ...]:
    order = found.get("order") or {}
    listed = order.get("sizes", [])[:5]
    lines = tuple(order_words.share_line(s["width_mm"], s["height_mm"], s["probability"], unit) for s in listed)
    return (*lines, order_words.NOT_FOR_ORDERING) if lines else ()
