"""What of a job may be ordered, and only that, planned from a check.

An opening is released when a person decided so on these very inputs: to send what the check supports, or to
override it with name, reason and the risk accepted. The check alone releases nothing: every line says by whom it was
decided and when. A decision to send against the check is no override and releases nothing.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Literal

from sizing.decided import Decision, DecisionLog
from sizing.messages import order as order_words
from sizing.messages import release as messages
from sizing.messages import verdicts
from sizing.messages.one_line import sentence
from sizing.outcome import JobResult, OpeningResult
from sizing.units import Unit

ReleasedBy = Literal["decision", "override"]

_NUMBER_LENGTH = 12
# Enough that 1/64 in is written out.
_DIGITS = 6
# The size of a decision and that of the order are one when they print alike (contract: values to 0.01 mm).
_SAME_MM = 0.01


@dataclass(frozen=True, slots=True)
class Released:
    """One opening that may be ordered, by whose decision and when; sizes in mm.

    `panels_mm` are the widths of several panels, `confirm` codes of what the rule asks to confirm on site, `notes`
    what of the opening the size leaves open, in words.
    """

    opening: str
    quantity: int
    rule: str
    rule_sha256: str
    width_mm: float
    height_mm: float
    verdict: str
    why: str
    released_by: ReleasedBy
    decided_by: str
    decided_at: str
    reason: str
    risk_accepted: str
    inputs_sha256: str
    panels_mm: tuple[float, ...] = ()
    confirm: tuple[str, ...] = ()
    also_in: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NotReleased:
    """One opening that this release holds back: the code of the reason, and the reason with its remedy.

    `also_in` are the numbers of earlier releases that handed it over all the same.
    """

    opening: str
    verdict: str
    code: str
    says: str
    also_in: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Release:
    """What one job hands over; `number` is the same for the same content, `asked` whether all asked for is in."""

    number: str
    job: str
    units: Unit
    job_sha256: str
    lines: tuple[Released, ...]
    rest: tuple[NotReleased, ...]

    @property
    def complete(self) -> bool:
        """Whether everything that was asked for is released."""
        return all(r.code == "not-asked" for r in self.rest)


def plan_release(result: JobResult, labels: Sequence[str] | None = None) -> Release:
    """Return what of a checked job may be ordered.

    Parameters
    ----------
    result : JobResult
        A job that could be read; the check is the one that was just made.
    labels : sequence of str, optional
        The openings asked for; all when absent.

    Raises
    ------
    ValueError
        The job could not be read.
    """
    job = result.job
    if job is None:
        raise ValueError("a job that cannot be read releases nothing")
    lines: list[Released] = []
    rest: list[NotReleased] = []
    for opening in result.openings:
        asked = labels is None or opening.opening.label in labels
        try:
            answer = _judge(opening, result.decisions, job.units, asked=asked)
        except Exception:  # what the program fails on is not released; the others are
            says = messages.not_released("fault", "", "", stale=False, supported=False)
            answer = NotReleased(opening.opening.label, opening.verdict.verdict, "fault", says)
        if isinstance(answer, Released):
            lines.append(answer)
        else:
            rest.append(answer)
    released = [{k: v for k, v in asdict(x).items() if v or k != "notes"} for x in lines]
    held_back = [{k: v for k, v in asdict(x).items() if v or k != "also_in"} for x in rest]
    content = json.dumps([job.id, job.units, released, held_back], sort_keys=True)
    number = hashlib.sha256(content.encode()).hexdigest()[:_NUMBER_LENGTH]
    return Release(number, job.id, job.units, job.sha256, tuple(lines), tuple(rest))


def order_size_mm(result: OpeningResult) -> tuple[float | None, float | None]:
    """Return width and height that are about to be ordered, mm: as given, else by the rule; None without either."""
    size, order = result.opening.ordered, result.order
    given = (size.width, size.height) if size is not None else (None, None)
    by_rule = [order.by_rule_mm.get(name) if order is not None else None for name in ("width", "height")]
    width_mm, height_mm = (
        typed.mm if typed is not None else None if ruled is None else float(ruled)
        for typed, ruled in zip(given, by_rule, strict=True)
    )
    return width_mm, height_mm


def undecided(result: JobResult, labels: Sequence[str] | None = None) -> tuple[OpeningResult, ...]:
    """Return the openings asked for that lack nothing for their release but a person's decision."""
    asked = [o for o in result.openings if labels is None or o.opening.label in labels]
    return tuple(o for o in asked if _obstacle(o, result.decisions, _standing(o, result.decisions)) == "undecided")


def _standing(result: OpeningResult, log: DecisionLog | None) -> Decision | None:
    return log.standing(result.opening.label, result.inputs_sha256) if log is not None else None


def _judge(result: OpeningResult, log: DecisionLog | None, unit: Unit, *, asked: bool) -> Released | NotReleased:
    label, verdict = result.opening.label, result.verdict.verdict
    standing = _standing(result, log)
    code = "not-asked" if not asked else _obstacle(result, log, standing)
    width_mm, height_mm = order_size_mm(result)
    if code or standing is None or width_mm is None or height_mm is None:
        code = code or "no-size"
        stale = result.decision is not None and standing is None
        why, supported = _why(result, unit), verdict == "send"
        says = messages.not_released(code, why, _remark(standing), stale=stale, supported=supported)
        return NotReleased(label, verdict, code, says)
    return Released(
        opening=label,
        quantity=result.opening.quantity,
        rule=result.opening.rule or "",
        rule_sha256=result.order.rule.sha256 if result.order and result.order.rule else "",
        width_mm=round(width_mm, _DIGITS),
        height_mm=round(height_mm, _DIGITS),
        verdict=verdict,
        why=_why(result, unit),
        released_by="override" if standing.decision == "override" else "decision",
        decided_by=standing.by,
        decided_at=standing.time.strftime("%Y-%m-%dT%H:%M:%SZ"),
        reason=standing.reason,
        risk_accepted=standing.risk_accepted,
        inputs_sha256=result.inputs_sha256,
        panels_mm=_panels_mm(result, width_mm),
        confirm=tuple(result.order.rule.confirm) if result.order and result.order.rule else (),
        notes=_left_open(result, unit),
    )


def _obstacle(result: OpeningResult, log: DecisionLog | None, standing: Decision | None) -> str:
    """Return the code of what keeps an opening back, or nothing."""
    verdict = result.verdict.verdict
    choice = standing.decision if standing else None
    later = log.unread_after(standing.line if standing else 0) if log is not None else ()
    supported = verdict == "send" and result.fault is None
    steps = (
        (log is None, "decisions-unreadable"),
        # A line that nobody can read may be the one that takes a decision back.
        (bool(later), "decision-unreadable"),
        (choice == "hold", "held"),
        (None in order_size_mm(result), "no-size"),
        (standing is not None and not _same_size(standing, order_size_mm(result)), "other-size"),
        (choice != "override" and result.fault is not None, "fault"),
        (choice == "send" and not supported, "send-against-check"),
        (choice is None and not supported, f"verdict-{verdict}"),
        (choice is None, "undecided"),
    )
    return next((code for applies, code in steps if applies), "")


def _same_size(decision: Decision, size_mm: tuple[float | None, float | None]) -> bool:
    decided = (decision.width_mm, decision.height_mm)
    return all(a is None or (b is not None and abs(a - b) <= _SAME_MM) for a, b in zip(decided, size_mm, strict=True))


def _why(result: OpeningResult, unit: Unit) -> str:
    """Return why the check says what it says, with every problem of the order."""
    verdict = result.verdict
    problems = result.order.problems if result.order is not None else ()
    says = [order_words.problem_says(p.code, p.facts, unit) for p in problems]
    if verdict.why != "order-problem" or not says:
        says.insert(0, verdicts.why_verdict(verdict.why, verdict.names, getattr(result.answer, "why", "")))
    return " ".join(sentence(text) for text in says)


def _panels_mm(result: OpeningResult, width_mm: float) -> tuple[float, ...]:
    """Return the widths of the panels where the ordered width is the one that the rule splits into several."""
    order = result.order
    if order is None or len(order.panels_mm) < 2:
        return ()
    by_rule = order.by_rule_mm.get("width")
    if by_rule is None or abs(float(by_rule) - width_mm) > _SAME_MM:
        return ()
    return tuple(round(float(w), _DIGITS) for w in order.panels_mm)


def _left_open(result: OpeningResult, unit: Unit) -> tuple[str, ...]:
    notes = () if result.order is None else result.order.notes
    return tuple(order_words.problem_says(n.code, n.facts, unit) for n in notes if n.code == "short-of-opening")


def _remark(standing: Decision | None) -> str:
    return f"{standing.by}: {standing.reason}" if standing is not None else ""


def with_earlier(release: Release, earlier: Mapping[str, Sequence[str]]) -> Release:
    """Return the release with the numbers of earlier ones that an opening is in.

    So none is made twice, and whoever reads that one is held back learns that the works have it already.

    Parameters
    ----------
    release : Release
    earlier : mapping
        Numbers of earlier releases to the labels that they handed over.
    """
    others = {number: labels for number, labels in earlier.items() if number != release.number}
    lines = tuple(replace(line, also_in=handing_over(line.opening, others)) for line in release.lines)
    rest = tuple(_recalled(x, handing_over(x.opening, others)) for x in release.rest)
    return replace(release, lines=lines, rest=rest)


def handing_over(label: str, releases: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Return the numbers of those releases that handed over an opening; `releases`: their labels by number."""
    return tuple(sorted(number for number, labels in releases.items() if label in labels))


def _recalled(held_back: NotReleased, also_in: tuple[str, ...]) -> NotReleased:
    """Return an opening held back with the earlier releases that it is in, and what is to be done about them."""
    if not also_in or held_back.code == "not-asked":
        return replace(held_back, also_in=also_in)
    return replace(held_back, also_in=also_in, says=f"{held_back.says} {messages.tell_the_works(also_in)}")
