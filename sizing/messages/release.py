"""Words of releases: what may be ordered and by whose decision, what may not and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from sizing.messages.decisions import day
from sizing.messages.one_line import one_line, place, sentence
from sizing.messages.order import confirm_line
from sizing.messages.verdicts import VERDICTS

RELEASE_CAUTION = (
    "This releases sizes for making and nothing else. It certifies neither strength nor safety nor a code: escape "
    "openings, debris regions, fixings and local codes are for licensed practice to judge."
)
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


def tell_the_works(numbers: Sequence[str]) -> str:
    """Return what to do about an opening that is held back though earlier releases handed it over.

    Examples
    --------
    >>> tell_the_works(["05a42a409751"])
    'It stands in release 05a42a409751 already: tell the works not to make it until it is released anew.'
    """
    many = "s" if len(numbers) > 1 else ""
    listed = ", ".join(one_line(n) for n in numbers)
    return f"It stands in release{many} {listed} already: tell the works not to make it until it is released anew."


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
        lines.append(f"  {done} {place(folder)}")
    elif not document["released"]:
        lines.append("  Nothing may be ordered, so no files were written.")
    confirm = confirm_on_site(document)
    return "\n".join([*lines, *([f"  {confirm}"] if confirm else []), f"  {document['note']}", ""])


def reason_of_release() -> str:
    """Return the reason of decisions that a release records for its author where none is given."""
    return "released as the check supports it"


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
