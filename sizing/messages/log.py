"""Words of the log: past checks and decisions, and what the readings of a person or tape say together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sizing.log.pooling import Interval
from sizing.messages.names import name_of
from sizing.messages.one_line import file_name, one_line, sentence
from sizing.messages.verdicts import DECISIONS, READING_VERDICTS, VERDICTS
from sizing.units import INCH_MM, Unit, format_length

if TYPE_CHECKING:
    from sizing.log.again import Again, Changed
    from sizing.log.measurers import Finding, Together
    from sizing.log.queries import Details, Logged, LoggedDecision, LoggedReading, LoggedRelease

SCOPE = (
    "What these figures cannot tell: readings and photos err together where an edge is hard to see; a person who gets "
    "the awkward walls shows more scatter than one who does not; a tape is known here by its class only, and one "
    "person's one tape cannot be told from the person; sheets all printed to one wrong scale look like a tape of "
    "another length; a reading overwritten in a job file leaves no trace, one replaced by a visit does. They say where "
    "a look at tape, hook or working conditions may pay, and nothing about anybody's worth."
)
_KINDS = {
    "shift": "a shift that all readings share",
    "scatter": "readings spread wider than those of the others",
    "slips": "openings with a slip are more frequent than with the others",
    "trend": "the difference drifts with time",
}
_STEPS = {
    "same-at-all-lengths": (
        "It is about the same at all lengths, as with a bent or packed hook: lay this tape beside another, hooked on "
        "and from a mark."
    ),
    "grows-with-length": (
        "It grows with the length, as with a blade or a printed sheet of another scale: measure the sheets' check "
        "bars, then compare the tape with another over a long length."
    ),
    "cannot-tell": (
        "Whether it is the hook or a scale cannot be told from these lengths: lay this tape beside another, and "
        "measure the sheets' check bars."
    ),
    "scatter": "Hurry, ladders, rough walls and glare do this: ask how the work went, and measure one opening in two.",
    "slips": "Hurry, ladders and noise do this: ask how the work went; reading back aloud finds most slips.",
    "trend": (
        "A hook or end piece that wears does this, and so does a new batch of sheets: compare tapes, measure the bars."
    ),
}
_GROUPS = {
    "measurer": "by who measured",
    "tape": "by tape",
    "both": "by who measured and tape",
    "day": "by person and day",
}


def grouped(by: str) -> str:
    """Return how the readings are put together."""
    return _GROUPS[by]


def record_too_large(most: int) -> str:
    """Say that a result is larger than any check writes."""
    return f"over {most // 1_000_000} MB, which no check writes; check the job again"


def cannot_read(why: str) -> str:
    """Say that a result cannot be read."""
    return f"cannot be read ({why or 'no reason given'}); check the job again to have it written anew"


def no_record() -> str:
    """Say that a file is no result of the check of one job."""
    return "is not the result of a check; check the job again to have it written anew"


def index_unusable(path: Path, why: str, *, locked: bool) -> str:
    """Say that the index cannot be used, and what to do."""
    if locked:
        return f"{path}: another program holds the log ({why}); try again when it is done"
    return (
        f"{path}: the log cannot be used ({why}); name another folder by SECONDTAPE_DATA, or make it anew with "
        "`secondtape log rebuild FOLDER`"
    )


def index_newer(path: Path, found: int, known: int) -> str:
    """Say that the index was written by a newer version."""
    return (
        f"{path}: the log was written by a newer version (tables {found}, this one knows {known}); update secondtape, "
        "or name another folder by SECONDTAPE_DATA"
    )


def not_indexed(why: str) -> str:
    """Warn that a check is not in the log; its result stands."""
    return one_line(f"Not in the log: {why}. The check and its files stand.")


def rebuilt(runs: int, decisions: int, file: Path) -> str:
    """Say what a rebuilt index holds."""
    return f"The log holds {_count(runs, 'check')} and {_count(decisions, 'decision')}: {file}"


def set_aside(file: Path) -> str:
    """Say where a broken index was put."""
    return f"The old log could not be read and was set aside as {file}; delete it when nobody needs it."


def nothing_to_rebuild() -> str:
    """Say that no folder is known to be looked through."""
    return "No job folder is known to the log: name the folder that holds the jobs, `secondtape log rebuild FOLDER`."


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def nothing_found() -> str:
    """Say that no check fits what was asked."""
    return "No check in the log fits this. Checks made before the log began come in by `secondtape log rebuild FOLDER`."


def unknown_run(name: str) -> str:
    """Say that no check is meant by a name."""
    return f"{one_line(name)}: the log knows no such job or run; `secondtape log list` shows those that it knows."


def several_runs(name: str, found: Sequence[Logged]) -> str:
    """Say that a name may mean several checks."""
    runs = ", ".join(f"{x.run} ({one_line(x.job)}, {x.day}, {one_line(x.path)})" for x in found)
    return f"{one_line(name)} may mean several checks: {runs}. Name one by its run, or by the run's folder."


def bad_day(option: str, text: str) -> str:
    """Say that a day is not written as one."""
    return f"{option} {one_line(text)!r} is no day; write it like 2026-05-04."


def bad_choice(option: str, text: str, known: Sequence[str]) -> str:
    """Say that an option takes other words."""
    return f"{option} {one_line(text)!r} is not one of {', '.join(known)}."


def exported(count: int, file: Path) -> str:
    """Say what was exported."""
    return f"{_count(count, 'check')} written to {file}"


def cannot_export(file: Path, why: str) -> str:
    """Say that an export cannot be written."""
    return f"{file}: cannot be written ({why}); name another file by --out"


def export_kind(file: Path) -> str:
    """Say what an export may be."""
    return f"{file_name(str(file))}: the name must end with .csv or .json."


def listed(found: Sequence[Logged]) -> str:
    """Return checks as lines of a table."""
    rows = [("measured", "job", "verdict", "by", "openings", "decisions", "releases", "run")]
    rows += [
        (
            x.day,
            one_line(x.job),
            x.verdict,
            one_line(x.measured_by or "-"),
            openings(x),
            str(x.decisions or "-"),
            str(x.releases or "-"),
            x.run + (f" ({x.checks} with corners anew)" if x.checks > 1 else ""),
        )
        for x in found
    ]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return "\n".join("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows)


def openings(logged: Logged, *, plain: bool = False) -> str:
    """Return how many openings of a check have which verdict, by its code or in plain words."""
    counts = {"hold": logged.hold, "unproven": logged.unproven, "send": logged.send}
    if plain:
        return "; ".join(f"{n} {VERDICTS[verdict]}" for verdict, n in counts.items() if n) or "none"
    return ", ".join(f"{n} {verdict}" for verdict, n in counts.items() if n) or "none"


def shown(found: Details, unit: Unit) -> str:
    """Return one check: openings, readings, decisions."""
    (head, first), *rest = shown_parts(found, unit)
    return "\n".join([head, *(f"  {line}" for line in first), *(f"{h}\n  " + "\n  ".join(x) for h, x in rest)])


def shown_parts(found: Details, unit: Unit) -> list[tuple[str, list[str]]]:
    """Return one check as headings with lines: the check, then each opening."""
    x = found.logged
    by, program = one_line(x.measured_by or "somebody not named"), one_line(x.program or "a version not on record")
    head = [
        f"measured {x.day} by {by}; checked {_moment(x.checked_at)} with {program}",
        f"run {x.run}" + (f" in {one_line(x.path)}" if x.path else ""),
    ]
    if found.others:
        head.append(pointed_anew(found))
    parts = [(f"Job {one_line(x.job)}, past check: {VERDICTS.get(x.verdict, x.verdict)}", head)]
    for label, verdict, why in found.openings:
        lines = [sentence(one_line(why))]
        lines += [_reading(r, unit) for r in found.readings if r.opening == label]
        lines += [_decision(d) for d in found.decisions if d.opening == label]
        lines += [_released(r, unit) for r in found.releases if r.opening == label]
        parts.append((f"{one_line(label)}: {VERDICTS.get(verdict, verdict)}", lines))
    return parts


def _reading(r: LoggedReading, unit: Unit) -> str:
    compared = "no photo to compare"
    if r.difference_mm is not None and r.U95_mm is not None:
        bounds = Interval(r.difference_mm, r.difference_mm - r.U95_mm, r.difference_mm + r.U95_mm)
        compared = f"off by {interval(bounds, unit)}"
    said = f", {READING_VERDICTS.get(r.verdict, r.verdict)}" if r.verdict else ""
    by = f", by {one_line(r.by)}" if r.by else ""
    earlier = "" if r.in_force else ", replaced by a later visit"
    return f"{name_of(r.name)}: {format_length(r.tape_mm, unit)}, {compared}{said}{by}{earlier}"


def _decision(d: LoggedDecision) -> str:
    stale = ", stale: this check has other inputs" if d.stale else ""
    reason = f" ({one_line(d.reason).rstrip('.')})" if d.reason else ""
    what = DECISIONS.get(d.decision, d.decision)
    return f"{one_line(d.by)} decided on {_moment(d.time)}: {what}{reason}{stale}"


def _released(r: LoggedRelease, unit: Unit) -> str:
    size = f"{format_length(r.width_mm, unit)} wide, {format_length(r.height_mm, unit)} high"
    stale = ", of other inputs than those of this check" if r.stale else ""
    by = one_line(r.decided_by)
    return (
        f"released on {_moment(r.released_at)} as {one_line(r.release)}: {r.quantity} of {size}, decided by {by}{stale}"
    )


def _moment(text: str) -> str:
    """Return a time of the log (ISO 8601, UTC) as people write it."""
    return f"{text[:-1].replace('T', ' ')} UTC" if text.endswith("Z") else text


def pointed_anew(found: Details) -> str:
    """Say which checks differ from one only in where somebody pointed in the photos."""
    said = ", ".join(f"{run} ({VERDICTS.get(verdict, verdict)}, {_moment(at)})" for at, verdict, run in found.others)
    return f"checked also with corners elsewhere, all else alike: {said}"


def signed(length_mm: float, unit: Unit) -> str:
    """Return a difference with its sign.

    Examples
    --------
    >>> signed(-1.5875, "in"), signed(0.0, "mm"), signed(2.0, "mm")
    ('-1/16 in', '0.0 mm', '+2.0 mm')
    """
    text = format_length(abs(length_mm), unit)
    if text == format_length(0.0, unit):
        return text
    return ("-" if length_mm < 0.0 else "+") + text


def interval(found: Interval, unit: Unit, say: Callable[[float, Unit], str] = signed) -> str:
    """Return a difference with its 95 % interval, whose ends are rounded away from it."""
    step = float(INCH_MM) / 32.0 if unit == "in" else 0.1
    low, high = math.floor(found.low / step) * step, math.ceil(found.high / step) * step
    return f"{say(found.value, unit)} ({say(low, unit)} to {say(high, unit)})"


def figures(group: Together, unit: Unit) -> list[str]:
    """Return what is known of a group, a line each, with 95 % intervals in brackets."""
    rate = group.slips_per_100
    lines = [f"slips in 100 readings: {rate.value:.1f} ({rate.low:.1f} to {rate.high:.1f}), {group.slips} in all"]
    if group.shift_mm is not None:
        lines.append(f"mean of tape less photo: {interval(group.shift_mm, unit)}")
    if group.beyond_mm is not None:
        lines.append(f"beyond what the others share, jobs brought to one scale: {interval(group.beyond_mm, unit)}")
    if group.scatter_mm is not None:
        scatter = interval(group.scatter_mm, unit, format_length)
        lines.append(f"scatter within an opening, the photo's part included: {scatter}")
    if group.trend_mm is not None:
        lines.append(f"drift in 30 days: {interval(group.trend_mm, unit)}")
    return lines


def heading(group: Together) -> str:
    """Return how much a group's figures stand on."""
    days = ""
    if group.first is not None:
        days = f", {group.first}" + (f" to {group.last}" if group.last != group.first else "")
    amount = f"{_count(group.readings, 'reading')}, {_count(group.openings, 'opening')}, {_count(group.jobs, 'job')}"
    return f"{one_line(group.group)}: {amount}{days}"


def conclusions(group: Together) -> list[str]:
    """Return what is concluded of a group and what to do; why nothing is, where nothing is."""
    if not group.enough:
        return ["Fewer than 20 readings: nothing is concluded from them."]
    if not group.findings:
        return ["Nothing that chance does not explain."]
    return [finding(group, f) for f in group.findings]


def finding(group: Together, found: Finding) -> str:
    """Return a finding with its probability by chance and the next step."""
    step = _STEPS[group.nature] if found.kind == "shift" else _STEPS[found.kind]
    chance = f"{found.p_table:.3f}" if found.p_table >= 0.001 else "under 0.001"
    return f"Worth a look: {_KINDS[found.kind]} (by chance anywhere in this table: {chance}). {step}"


def people(groups: Sequence[Together], by: str, unit: Unit) -> str:
    """Return the statistics in words, by name, never by rank."""
    lines = [f"Readings held to photos, {_GROUPS[by]}; brackets hold 95 %."]
    for group in groups:
        known = figures(group, unit) if group.enough else []
        lines += ["", heading(group), *(f"  {line}" for line in [*known, *conclusions(group)])]
    if not groups:
        lines.append("No reading in the log could be held to a photo yet.")
    return "\n".join([*lines, "", SCOPE])


def again(job: str, found: Again) -> str:
    """Return what a repeated check has shown."""
    versions = {
        True: f"Version: the same ({found.program_now}).",
        False: f"Version: {one_line(found.program_was)} then, {found.program_now} now.",
        None: f"Version: not on record then, {found.program_now} now.",
    }
    lines = [f"Job {one_line(job)}, checked again", versions[found.same_version]]
    lines += _changes("Inputs", found.inputs)
    lines += _changes("Results", found.results)
    if found.unexplained:
        lines.append(
            "Same inputs and version must give the same results. Compare the libraries (`secondtape --version`) of "
            "both machines; where they are the same too, please report this with both result files."
        )
    return "\n".join(lines)


def _changes(what: str, changed: Sequence[Changed]) -> list[str]:
    if not changed:
        return [f"{what}: the same."]
    return [f"{what} that differ:"] + [
        f"  {one_line(c.what)}: {_short(c.was) or 'absent'} then, {_short(c.now) or 'absent'} now" for c in changed
    ]


def _short(text: str) -> str:
    """Return a hash by its beginning, other text as it is."""
    return one_line(text if len(text) != 64 else text[:12])


def job_gone(folder: str | None, job_file: str) -> str:
    """Say that the job of a record is not where it was."""
    where = f"{folder}/{job_file}" if folder else job_file
    return f"{one_line(where)}: the job file is not there any more; put it back, or `secondtape log rebuild FOLDER`."


def no_folder(folder: Path) -> str:
    """Say that a folder is not there."""
    return f"{folder}: there is no such folder; name one that holds jobs."
