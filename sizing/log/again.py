"""An old check held to a new one of the same job: whether inputs, program or results differ."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sizing.logged import Again, Changed
from sizing.runs.runfolder import run_id

# Contract: same inputs and version give the same values to 0.01 mm; half a unit more for rounding twice.
_SAME_MM = 0.011


def held_to(record: Mapping[str, Any], run: str, now: Mapping[str, Any], version: str) -> Again:
    """Return how a new check differs from the record of an old one.

    Parameters
    ----------
    record : mapping
        The document in `result.json` of the old run.
    run : str
        The name of the old run's folder.
    now : mapping
        The element of `jobs` of the new check.
    version : str
        Of the present program.
    """
    was = record["jobs"][0]
    program = record.get("program")
    present = f"secondtape {version}"
    same: bool | None
    if isinstance(program, str) and program:
        same = program == present
    else:  # older records do not name it, but the run's name is a hash with the version in it
        program, same = "", True if run == _run_of(was, version) else None
    return Again(
        program,
        present,
        same,
        _changed(_inputs(was), _inputs(now)),
        _changed(_results(was), _results(now)),
    )


def _run_of(job: Mapping[str, Any], version: str) -> str:
    openings = job.get("openings", ())
    hashes = [str(photo.get("sha256", "")) for opening in openings for photo in opening.get("photos", ())]
    rules = [(opening.get("order") or {}).get("rule_sha256") for opening in openings]
    return run_id(str(job.get("sha256", "")), [*hashes, *(r for r in rules if r)], version)


def _inputs(job: Mapping[str, Any]) -> dict[str, str]:
    """Return every file that a check read, with its hash."""
    found = {Path(str(job.get("file", "job.toml"))).name: str(job.get("sha256", ""))}
    for opening in job.get("openings", ()):
        label = opening.get("label", "")
        for photo in opening.get("photos", ()):
            found[str(photo.get("file"))] = str(photo.get("sha256", ""))
            found |= {str(lens.get("file")): str(lens.get("sha256", "")) for lens in photo.get("lenses", ())}
        found |= {str(paper.get("file")): str(paper.get("sha256", "")) for paper in opening.get("documents", ())}
        order = opening.get("order") or {}
        if order.get("rule_sha256"):
            found[f"{label}: {order.get('rule') or 'rule'}"] = str(order["rule_sha256"])
    return found


def _results(job: Mapping[str, Any]) -> dict[str, str | float]:
    found: dict[str, str | float] = {}
    for opening in job.get("openings", ()):
        label = opening.get("label", "")
        found[label] = str(opening.get("verdict"))
        for name, measure in (opening.get("measures") or {}).items():
            if isinstance(measure, Mapping) and isinstance(measure.get("value_mm"), int | float):
                found[f"{label}: {name}"] = float(measure["value_mm"])
        for reading in opening.get("readings", ()):
            found[f"{label}: reading {reading.get('name')}"] = str(reading.get("verdict"))
    return found


def _changed(was: Mapping[str, str | float], now: Mapping[str, str | float]) -> tuple[Changed, ...]:
    changed = []
    for what in dict.fromkeys([*was, *now]):
        before, after = was.get(what, ""), now.get(what, "")
        if isinstance(before, float) and isinstance(after, float):
            if abs(before - after) > _SAME_MM:
                changed.append(Changed(what, f"{before:.2f} mm", f"{after:.2f} mm"))
        elif before != after:
            changed.append(Changed(what, _said(before), _said(after)))
    return tuple(changed)


def _said(value: str | float) -> str:
    return f"{value:.2f} mm" if isinstance(value, float) else value
