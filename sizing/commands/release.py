"""The commands `release` and `decide`: hand over what may be ordered, and record what a person decided."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from sizing.commands.guarded import fault_said, job_checked
from sizing.commands.streams import (
    AllowOutsideOption,
    JsonOption,
    OpeningsOption,
    QuietOption,
    complain,
    refuse,
    require_libraries,
    say,
)
from sizing.exits import Exit

_OutsideOption = AllowOutsideOption


def release(
    jobs: Annotated[
        list[Path], typer.Argument(metavar="JOB...", readable=False, help="Job files, or folders holding job.toml.")
    ],
    openings: OpeningsOption = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Write the release here, not into the job's folder."),
    ] = None,
    by: Annotated[
        str | None,
        typer.Option("--by", metavar="NAME", help="Who decides to order what the check supports; recorded for each."),
    ] = None,
    reason: Annotated[str | None, typer.Option("--reason", metavar="TEXT", help="Why, with --by.")] = None,
    page: Annotated[str, typer.Option("--page", metavar="PAPER", help="letter or a4.")] = "letter",
    as_json: JsonOption = False,
    allow_outside: _OutsideOption = False,
    quiet: QuietOption = False,
) -> int:
    """Hand over what may be ordered, and only that: PDF, CSV and JSON for the works.

    Released is what a person decided to order on these very inputs: by `decide --send` or --by what the check
    supports, by `decide --override` with the risk accepted what it does not. Ends with 0 all asked for is released,
    1 something is not, 4 a job could not be read, 2 bad usage.

    Example: secondtape release harbor-114 --opening W1 --by "A. Desk"
    """
    from sizing.messages import options
    from sizing.messages import release as messages

    paper: Any = page.lower()
    misfits = (
        (paper not in ("letter", "a4"), options.bad_page(page)),
        (bool(openings) and len(jobs) != 1, options.one_job_for_openings()),
        (reason is not None and by is None, options.reason_without_name()),
    )
    for does, says in misfits:
        if does:
            return refuse(says)
    require_libraries()
    from sizing.json_values import as_text
    from sizing.result.document import job_document

    status, documents = Exit.DONE, list[dict[str, Any]]()
    for path in jobs:
        result = job_checked(path, allow_outside=allow_outside, quiet=quiet)
        if result.job is None:
            status = Exit.UNREADABLE if status == Exit.DONE else status
            documents.append({"job": result.name, "file": result.file, "error": job_document(result)["error"]})
            continue
        known = [opening.label for opening in result.job.openings]
        unknown = next((label for label in openings or () if label not in known), None)
        if unknown is not None:
            return refuse(options.unknown_opening(unknown, known))
        try:
            if by is not None:
                result = sent_by_name(result, openings, by, reason or messages.reason_of_release())
            document, text, complete = _released(result, openings, out, paper)
        except Exception as error:  # the other jobs go on, and what they released is said
            text, complete = fault_said(result, error), False
            document = {"job": result.name, "file": result.file, "error": {"code": "fault", "message": text}}
        if not complete:
            status = Exit.HOLD
        documents.append(document)
        if not as_json:
            say(text)
    if as_json:
        from sizing.release.written import SCHEMA

        say(as_text({"schema": SCHEMA, "jobs": documents}))
    return status


def sent_by_name(result: Any, openings: list[str] | None, by: str, reason: str) -> Any:  # noqa: ANN401 -- JobResult
    """Return the job with a decision to send recorded for each opening asked for that lacks nothing else.

    What cannot be recorded is said, and stays undecided.
    """
    from dataclasses import replace

    from sizing.errors import InputError
    from sizing.release.decisions import append_decision, read_decisions
    from sizing.release.release import undecided

    missing = undecided(result, openings)
    try:
        for opening in missing:
            append_decision(result.job.folder, _decision(opening, "send", by, reason))
    except InputError as error:
        for problem in error.problems:
            complain(str(problem))
    return replace(result, decisions=read_decisions(result.job.folder)) if missing else result


def _decision(found: Any, choice: Any, by: str, reason: str, risk_accepted: str = "") -> Any:  # noqa: ANN401 -- as above
    """Return a decision of now on an opening as it was just checked."""
    from datetime import UTC, datetime

    from sizing.decided import Decision
    from sizing.release.release import order_size_mm

    width_mm, height_mm = order_size_mm(found)
    return Decision(
        time=datetime.now(UTC),
        by=by,
        opening=found.opening.label,
        decision=choice,
        reason=reason,
        inputs_sha256=found.inputs_sha256,
        width_mm=width_mm,
        height_mm=height_mm,
        risk_accepted=risk_accepted,
        verdict=found.verdict.verdict,
    )


def _released(
    result: Any,  # noqa: ANN401 -- JobResult, which is heavy to import
    openings: list[str] | None,
    out: Path | None,
    paper: Any,  # noqa: ANN401 -- checked above
) -> tuple[dict[str, Any], str, bool]:
    """Return document, words and whether all asked for is released; what cannot be written is not released."""
    from datetime import UTC, datetime

    from sizing.messages import release as messages
    from sizing.release.handover import hand_over
    from sizing.release.release import plan_release
    from sizing.release.written import release_document
    from sizing.runs.runfolder import RunFolderError
    from sizing.saving import keep_check
    from sizing.versions import program_version

    plan = plan_release(result, openings)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    program = f"secondtape {program_version()}"
    try:
        document, folder, before = hand_over(
            plan, result.job.folder, out=out, released_at=now, program=program, paper=paper
        )
    except RunFolderError as error:
        complain(messages.not_written(str(error)))
        document = release_document(plan, now, program) | {"released": [], "error": messages.not_written(str(error))}
        return document, messages.release_summary(document, None, before=False), False
    if folder is not None and out is None:  # the log is to know what check a release rests on
        try:
            for line in keep_check(result):
                complain(line)
        except Exception as error:  # what is handed over stands all the same
            fault_said(result, error)
    return document, messages.release_summary(document, folder, before=before), plan.complete


def decide(
    job: Annotated[
        Path, typer.Argument(metavar="JOB", readable=False, help="A job file, or a folder holding job.toml.")
    ],
    opening: Annotated[str, typer.Option("--opening", metavar="LABEL", help="The opening decided on.")],
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who decides.")],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")],
    send: Annotated[bool, typer.Option("--send", help="It may be ordered, as the check says.")] = False,
    hold: Annotated[bool, typer.Option("--hold", help="It must not be ordered, whatever the check says.")] = False,
    override: Annotated[bool, typer.Option("--override", help="It is ordered against the check.")] = False,
    accept_risk: Annotated[
        str, typer.Option("--accept-risk", metavar="TEXT", help="The risk that an override accepts, in words.")
    ] = "",
    allow_outside: _OutsideOption = False,
    quiet: QuietOption = False,
) -> int:
    """Record a decision on one opening in decisions.jsonl beside the job file.

    It counts while readings, photos and order are the present ones. Ends with 0 recorded, 1 not recorded because
    the check does not support sending, 4 the job could not be read, 2 bad usage.

    Example: secondtape decide harbor-114 --opening W2 --hold --by "A. Desk" --reason "to be measured again"
    """
    from sizing.messages import decisions, options

    if send + hold + override != 1:
        return refuse(options.one_choice())
    require_libraries()
    from sizing.messages.release import tell_the_works
    from sizing.messages.verdicts import why_verdict
    from sizing.nextstep import step_of
    from sizing.release.decisions import FILE, append_decision
    from sizing.release.handover import earlier_releases
    from sizing.release.release import handing_over
    from sizing.runs.runfolder import FOLDER
    from sizing.saving import keep_check

    result = job_checked(job, allow_outside=allow_outside, quiet=quiet)
    if result.job is None:
        return Exit.UNREADABLE
    mine = {o.opening.label: o for o in result.openings}
    if opening not in mine:
        return refuse(options.unknown_opening(opening, list(mine)))
    found = mine[opening]
    verdict = found.verdict
    if send and verdict.verdict != "send":
        why = why_verdict(verdict.why, verdict.names, getattr(found.answer, "why", ""))
        complain(decisions.send_unsupported(opening, verdict.verdict, why, step_of(found)))
        return Exit.HOLD
    for line in keep_check(result):
        complain(line)
    decision = _decision(found, "send" if send else "hold" if hold else "override", by, reason, accept_risk)
    number = append_decision(result.job.folder, decision)
    say(decisions.recorded(decision, result.job.folder / FILE, number))
    if hold and (numbers := handing_over(opening, earlier_releases(result.job.folder / FOLDER, result.job.id))):
        say(tell_the_works(numbers))
    return Exit.DONE
