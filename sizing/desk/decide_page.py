"""Decisions of people on the page of an opening, by the rules of `secondtape decide`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.datastructures import FormData

from sizing.decided import CHOICES, Choice, Decision
from sizing.desk.results import file_sha256
from sizing.errors import InputError, Problem
from sizing.jobs.inputs_hash import inputs_sha256
from sizing.jobs.job import Job, Opening
from sizing.messages import decisions
from sizing.messages.exact_length import exact_length
from sizing.orders.ordering import rule_of
from sizing.orders.rules import Rule
from sizing.release.decisions import append_decision, bad_line_problems, read_decisions

_CHECK_FIRST = "the check is of earlier inputs: check again, look at the verdict, then decide"
_WHICH_OPENING = (
    "before the first decision, look at the photo and at the panel of its sheets, and say that it is the right opening"
)


def present_inputs(job: Job, opening: Opening, found: Mapping[str, Any] | None, top: Path | None = None) -> str:
    """Return the hash of an opening's inputs as they are now, empty where the last check was of others.

    `top` is the desk's folder: rules are looked for up to there, as its checks do.

    Notes
    -----
    What a check resolves (rule and camera profiles) is taken from its result and held against the files of now.
    """
    if found is None:
        return ""
    photos = ["" if p.error is not None else file_sha256(p.path) for p in opening.photos]
    papers = ["" if d.error is not None else file_sha256(d.path) for d in opening.documents]
    rule_sha256 = str((found.get("order") or {}).get("rule_sha256") or "")
    if rule_sha256:
        rule = rule_of(job, opening, top=top)
        if not isinstance(rule, Rule) or rule.sha256 != rule_sha256:
            return ""
    lenses = [u["sha256"] for p in found.get("photos", ()) for u in p.get("lenses", ()) if u.get("applied")]
    reach = {file_sha256(path) for p in opening.photos for path in (*p.lenses, *((p.lens,) if p.lens else ()))}
    if not set(lenses) <= reach:
        return ""
    now = inputs_sha256(job, opening, photos, papers, rule_sha256, lenses)
    return now if now == found.get("inputs_sha256") else ""


def decision_facts(job: Job, opening: Opening, found: Mapping[str, Any] | None, top: Path) -> dict[str, Any]:
    """Return what the page shows of decisions: all so far, which stands, and what may be decided now."""
    now = present_inputs(job, opening, found, top)
    problems: list[str] = []
    lines: list[dict[str, Any]] = []
    standing = None
    try:
        log = read_decisions(job.folder)
        problems = [str(p) for p in bad_line_problems(log)]
        standing = log.standing(opening.label, now) if now else None
        for decision in log.of(opening.label):
            stale = not now or decision.stale(now)
            lines.append(
                {"says": decisions.decided(decision, stale=stale), "stale": stale, "stands": decision == standing}
            )
    except InputError as error:
        problems = [str(p) for p in error.problems]
    width_mm, height_mm = _order_mm(found)
    sized = [exact_length(v, job.units) for v in (width_mm, height_mm) if v is not None]
    return {
        "lines": lines[::-1],
        "problems": problems,
        "first": not lines,
        "ready": bool(now),
        "inputs": now,
        "may_send": bool(found) and (found or {}).get("verdict") == "send",
        "size": " x ".join(sized) if len(sized) == 2 else "",
        "stands": standing is not None,
    }


def decide(job: Job, opening: Opening, found: Mapping[str, Any] | None, form: FormData, top: Path) -> int:
    """Append the decision of a form to the job's decisions; return its line.

    Raises
    ------
    InputError
        The check is not of the present inputs, does not support sending, the opening was not confirmed before the
        first decision, or name, reason or accepted risk are missing.
    """
    choice = _choice(str(form.get("choice", "")))
    now = present_inputs(job, opening, found, top)
    if not now or found is None or str(form.get("inputs_sha256", now)) != now:
        raise InputError("decision-stale", [Problem(opening.label, _CHECK_FIRST)])
    verdict = str(found["verdict"])
    if choice == "send" and verdict != "send":
        step = str(found.get("next_step") or "")
        says = decisions.send_unsupported(opening.label, verdict, found["why"], step, at_desk=True)
        raise InputError("send-unsupported", [Problem(opening.label, says)])
    if choice != "hold" and not read_decisions(job.folder).of(opening.label) and form.get("right") != "yes":
        raise InputError("not-confirmed", [Problem(opening.label, _WHICH_OPENING)])
    width_mm, height_mm = _order_mm(found)
    return append_decision(
        job.folder,
        Decision(
            time=datetime.now(UTC),
            by=str(form.get("by", "")).strip(),
            opening=opening.label,
            decision=choice,
            reason=str(form.get("reason", "")).strip(),
            inputs_sha256=now,
            width_mm=width_mm,
            height_mm=height_mm,
            risk_accepted=str(form.get("risk", "")).strip() if choice == "override" else "",
            verdict=verdict,
        ),
    )


def _choice(text: str) -> Choice:
    for choice in CHOICES:
        if text == choice:
            return choice
    raise InputError("no-choice", [Problem("decision", "choose one: order, stop, or order against the check")])


def _order_mm(found: Mapping[str, Any] | None) -> tuple[float | None, float | None]:
    """Return the size to be ordered, as in `sizing.release.release.order_size_mm`: as given, else by the rule."""
    given = (found or {}).get("ordered") or {}
    ruled = ((found or {}).get("order") or {}).get("by_rule") or {}
    width, height = (given.get(key, ruled.get(key)) for key in ("width_mm", "height_mm"))
    return width, height
