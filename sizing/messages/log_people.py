"""Words of what the readings of a person, tape or day say together: by name, never by rank."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from sizing.messages.log_figures import counted, pooled
from sizing.messages.one_line import clipped, one_line
from sizing.units import Unit, format_length

if TYPE_CHECKING:
    from sizing.statistics.findings import Finding, Together

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


def figures(group: Together, unit: Unit) -> list[str]:
    """Return what is known of a group, a line each, with 95 % intervals in brackets."""
    rate = group.slips_per_100
    lines = [f"slips in 100 readings: {rate.value:.1f} ({rate.low:.1f} to {rate.high:.1f}), {group.slips} in all"]
    if group.shift_mm is not None:
        lines.append(f"mean of tape less photo: {pooled(group.shift_mm, unit)}")
    if group.beyond_mm is not None:
        lines.append(f"beyond what the others share, jobs brought to one scale: {pooled(group.beyond_mm, unit)}")
    if group.scatter_mm is not None:
        scatter = pooled(group.scatter_mm, unit, format_length)
        lines.append(f"scatter within an opening, the photo's part included: {scatter}")
    if group.trend_mm is not None:
        lines.append(f"drift in 30 days: {pooled(group.trend_mm, unit)}")
    return lines


def heading(group: Together) -> str:
    """Return how much a group's figures stand on."""
    days = ""
    if group.first is not None:
        days = f", {group.first}" + (f" to {group.last}" if group.last != group.first else "")
    amount = f"{counted(group.readings, 'reading')}, {counted(group.openings, 'opening')}, {counted(group.jobs, 'job')}"
    return one_line(f"{clipped(group.group, 150)}: {amount}{days}")


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
