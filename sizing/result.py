"""The JSON document of a check or an estimate, by the contract: strict, without NaN or times."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime, time
from typing import Any

import numpy as np

from sizing.crosscheck.as_json import job_tests_document, joint_test_document, reading_test_document
from sizing.jobs.job import Opening, Reading, Tolerance
from sizing.judging import ReadingResult
from sizing.messages import verdicts as messages
from sizing.messages.one_line import sentence
from sizing.messages.remedy import remedy_says
from sizing.messages.slips import slip_says
from sizing.mixture import interval95, mixture_of
from sizing.nextstep import step_of
from sizing.orders.as_json import estimate_order_document, not_held_document, order_document
from sizing.outcome import EstimateResult, JobResult, OpeningResult
from sizing.release.decisions import shown_document
from sizing.remeasure import again, request
from sizing.remedy import Advice
from sizing.runs.photoresults import PhotoResult
from sizing.units import Unit, format_length
from vision.request import NINE, PARTS, SIDES, Array, Candidate, Estimate, Face, LensUse, NotMeasured, Warning_

SCHEMA = "secondtape/1"
# An interval so many times as long as 2 U95 is no longer a normal one's (guess).
_FAR_FROM_NORMAL = 1.3
Document = dict[str, Any]
# Contract: same inputs give the same values to 0.01 mm on any machine; what is beyond is not shown.
_MM_DIGITS = 3
_COV_DIGITS = 6
_P_DIGITS = 4
_PX_DIGITS = 1
# Of the curve of a side as drawn.
_MOST_POINTS = 100


def check_document(jobs: Sequence[Document], *, line: bool = False) -> Document:
    """Return the document of `check --json`, or with `line` that of one line of `check --jsonl`."""
    if line:
        return {"schema": SCHEMA, **jobs[0]}
    return {"schema": SCHEMA, "jobs": list(jobs)}


def as_text(document: Mapping[str, Any], *, indent: int | None = None) -> str:
    """Return the document as strict JSON in ASCII; ValueError if a NaN has slipped in."""
    return json.dumps(document, allow_nan=False, indent=indent)


def job_document(result: JobResult) -> Document:
    """Return one element of `jobs`; a job that could not be read has `error` in place of `openings`."""
    document: Document = {"job": result.name, "file": result.file, "verdict": result.verdict}
    if result.error is not None:
        document["error"] = {
            "code": result.error.code,
            "message": str(result.error),
            "problems": [{"where": p.where, "says": p.says} for p in result.error.problems],
        }
        return document
    job = result.job
    if job is not None:
        document |= {"units": job.units, "sha256": job.sha256, "unpointed_sha256": job.unpointed_sha256}
        document["tolerance_mm"] = _tolerance(job.tolerance)
        known = {
            "measured_by": job.measured_by,
            "measured_on": job.measured_on,
            "note": job.note,
            "extra": job.extra,
        }
        document |= {key: _clean(value) for key, value in known.items() if value}
    units: Unit = job.units if job is not None else "mm"
    document["openings"] = [_opening(opening, result, units) for opening in result.openings]
    document["job_tests"] = job_tests_document(result.job_tests, units)
    if result.decision_problems:
        document["decision_problems"] = [{"where": p.where, "says": p.says} for p in result.decision_problems]
    return document


def estimate_document(result: EstimateResult) -> Document:
    """Return the document of `estimate --json`: one opening without readings and order."""
    opening: Document = {"label": result.request.photos[0].path.stem, "verdict": None}
    opening |= _measured(result.answer)
    opening["photos"] = [_photo(photo) for photo in result.photos]
    opening["warnings"] = [_warning(w) for w in result.answer.warnings]
    opening["decision"] = None
    if result.order is not None:
        opening["order"] = estimate_order_document(result.order)
    return {"schema": SCHEMA, "openings": [opening]}


def _opening(result: OpeningResult, job: JobResult, units: Unit) -> Document:
    answer, verdict = result.answer, result.verdict
    reason = answer.why if isinstance(answer, NotMeasured) else ""
    measured = _measured(answer)
    not_measured = measured.pop("why", None)
    document: Document = {
        "label": result.opening.label,
        "verdict": verdict.verdict,
        "why": messages.why_verdict(verdict.why, verdict.names, reason),
        "why_code": verdict.why,
        "next_step": step_of(result),
        "tolerance_mm": _tolerance(result.tolerance),
    }
    if not_measured:
        document["not_measured"] = {"code": measured.pop("why_code"), "message": not_measured}
        if verdict.why != "no-photo":
            document["why"] += " " + sentence(not_measured)
    document |= measured
    document["photos"] = [_photo(photo) for photo in result.photos]
    document["readings"] = [_reading(reading, units) for reading in result.readings]
    document["remeasure"] = [
        {"name": a.name, "read": format_length(a.read_mm, units), "look_out": a.look_out}
        for a in again(result.readings)
    ]
    document["remedy"] = _advice(result.advice, units)
    measured_on = job.job.measured_on if job.job is not None else None
    document["request"] = request(result.opening.label, result.readings, units, job=job.name, on=measured_on)
    if result.order is not None:
        document["order"] = order_document(result.order, units)
    document["joint_test"] = joint_test_document(result.crosscheck)
    document["warnings"] = [_warning(w) for w in result.warnings]
    document["inputs_sha256"] = result.inputs_sha256
    document["decision"] = shown_document(result.decision, result.inputs_sha256)
    return document | _kept(result.opening, result.document_sha256)


def _advice(advice: Advice | None, units: Unit) -> Document | None:
    if advice is None:
        return None
    before, after = advice.U95_before_mm, advice.U95_after_mm
    return {
        "steps": [{"action": action, "where": where} for action, where in advice.steps],
        "name": advice.name,
        "U95_before_mm": _mm(before),
        "U95_after_mm": _mm(after),
        "settles": advice.settles,
        "says": remedy_says(
            advice.steps, advice.name, before, after, units, settles=advice.settles, thing=advice.thing
        ),
    }


def _measured(answer: Estimate | NotMeasured) -> Document:
    """Return what the photo says, or why it says nothing."""
    if isinstance(answer, NotMeasured):
        return {"why": answer.why, "why_code": answer.code, "faces": []}
    u_mm = np.sqrt(np.maximum(np.diag(answer.cov_mm2), 0.0))
    measures: Document = {}
    for i, name in enumerate(NINE):
        parts = {part: _mm(answer.budget_mm[i, k]) for k, part in enumerate(PARTS)}
        measures[name] = {
            **_quantity(answer.values_mm[i], u_mm[i]),
            **_interval(answer, name, float(u_mm[i])),
            "budget_mm": {part: value for part, value in parts.items() if value},
        }
    for name, further in answer.further.items():
        place = {} if further.place_mm is None else {"place_mm": _mm(further.place_mm)}
        measures[name] = {**_quantity(further.value_mm, further.u_mm), **place}
    return {
        "found_by": answer.found_by,
        "measures": measures,
        "covariance_mm2": [[_number(v, _COV_DIGITS) for v in row] for row in answer.cov_mm2],
        "sides": _sides(answer.candidates),
        "faces": [_face(face) for face in answer.faces],
    }


def _face(face: Face) -> Document:
    """Return an outline or line beside the edges: what a tape taken to it would read, and what that rests on."""
    return {
        "name": face.name,
        "kind": face.kind,
        "measures_mm": {name: _mm(v) for name, v in face.measures_mm.items()},
        "u_mm": _mm(face.u_mm),
        "U95_mm": {name: _mm(2.0 * u) for name, u in face.u_by_mm.items()},
        "depth_mm": _mm(face.depth_mm),
        "u_depth_mm": _mm(face.u_depth_mm),
        "depth_by": face.depth_by,
        "weight": _number(face.weight, _P_DIGITS),
        "lines_px": {side: _points(px) for side, px in face.lines_px.items()},
    }


def _interval(answer: Estimate, name: str, u_mm: float) -> Document:
    """Return the 95 % interval where rival edges make it much unlike value +- U95 (contract, *Words*)."""
    low, high = interval95(mixture_of(answer.values_mm, answer.cov_mm2, answer.candidates, name))
    wide = high - low > _FAR_FROM_NORMAL * 4.0 * u_mm
    return {"ci95_mm": [_mm(low), _mm(high)]} if wide else {}


def _quantity(value_mm: float, u_mm: float) -> Document:
    return {"value_mm": _mm(value_mm), "u_mm": _mm(u_mm), "U95_mm": _mm(2.0 * u_mm)}


def _sides(candidates: Sequence[Candidate]) -> Document:
    return {
        side: {
            "candidates": [
                {
                    "weight": _number(c.weight, _P_DIGITS),
                    "shift_mm": _mm(c.shift_mm),
                    "shift_nine_mm": [_mm(v) for v in c.shift_nine_mm],
                    "name": c.name,
                }
                for c in candidates
                if c.side == side
            ]
        }
        for side in SIDES
    }


def _photo(photo: PhotoResult) -> Document:
    document: Document = {"file": photo.file}
    report = photo.report
    if photo.sha256:
        document["sha256"] = photo.sha256
    if report is not None and all(report.size_px):
        document["size_px"] = list(report.size_px)
        if report.corners_px is not None:
            document["corners_px"] = _points(report.corners_px)
        if report.lenses:
            document["lenses"] = [_lens(use) for use in report.lenses]
        document["references"] = [{"name": name, "corners_px": _points(px)} for name, px in report.references_px]
        document["sides_px"] = {
            side: _points(px[:: max(1, len(px) // _MOST_POINTS)]) for side, px in report.sides_px.items()
        }
        document["stations_px"] = {name: _points(px) for name, px in report.stations_px.items()}
        document["rivals_px"] = [
            {"side": side, "shift_mm": _mm(shift), "ends_px": _points(px)} for side, shift, px in report.rivals_px
        ]
    document["warnings"] = [_warning(w) for w in report.warnings] if report is not None else []
    if photo.error is not None:
        document["error"] = _warning(photo.error)
    return document


def _lens(use: LensUse) -> Document:
    document: Document = {"file": use.path.name, "sha256": use.sha256, "applied": use.applied}
    return document | ({"why": use.why} if use.why else {})


def _reading(result: ReadingResult, units: Unit) -> Document:
    judged = result.judgement
    document: Document = {
        **_said(result.reading),
        "photo_mm": _mm(judged.photo_mm),
        "difference_mm": _mm(judged.difference_mm),
        "U95_mm": _mm(judged.U95_mm),
        "e_n": _number(judged.e_n, 2),
        "p_within": _number(judged.p_within, _P_DIGITS),
        "smallest_slip_mm": _mm(judged.smallest_slip_mm),
        "verdict": judged.verdict,
        "holds": result.holds,
        "edge_decides": result.edge_decides,
        **not_held_document(result.reading.name, judged.verdict, result.p_changes),
        "risk_if_ordered": _number(judged.risk_if_ordered, _P_DIGITS),
        "risk_if_stopped": _number(judged.risk_if_stopped, _P_DIGITS),
        **reading_test_document(result.test),
    }
    document["likely"] = [
        {
            "slip": e.slip,
            "probability": _number(e.probability, _P_DIGITS),
            "likelihood_ratio": _significant(e.likelihood_ratio),
            "corrected_mm": _mm(e.corrected_mm),
            "says": slip_says(e.slip, e.shift_mm, e.corrected_mm, e.facts, units),
            **({"facts": dict(e.facts)} if e.facts else {}),
        }
        for e in result.likely
    ]
    return document


def _said(reading: Reading) -> Document:
    """Return what the tape said, as from outside, and how it was written."""
    document: Document = {
        "name": reading.name,
        "tape_mm": _mm(reading.length.mm),
        "as_written": reading.length.as_written,
    }
    if reading.as_named != reading.name:
        document["as_named"] = reading.as_named
    tape = reading.tape if reading.tape != "unknown" else None
    known = {"by": reading.by, "on": reading.on, "visit": reading.visit, "tape": tape}
    return document | {key: _clean(value) for key, value in known.items() if value}


def _kept(opening: Opening, hashes: Sequence[str]) -> Document:
    """Return what is kept and shown, and not interpreted; nothing where nothing was given."""
    kept: Document = {
        "quantity": opening.quantity if opening.quantity != 1 else None,
        "note": opening.note,
        "superseded": [_said(reading) for reading in opening.superseded],
        "extra": _clean(opening.extra),
        "rule": opening.rule,
        "obstacles": [
            {"what": o.what, "photo": o.photo, "outline_px": [list(point) for point in o.outline_px]}
            for o in opening.obstacles
        ],
        "clearances_mm": {side: _mm(length.mm) for side, length in opening.clearances.items()},
        "documents": [
            {
                "file": d.file,
                "kind": d.kind,
                **({"sha256": sha256} if sha256 else {}),
                **({"error": d.error.says} if d.error is not None else {}),
            }
            for d, sha256 in zip(opening.documents, hashes, strict=False)
        ],
    }
    for key, size in (("ordered", opening.ordered), ("delivered", opening.delivered)):
        if size is not None:
            sides = {"width_mm": size.width, "height_mm": size.height}
            kept[key] = {name: _mm(length.mm) for name, length in sides.items() if length is not None}
            kept[key] |= {name: said for name, said in (("by", size.by), ("tape", size.tape)) if said}
    return {key: value for key, value in kept.items() if value}


def _warning(warning: Warning_) -> Document:
    return {"code": warning.code, "message": warning.message}


def _points(points_px: Array) -> list[list[float | None]]:
    return [[_number(v, _PX_DIGITS) for v in point] for point in points_px]


def _tolerance(tolerance: Tolerance) -> Document:
    return {name.removesuffix("_mm"): _mm(value) for name, value in asdict(tolerance).items()}


def _mm(value: float | None) -> float | None:
    return _number(value, _MM_DIGITS)


def _number(value: float | None, digits: int) -> float | None:
    """Return the value rounded; None where there is none, or it is not finite. Never minus zero."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def _significant(value: float | None) -> float | None:
    """Return the value to three digits; None where there is none, or it is not finite."""
    return None if value is None or not math.isfinite(value) else float(f"{value:.3g}")


def _clean(value: object) -> Any:  # noqa: ANN401 -- a value of JSON
    """Return a value of a TOML table as one of JSON: dates as text, numbers that are not finite as null."""
    if isinstance(value, Mapping):
        return {str(key): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    # Beyond TOML's range; Python may refuse to print it in decimals.
    if isinstance(value, int) and abs(value) >= 1 << 63:
        return hex(value)
    return value
