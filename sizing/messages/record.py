"""Words of decisions, releases, comparisons with a typed order, and disputes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sizing.messages.one_line import one_line, sentence
from sizing.messages.order import confirm_line
from sizing.messages.verdicts import DECISIONS, VERDICTS

if TYPE_CHECKING:
    from sizing.release.decisions import Decision

_TEXTS = {
    "by": "the name of who decides (--by)",
    "opening": "the opening's label (--opening)",
    "reason": "the reason (--reason)",
    "risk_accepted": "the risk that an override accepts, in words (--accept-risk)",
}
RELEASE_CAUTION = (
    "This releases sizes for making and nothing else. It certifies neither strength nor safety nor a code: escape "
    "openings, debris regions, fixings and local codes are for licensed practice to judge."
)


def decided(decision: Decision, *, stale: bool) -> str:
    """Return the line of the view on what people decided."""
    what = DECISIONS[decision.decision]
    line = f"{one_line(decision.by)} decided on {day(decision.time)}: {what} ({one_line(decision.reason).rstrip('.')})."
    if not stale:
        return line
    return f"Stale: {line} Readings, photos or order have changed since then, so it counts for nothing; decide again."


def photo_after(files: Sequence[str]) -> str:
    """Return the warning that photos from afterwards are kept for a dispute."""
    return (
        f"From afterwards, so not part of the cross-check: {', '.join(one_line(f) for f in files)}. "
        "`secondtape dispute` compares the opening then and now."
    )


def day(time: datetime) -> str:
    """Return a time for people, in UTC.

    Examples
    --------
    >>> day(datetime.fromisoformat("2026-05-04T12:30:00+00:00"))
    '2026-05-04 12:30 UTC'
    """
    return time.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


_NOT_RELEASED = {
    "decisions-unreadable": "The file of decisions cannot be read, and it may hold a decision to stop. Put it right.",
    "decision-unreadable": "A later line of the decisions cannot be read, and it may be one to stop. Decide again.",
    "held": "A person stopped it ({remark}). Decide again when that is settled.",
    "no-size": "There is no ordered size. Give the ordered width and height, or a sizing rule with its readings.",
    "other-size": "The decision was taken on another ordered size than the present one. Decide again.",
    "fault": "This program made a mistake here. Please report it; until then only an override can release it.",
    "send-against-check": "Somebody decided to send it ({remark}), but the check does not support that: {why} Measure "
    "again, or override with name, reason and the risk accepted.",
    "verdict-hold": "The check stops it: {why} Settle that and check again, or override with name, reason and the risk "
    "accepted.",
    "verdict-unproven": "The check cannot tell: {why} Settle that and check again, or override with name, reason and "
    "the risk accepted.",
    "undecided": "The check supports it, but nobody has decided yet that it be ordered. Look at it and decide: at the "
    "desk on its page, with `secondtape decide --send`, or for all that the check supports with `release --by NAME`.",
    "not-asked": "It was not asked for.",
}


def not_released(code: str, why: str, remark: str, *, stale: bool, supported: bool) -> str:
    """Return why an opening is not released, with what to do.

    `stale`: an earlier decision no longer counts; `supported`: the check says send, so that no more stands in the way.
    """
    says = _NOT_RELEASED[code].format(why=sentence(why), remark=one_line(remark))
    if code == "no-size" and not supported:
        says += f" Nor does the check support it: {sentence(why)}"
    if stale and (code.startswith("verdict") or code == "undecided"):
        says += " The last decision is stale: readings, photos or order have changed since."
    return says


def release_title(job: str) -> str:
    """Return the title of a release."""
    return f"Release for making: {one_line(job)}"


def release_number() -> str:
    """Return the label of a release's number."""
    return "release"


def release_subtitle(released_at: str, program: str) -> str:
    """Return when and by what program a release was made."""
    return (
        f"Made {day(datetime.fromisoformat(released_at))} by {program}. Only what stands under 'Released' may be made."
    )


def released_heading(count: int) -> str:
    """Return the heading of what is released."""
    return f"Released: {count} opening{'' if count == 1 else 's'}"


def not_released_heading(count: int) -> str:
    """Return the heading of what is not released."""
    return f"NOT released, do not make: {count} opening{'' if count == 1 else 's'}"


def released_by(line: Mapping[str, Any]) -> str:
    """Return by whom, when and on what grounds an opening was released, and what is to be minded in making it."""
    verdict = f"The check: {VERDICTS[line['verdict']].replace(': ', ' and ')}."
    by, reason = one_line(line["decided_by"]), one_line(line["reason"]).rstrip(".")
    when = day(datetime.fromisoformat(line["decided_at"]))
    if line["released_by"] == "decision":
        parts = [verdict, f"Decided by {by} on {when}: {reason}."]
    else:
        risk = one_line(line["risk_accepted"]).rstrip(".")
        parts = [verdict, line["why"], f"Overridden by {by} on {when}: {reason}. Risk accepted: {risk}."]
    if line["panels"]:
        parts.append(f"In {len(line['panels'])} panels: {', '.join(line['panels'])}.")
    parts += line.get("notes", ())
    if line["also_in"]:
        many = "s" if len(line["also_in"]) > 1 else ""
        parts.append(f"Also in release{many} {', '.join(line['also_in'])}: make it once.")
    return " ".join(parts)


def confirm_on_site(document: Mapping[str, Any]) -> str:
    """Return what the rules of the released openings ask to confirm on site; nothing where nothing."""
    return confirm_line(list(dict.fromkeys(code for line in document["released"] for code in line["confirm"])))


def cut_here() -> str:
    """Return the line in place of what a page has no room for."""
    return "(cut here; in full in release.json)"


def quantity_of(quantity: int) -> str:
    """Return how many are to be made."""
    return f"make {quantity}"


def rule_label() -> str:
    """Return the label of the sizing rule."""
    return "sizing rule"


def no_rule() -> str:
    """Return what stands in place of a rule."""
    return "none named"


def override_mark() -> str:
    """Return the mark of an override."""
    return "OVERRIDE"


def inputs_line(sha256: str) -> str:
    """Return the line with the hash of the inputs."""
    return f"inputs SHA-256 {sha256}"


def page_of(number: int, of: int) -> str:
    """Return the number of a page."""
    return f"page {number} of {of}"


def release_summary(document: Mapping[str, Any], folder: Path | None, *, before: bool) -> str:
    """Return a release as text for people; `before`: the same release had been written already."""
    lines = [f"{one_line(document['job'])}: {len(document['released'])} released"]
    for line in document["released"]:
        size = f"{line['width']} x {line['height']}"
        lines += [
            f"  {one_line(line['opening'])}  {quantity_of(line['quantity'])}: {size}",
            f"      {released_by(line)}",
        ]
    asked = [rest for rest in document["not_released"] if rest["code"] != "not-asked"]
    if asked:
        lines.append(f"  {not_released_heading(len(asked))}")
        lines += [f"  {one_line(rest['opening'])}  {rest['says']}" for rest in asked]
    if folder is not None:
        done = "Had been released before; the files stand as they are in" if before else "Written to"
        lines.append(f"  {done} {folder}")
    elif not document["released"]:
        lines.append("  Nothing may be ordered, so no files were written.")
    confirm = confirm_on_site(document)
    return "\n".join([*lines, *([f"  {confirm}"] if confirm else []), f"  {document['note']}", ""])


def reason_of_release() -> str:
    """Return the reason of decisions that a release records for its author where none is given."""
    return "released as the check supports it"


def reason_without_name() -> str:
    """Return that a reason needs a name."""
    return "--reason: give --by NAME too; a decision needs both."


def unknown_opening(label: str, known: Sequence[str]) -> str:
    """Return that a job has no such opening."""
    listed = ", ".join(one_line(k) for k in known)
    return f"--opening: no opening is labelled '{one_line(label)}'; the job has {listed}."


def one_job_for_openings() -> str:
    """Return that openings can be named for one job only."""
    return "--opening: name one JOB with it, as labels are those of one job."


def bad_page(page: str) -> str:
    """Return that a paper is not known."""
    return f"--page: '{one_line(page)}' is not known; use letter or a4."


def not_written(reason: str) -> str:
    """Return that a release could not be written; then it is none."""
    return f"{one_line(reason)}. Nothing was released."


def other_content(folder: Path) -> str:
    """Return that a folder of this release holds something else."""
    return f"{folder} holds something else than this release; name another folder with --out DIR"


def altered(folder: Path, names: Sequence[str]) -> str:
    """Return that files of a release are not as they were written."""
    listed, was = " and ".join(one_line(name) for name in names), "was" if len(names) == 1 else "were"
    return (
        f"{folder}: {listed} {was} changed or lost after the release was written; order nothing by it, move that "
        "folder away, and release again"
    )


def one_choice() -> str:
    """Return that a decision is one of three."""
    return "Choose one of --send, --hold and --override."


def send_unsupported(label: str, verdict: str, why: str, step: str, *, at_desk: bool = False) -> str:
    """Return that a decision to send cannot be recorded against the check; `step` is what it says to do next."""
    against = "choose that, and say which risk is taken" if at_desk else "use --override with --accept-risk TEXT"
    steps = [step] if step else []
    steps.append(f"To order against the check {against}.")
    return (
        f"{one_line(label)}: {VERDICTS[verdict]}. {sentence(why)} A decision to send would count for nothing, and "
        f"nothing was recorded. {' '.join(steps)}"
    )


def recorded(decision: Decision, file: Path, line: int) -> str:
    """Return that a decision was recorded."""
    return f"{one_line(decision.opening)}: {decided(decision, stale=False)} Recorded as line {line} of {file}."


def text_missing(key: str) -> str:
    """Return that a text of a decision is missing."""
    return f"is empty: give {_TEXTS.get(key, key)}."


def text_too_long(most: int) -> str:
    """Return that a text of a decision is too long."""
    return f"is over {most} characters long: say it shorter."


def no_text() -> str:
    """Return that a text of a decision holds what is no character."""
    return "holds half a character: type it again."


def no_regular_file() -> str:
    """Return that the decisions are no plain file."""
    return "is a link or no regular file: put the decisions themselves there, as one plain file."


def no_size_of_order() -> str:
    """Return that what is about to be ordered has no size."""
    return "of what is ordered is no length above 0: put it right in the job file, then decide."


def no_hash() -> str:
    """Return that a decision carries no hash of its inputs."""
    return "is not 64 hex digits: without the hash of its inputs a decision counts for nothing."


def cannot_append(reason: str) -> str:
    """Return that a decision could not be written."""
    return f"cannot be written ({reason or 'no reason given'}); nothing was recorded. Make the job's folder writable."


def cannot_read(reason: str) -> str:
    """Return that the decisions could not be read."""
    return f"cannot be read ({reason or 'no reason given'}). Put it right: it may hold a decision to stop."


def too_large(most: int) -> str:
    """Return that the file of decisions is too large."""
    return f"is over {most // 1_000_000} MB: this is no file of decisions."


def more_bad_lines(count: int) -> str:
    """Return how many more lines of the decisions cannot be read."""
    return f"{count} more lines are no decisions. They are kept and count for nothing; look whether this is the file."


def bad_line(says: str) -> str:
    """Return that one line of the decisions cannot be read; it is kept and counts for nothing."""
    return f"no decision: {one_line(says).rstrip('.')}. The line is kept and counts for nothing; decide again."
