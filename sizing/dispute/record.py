"""The record of a dispute as JSON and as text: inputs with SHA-256, versions, settings, figures; no time, no person."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from sizing.dispute.chain import STATIONS_OF
from sizing.dispute.dispute import SCHEMA, STEPS, Dispute, Finding, OpeningDispute, Traced
from sizing.dispute.steps import Settings
from sizing.errors import InputError
from sizing.faults import fault_text
from sizing.jobs.job import Reading
from sizing.json_values import Document, rounded, rounded_mm
from sizing.messages import dispute as messages
from sizing.messages.chance import percent
from sizing.orders.rules import Rule
from sizing.regularfile import regular_sha256
from sizing.release.decisions import FILE
from sizing.units import Unit
from vision.request import Array, NotMeasured

_ID_LENGTH = 12
_P_DIGITS = 4
# Below this a step did probably not slip, and the size that its slip would have is of no use.
_WORTH_A_SIZE = 0.2
# Likelier than not: named in the sentence on the opening.
_PROBABLE = 0.5
# Steps less probable than this are said together in one line.
_WORTH_A_LINE = 0.01
# Evidence of steps less probable than this stands in the JSON alone.
_WORTH_EVIDENCE = 0.05


def dispute_document(dispute: Dispute, settings: Settings, versions: Sequence[str]) -> Document:
    """Return a dispute as JSON; `record` is the hash of all the rest.

    Parameters
    ----------
    dispute : Dispute
    settings : Settings
        Those that it was traced with.
    versions : sequence of str
        Program and libraries, as `sizing.versions.version_lines` gives them.
    """
    unit = dispute.job.units
    document: Document = {
        "schema": SCHEMA,
        "job": dispute.job.id,
        "units": unit,
        "versions": [line.strip() for line in versions],
        "settings": {
            "sha256": dispute.settings_sha256,
            "guesses": True,
            "rate": dict(settings.rate),
            "spread_mm": dict(settings.spread_mm),
            "noise_mm": dict(settings.noise_mm),
        },
        "inputs": _inputs(dispute),
        "openings": [_opening(opening, unit) for opening in dispute.openings],
        "note": messages.NOTE,
    }
    text = json.dumps(document, sort_keys=True, allow_nan=False)
    return document | {"record": hashlib.sha256(text.encode()).hexdigest()[:_ID_LENGTH]}


def dispute_text(document: Document) -> str:
    """Return a record as text for people; it says what the JSON says."""
    lines = [messages.heading(document["job"], document["record"])]
    for opening in document["openings"]:
        lines.append(f"  {opening['says']}")
        lines += [f"    {says}" for says in opening["photos_silent"]]
        for part in opening["directions"]:
            lines.append(f"  {messages.part_heading(opening['label'], part['direction'])}")
            ranked = _likeliest_first(part)
            worth = [step for step in ranked if step["probability"] >= _WORTH_A_LINE]
            # One alone is said as it is.
            shown = worth if len(ranked) > len(worth) + 1 else ranked
            for step in shown:
                lines.append(f"    {step['says']}")
                evidence = step.get("evidence", ())
                lines += [f"        {e}" for e in evidence if step["probability"] >= _WORTH_EVIDENCE]
            lines += [f"    {_the_rest(ranked[len(shown) :], part['none'])}"] if len(shown) < len(ranked) else []
            lines += [f"    {missing['says'][0].upper()}{missing['says'][1:]}" for missing in part["no_figure"]]
            if part["fit"]:
                lines.append(f"    {part['fit']}")
            lines += [f"    Would decide: {says}" for says in part["would_decide"]]
    return "\n".join([*lines, f"  {document['note']}"])


def _likeliest_first(part: Document) -> list[Document]:
    """Return the steps of one direction, and that none of them slipped, by probability."""
    none = [part["none"]] if part["none"] else []
    return sorted([*none, *part["steps"]], key=lambda step: -step["probability"])


def _the_rest(steps: Sequence[Document], none: Document | None) -> str:
    """Return one line for several steps that are improbable each, with what one is at most under other guesses."""
    return messages.others_line(max(step["range"][1] for step in steps), none=none in steps)


def _inputs(dispute: Dispute) -> list[Document]:
    found: list[Document] = [{"kind": "job", "file": dispute.job.file.name, "sha256": dispute.job.sha256}]
    log = dispute.job.folder / FILE
    if log.is_file():
        found.append({"kind": "decisions", "file": FILE, "sha256": _sha256(log)})
    for opening in dispute.openings:
        label = opening.opening.label
        for when, photo in opening.photos:
            found.append({"kind": f"photo-{when}", "opening": label, "file": photo.file, "sha256": photo.sha256})
            if photo.report is not None:
                found += [
                    {"kind": "lens", "opening": label, "file": use.path.name, "sha256": use.sha256}
                    for use in photo.report.lenses
                    if use.applied
                ]
        found += [{"kind": k, "opening": label, "file": f, "sha256": s} for k, f, s in opening.documents]
        if isinstance(opening.rule, Rule):
            rule = opening.rule
            found.append({"kind": "rule", "opening": label, "file": rule.file.name, "sha256": rule.sha256})
    return found


def _opening(dispute: OpeningDispute, unit: Unit) -> Document:
    silent = [
        messages.photo_silent(when, named_in_job(answer.why, dispute))
        for when, answer in (("before", dispute.before), ("after", dispute.after))
        if isinstance(answer, NotMeasured)
    ]
    document: Document = {"label": dispute.opening.label, "photos_silent": silent}
    if dispute.fault is not None:
        document["fault"] = type(dispute.fault).__name__
        document["says"] = messages.not_traced(dispute.opening.label, fault_text(dispute.fault))
        return document | {"directions": []}
    if isinstance(dispute.rule, InputError):
        document["rule_error"] = str(dispute.rule)
    document["says"] = _opening_says(dispute)
    sheets = [file for kind, file, _ in dispute.documents if kind == "field-sheet"]
    return document | {"directions": [_direction(traced, sheets, unit) for traced in dispute.traced]}


def _opening_says(dispute: OpeningDispute) -> str:
    """Return one sentence on an opening: what probably slipped in each direction, and what has no figure."""
    parts = []
    for traced in dispute.traced:
        says = [
            (messages.step_says(f.steps, f.station if len(f.steps) == 1 else None), percent(f.probability))
            for f in traced.findings
            if f.probability >= _PROBABLE
        ]
        none = None if traced.none is None else percent(traced.none[0])
        sound = traced.none is not None and traced.none[0] >= _PROBABLE
        parts.append(messages.direction_says(traced.trace.direction, says, none, sound=sound))
    silent = [{step for step, _ in traced.no_figure} for traced in dispute.traced]
    lacking = [step for step in STEPS if any(step in one for one in silent)]
    return messages.opening_says(dispute.opening.label, parts, lacking)


def named_in_job(text: str, dispute: OpeningDispute) -> str:
    """Return a text with the photos named as the job does: the record is the same in any folder."""
    for entry in dispute.opening.photos:
        text = text.replace(str(entry.path), entry.file)
    return text


def _direction(traced: Traced, sheets: Sequence[str], unit: Unit) -> Document:
    trace = traced.trace
    none: Document | None = None
    if traced.none is not None:
        p, low, high = traced.none
        says = messages.none_line(messages.probability(p, low, high))
        none = {
            "probability": rounded(p, _P_DIGITS),
            "range": [rounded(low, _P_DIGITS), rounded(high, _P_DIGITS)],
            "says": says,
        }
    return {
        "direction": trace.direction,
        "order_from_visit": trace.order_visit,
        "readings": [_reading(r) for r in trace.boxes],
        "other_readings": [_reading(r) for found in trace.witnesses for r in found],
        "readings_left_out": trace.left_out,
        "photo_before": _photo(trace.before, STATIONS_OF[trace.direction]),
        "photo_after": _photo(trace.after, STATIONS_OF[trace.direction]),
        "by_rule_mm": rounded_mm(trace.by_rule_mm),
        "ordered_mm": rounded_mm(trace.ordered_mm),
        "ordered_from": trace.ordered_from if trace.ordered_mm is not None else None,
        "delivered_mm": rounded_mm(trace.delivered_mm),
        "u_delivered_mm": rounded_mm(trace.u_delivered_mm),
        "steps": [_finding(found, traced, unit) for found in traced.findings],
        "none": none,
        "no_figure": [{"step": s, "code": c, "says": messages.no_figure(s, c)} for s, c in traced.no_figure],
        "fit_mm": rounded_mm(traced.fit_mm),
        "fit_U95_mm": rounded_mm(traced.fit_U95_mm),
        "fit": _fit(traced, unit),
        "would_decide": _would_decide(traced, sheets),
    }


def _fit(traced: Traced, unit: Unit) -> str | None:
    if traced.fit_mm is None or traced.fit_U95_mm is None:
        return None
    return messages.fit_evidence(traced.fit_mm, traced.fit_U95_mm, unit)


def _finding(found: Finding, traced: Traced, unit: Unit) -> Document:
    chance = messages.probability(found.probability, found.low, found.high)
    # Of other steps that cannot be told apart each would have a size and a box of its own.
    sized = found.probability >= _WORTH_A_SIZE and found.sized
    size = messages.error_size(found.error_mm, 2.0 * found.u_mm, unit) if sized else None
    station = found.station if sized else None
    return {
        "steps": list(found.steps),
        "probability": rounded(found.probability, _P_DIGITS),
        "range": [rounded(found.low, _P_DIGITS), rounded(found.high, _P_DIGITS)],
        "station": station,
        "error_mm": rounded_mm(found.error_mm) if sized else None,
        "U95_mm": rounded_mm(2.0 * found.u_mm) if sized else None,
        "says": messages.finding_line(messages.step_says(found.steps, station), chance, size),
        "evidence": _evidence(found.steps, traced, unit),
    }


def _evidence(steps: Sequence[str], traced: Traced, unit: Unit) -> list[str]:
    trace = traced.trace
    before, after = (_by_station(p) for p in (trace.before, trace.after))
    lines: list[str] = []
    if "reading" in steps or "readings" in steps:
        for r in trace.boxes:
            photo = before[STATIONS_OF[trace.direction].index(r.name)] if before else None
            lines.append(messages.read_evidence(r.name, r.length.as_written, r.length.mm, photo, unit))
        for r in (r for found in trace.witnesses for r in found):
            lines.append(messages.visit_evidence(r.name, r.length.as_written, r.length.mm, r.visit, unit))
    if "ordered" in steps and trace.by_rule_mm is not None and trace.ordered_mm is not None:
        lines.append(messages.order_evidence(trace.by_rule_mm, trace.ordered_mm, trace.order_visit, unit))
    U95_mm = 2.0 * trace.u_delivered_mm
    if "made" in steps and trace.ordered_mm is not None and trace.delivered_mm is not None:
        lines.append(messages.made_evidence(trace.ordered_mm, trace.delivered_mm, U95_mm, unit))
    elif "made" in steps and trace.by_rule_mm is not None and trace.delivered_mm is not None:
        sizes_mm = trace.by_rule_mm, trace.delivered_mm
        lines.append(messages.delivered_evidence(*sizes_mm, U95_mm, trace.order_visit, unit))
    if "changed" in steps and after:
        at = 1 if len(after) > 2 else 0
        where = STATIONS_OF[trace.direction][at]
        lines.append(messages.changed_evidence(before[at] if before else None, after[at], where, unit))
    return lines


def _would_decide(traced: Traced, sheets: Sequence[str]) -> list[str]:
    lines = [messages.would_decide(code) for _, code in traced.no_figure]
    probable = [f for f in traced.findings if f.probability >= _WORTH_A_SIZE]
    for found in probable:
        if {"reading", "readings"} & set(found.steps):
            lines.append(messages.paper_would_decide(sheets))
        if any(step.startswith("photo") or ":" in step for step in found.steps):
            lines.append(messages.photo_would_decide())
        if {"ordered", "made"} <= set(found.steps):
            lines.append(messages.would_decide("no-order"))
        if "made" in found.steps:
            lines.append(messages.pieces_would_decide())
    return list(dict.fromkeys(lines))


def _reading(reading: Reading) -> Document:
    document: Document = {
        "name": reading.name,
        "tape_mm": rounded_mm(reading.length.mm),
        "as_written": reading.length.as_written,
        "visit": reading.visit,
        "tape": reading.tape,
    }
    return document | ({"on": reading.on.isoformat()} if reading.on else {})


def _photo(seen: tuple[Array, Array] | None, names: Sequence[str]) -> Document | None:
    if seen is None:
        return None
    return {
        n: {"value_mm": rounded_mm(v), "U95_mm": rounded_mm(U)}
        for n, (v, U) in zip(names, _by_station(seen), strict=True)
    }


def _by_station(seen: tuple[Array, Array] | None) -> list[tuple[float, float]]:
    if seen is None:
        return []
    values, cov = seen
    U95 = 2.0 * np.sqrt(np.diag(cov))
    return [(float(v), float(U)) for v, U in zip(values, U95, strict=True)]


def _sha256(path: Path) -> str:
    return regular_sha256(path)
