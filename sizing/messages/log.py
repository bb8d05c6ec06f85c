"""Words of the log: past checks with their readings, decisions and releases, as lists and as files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sizing.logged import Details, Logged, LoggedDecision, LoggedReading, LoggedRelease
from sizing.messages.exact_length import exact_length
from sizing.messages.log_figures import counted
from sizing.messages.names import name_of
from sizing.messages.one_line import clipped, file_name, one_line, place, sentence
from sizing.messages.photo_figures import about
from sizing.messages.tape_figure import tape_figure
from sizing.messages.verdicts import DECISIONS, LISTED_VERDICTS, READING_VERDICTS
from sizing.units import Unit


def exported(count: int, file: Path) -> str:
    """Say what was exported."""
    return f"{counted(count, 'check')} written to {place(file)}"


def cannot_export(file: Path, why: str) -> str:
    """Say that an export cannot be written."""
    return f"{file}: cannot be written ({why}); name another file, like log export may.csv"


def export_kind(file: Path) -> str:
    """Say what an export may be."""
    return f"{file_name(str(file))}: the name must end with .csv or .json."


def listed(found: Sequence[Logged]) -> str:
    """Return checks as lines of a table."""
    rows = [("measured", "job", "verdict", "by", "openings", "decisions", "releases", "run")]
    rows += [
        (
            one_line(x.day),
            clipped(x.job),
            one_line(LISTED_VERDICTS.get(x.verdict, x.verdict)),
            clipped(x.measured_by or "-"),
            openings(x),
            str(x.decisions or "-"),
            str(x.releases or "-"),
            one_line(x.run) + (f" ({x.checks} with corners anew)" if x.checks > 1 else ""),
        )
        for x in found
    ]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return "\n".join("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows)


def openings(logged: Logged) -> str:
    """Return how many openings of a check have which verdict."""
    counts = {"hold": logged.hold, "unproven": logged.unproven, "send": logged.send}
    return "; ".join(f"{n} {LISTED_VERDICTS[verdict]}" for verdict, n in counts.items() if n) or "none"


def shown(found: Details, unit: Unit) -> str:
    """Return one check: openings, readings, decisions."""
    (head, first), *rest = shown_parts(found, unit)
    return "\n".join([head, *(f"  {line}" for line in first), *(f"{h}\n  " + "\n  ".join(x) for h, x in rest)])


def shown_parts(found: Details, unit: Unit) -> list[tuple[str, list[str]]]:
    """Return one check as headings with lines: the check, then each opening."""
    x = found.logged
    by, program = clipped(x.measured_by or "somebody not named"), one_line(x.program or "a version not on record")
    head = [
        f"measured {x.day} by {by}; checked {_moment(x.checked_at)} with {program}",
        f"run {x.run}" + (f" in {one_line(x.path)}" if x.path else ""),
    ]
    if found.others:
        head.append(pointed_anew(found))
    parts = [(f"Job {one_line(x.job)}, past check: {LISTED_VERDICTS.get(x.verdict, x.verdict)}", head)]
    for label, verdict, why in found.openings:
        lines = [sentence(one_line(why))]
        lines += [_reading(r, unit) for r in found.readings if r.opening == label]
        lines += [_decision(d) for d in found.decisions if d.opening == label]
        lines += [_released(r, unit) for r in found.releases if r.opening == label]
        parts.append((f"{label}: {LISTED_VERDICTS.get(verdict, verdict)}", lines))
    # The file of a result may have been changed by anybody since.
    return [(one_line(heading), [one_line(line) for line in lines]) for heading, lines in parts]


def _reading(r: LoggedReading, unit: Unit) -> str:
    compared = "no photo to compare"
    if r.difference_mm is not None and r.U95_mm is not None:
        sign = "+" if r.difference_mm > 0 else "-"
        off = about(abs(r.difference_mm), r.U95_mm, unit)
        compared = f"off by {off if off.startswith('about 0 ') else off.replace('about ', f'about {sign}', 1)}"
    said = f", {READING_VERDICTS.get(r.verdict, r.verdict)}" if r.verdict else ""
    by = f", by {clipped(r.by)}" if r.by else ""
    earlier = "" if r.in_force else ", replaced by a later visit"
    return f"{name_of(r.name)}: {tape_figure(r.as_written, r.tape_mm, unit)}, {compared}{said}{by}{earlier}"


def _decision(d: LoggedDecision) -> str:
    stale = ", stale: this check has other inputs" if d.stale else ""
    reason = f" ({one_line(d.reason).rstrip('.')})" if d.reason else ""
    what = DECISIONS.get(d.decision, d.decision)
    return f"{clipped(d.by)} decided on {_moment(d.time)}: {what}{reason}{stale}"


def _released(r: LoggedRelease, unit: Unit) -> str:
    size = f"{exact_length(r.width_mm, unit)} wide, {exact_length(r.height_mm, unit)} high"
    stale = ", of other inputs than those of this check" if r.stale else ""
    by = clipped(r.decided_by)
    return (
        f"released on {_moment(r.released_at)} as {one_line(r.release)}: {r.quantity} of {size}, decided by {by}{stale}"
    )


def _moment(text: str) -> str:
    """Return a time of the log (ISO 8601, UTC) as people write it."""
    return f"{text[:-1].replace('T', ' ')} UTC" if text.endswith("Z") else text


def pointed_anew(found: Details) -> str:
    """Say which checks differ from one only in where somebody pointed in the photos."""
    said = ", ".join(f"{run} ({LISTED_VERDICTS.get(v, v)}, {_moment(at)})" for at, v, run in found.others)
    return f"checked also with corners elsewhere, all else alike: {said}"
