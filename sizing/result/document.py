"""The JSON document of a check or an estimate, by the contract: strict, without NaN or times."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.joint_test import standing_out
from sizing.json_values import Document, cleaned, rounded_mm
from sizing.messages import verdicts as messages
from sizing.messages.one_line import sentence
from sizing.messages.remedy import remedy_says
from sizing.messages.tape_figure import typed_figure
from sizing.nextstep import step_of
from sizing.outcome import EstimateResult, JobResult, OpeningResult
from sizing.release.decision_line import shown_document
from sizing.remeasure import again, request
from sizing.remedy import Advice
from sizing.result.crosscheck import job_tests_document, joint_test_document
from sizing.result.kept import kept_document
from sizing.result.measured import measured_document
from sizing.result.orders import estimate_order_document, order_document
from sizing.result.photos import photo_document
from sizing.result.readings import reading_document
from sizing.result.values import tolerance_document, warning_document
from sizing.units import Unit
from vision.request import NotMeasured

SCHEMA = "secondtape/1"


def check_document(jobs: Sequence[Document], *, line: bool = False) -> Document:
    """Return the document of `check --json`, or with `line` that of one line of `check --jsonl`."""
    if line:
        return {"schema": SCHEMA, **jobs[0]}
    return {"schema": SCHEMA, "jobs": list(jobs)}


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
        document["tolerance_mm"] = tolerance_document(job.tolerance)
        known = {
            "measured_by": job.measured_by,
            "measured_on": job.measured_on,
            "note": job.note,
            "extra": job.extra,
        }
        document |= {key: cleaned(value) for key, value in known.items() if value}
    units: Unit = job.units if job is not None else "mm"
    document["openings"] = [_opening(opening, result, units) for opening in result.openings]
    document["job_tests"] = job_tests_document(result.job_tests, units)
    if result.decision_problems:
        document["decision_problems"] = [{"where": p.where, "says": p.says} for p in result.decision_problems]
    return document


def estimate_document(result: EstimateResult) -> Document:
    """Return the document of `estimate --json`: one opening without readings and order."""
    opening: Document = {"label": result.request.photos[0].path.stem, "verdict": None}
    opening |= measured_document(result.answer)
    opening["photos"] = [photo_document(photo) for photo in result.photos]
    opening["warnings"] = [warning_document(w) for w in result.answer.warnings]
    opening["decision"] = None
    if result.order is not None:
        opening["order"] = estimate_order_document(result.order)
    return {"schema": SCHEMA, "openings": [opening]}


def _opening(result: OpeningResult, job: JobResult, units: Unit) -> Document:
    answer, verdict = result.answer, result.verdict
    reason = answer.why if isinstance(answer, NotMeasured) else ""
    measured = measured_document(answer)
    not_measured = measured.pop("why", None)
    document: Document = {
        "label": result.opening.label,
        "verdict": verdict.verdict,
        "why": messages.why_verdict(verdict.why, verdict.names, reason),
        "why_code": verdict.why,
        "next_step": step_of(result),
        "tolerance_mm": tolerance_document(result.tolerance),
    }
    if not_measured:
        document["not_measured"] = {"code": measured.pop("why_code"), "message": not_measured}
        if verdict.why != "no-photo":
            document["why"] += " " + sentence(not_measured)
    document |= measured
    document["photos"] = [photo_document(photo) for photo in result.photos]
    document["readings"] = [reading_document(reading, units) for reading in result.readings]
    suspect = standing_out(result.crosscheck)
    document["remeasure"] = [
        {"name": a.name, "read": typed_figure(a.written, a.read_mm, units), "look_out": a.look_out}
        for a in again(result.readings, suspect)
    ]
    document["remedy"] = _advice(result.advice, units)
    measured_on = job.job.measured_on if job.job is not None else None
    document["request"] = request(
        result.opening.label, result.readings, units, job=job.name, on=measured_on, standing_out=suspect
    )
    if result.order is not None:
        document["order"] = order_document(result.order, units)
    document["joint_test"] = joint_test_document(result.crosscheck)
    document["warnings"] = [warning_document(w) for w in result.warnings]
    document["inputs_sha256"] = result.inputs_sha256
    document["decision"] = shown_document(result.decision, result.inputs_sha256)
    return document | kept_document(result.opening, result.document_sha256)


def _advice(advice: Advice | None, units: Unit) -> Document | None:
    if advice is None:
        return None
    before, after = advice.U95_before_mm, advice.U95_after_mm
    return {
        "steps": [{"action": action, "where": where} for action, where in advice.steps],
        "name": advice.name,
        "U95_before_mm": rounded_mm(before),
        "U95_after_mm": rounded_mm(after),
        "settles": advice.settles,
        "says": remedy_says(
            advice.steps, advice.name, before, after, units, settles=advice.settles, thing=advice.thing
        ),
    }
