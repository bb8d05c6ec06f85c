"""What the page of an opening shows, put together from its job file and its last check; geometry only, no judging."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from typing import Any

from sizing.desk.interval_view import Error, intervals
from sizing.desk.results import LastResult
from sizing.explaining.slips import NONE
from sizing.jobs.job import Tolerance
from sizing.messages import order as order_words
from sizing.messages import verdicts as words
from sizing.messages.chance import percent
from sizing.messages.exact_length import exact_length
from sizing.messages.intake import rules_not_found
from sizing.messages.names import name_of
from sizing.messages.one_line import sentence
from sizing.messages.photo_figures import about, at_least
from sizing.messages.slips import probably, unexplained
from sizing.messages.tape_figure import typed_figure
from sizing.messages.tolerance import allowed
from sizing.messages.tolerance import tolerance_says as words_of_tolerance
from sizing.units import INCH_MM, Unit, format_length, format_uncertainty
from vision.request import NINE, PARTS

Facts = dict[str, Any]
PART_WORDS = {
    "reference_image": "how sharply the references are seen",
    "camera": "where the camera stood",
    "distortion": "the lens",
    "print_scale": "scale of the print",
    "reference_size": "size of the reference",
    "flatness": "how flat the references lie",
    "wall_plane": "slant of the wall",
    "edge_depth": "how far the edges stand in front",
    "edge_trace": "how sharply the edges are seen",
    "edge_choice": "which line is the edge",
    "station": "where the blade was laid",
}
# Explanations of less probability are left to the result file (guess).
_WORTH_SAYING = 0.05
# Where a warning's fact ends and its effect and remedy begin; a rest shorter than so much stays with it.
_PARTED = re.compile(r"(?<=.{18})[:;.] (?=\S)")
_SHORT = 25


def verdict_facts(found: Mapping[str, Any] | None, last: LastResult | None) -> Facts:
    """Return verdict, reason and next step of an opening, and whether they are of the present inputs."""
    if found is None:
        return {
            "code": "none",
            "words": words.NOT_CHECKED,
            "why": "",
            "step": "",
            "advice": "",
            "changed": (),
            "unfound": "",
        }
    has_photo = bool(found.get("photos"))
    return {
        "code": found["verdict"],
        "words": words.verdict_of(
            found["verdict"], has_photo, found.get("why_code", ""), readings=bool(found.get("readings"))
        ),
        "why": sentence(found["why"]) if found.get("why") else "",
        "step": found.get("next_step", ""),
        "advice": (found.get("remedy") or {}).get("says", ""),
        "changed": () if last is None else last.changed,
        "unfound": "" if last is None else rules_not_found(last.unfound),
    }


def reading_rows(found: Mapping[str, Any] | None, unit: Unit) -> list[Facts]:
    """Return the readings of an opening in the order of the form, each with figure and words; measures without one."""
    if found is None:
        return []
    tolerance = _tolerance(found)
    by_name = {reading["name"]: reading for reading in found.get("readings", ())}
    measures = found.get("measures", {})
    names = [n for n in NINE[:8] if n in by_name or n in measures]
    readings = [by_name.get(n) for n in names]
    errors = [_error(r, tolerance.of(n)) for n, r in zip(names, readings, strict=True)]
    rows, together = [], _unexplained(found)
    for name, reading, figure in zip(names, readings, intervals(errors), strict=True):
        measure = measures.get(name)
        row: Facts = {
            "name": name_of(name),
            "code": name,
            "photo": "" if measure is None else about(measure["value_mm"], measure["U95_mm"], unit).split(", "),
            "figure": figure,
            "verdict": "none",
            "word": "",
            "tape": "",
            "says": [],
            "likely": [],
            "chance": "",
        }
        if reading is not None:
            row |= _reading(reading, unit, together)
            row["figure_says"] = _figure_says(reading, tolerance.of(name), unit)
        rows.append(row)
    return rows


def unexplained_lines(found: Mapping[str, Any] | None) -> list[str]:
    """Return what is said once of several readings that no usual slip explains."""
    return [unexplained(names, says) for says, names in _unexplained(found or {}).items()]


def _unexplained(found: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return what is said of several readings that no usual slip explains, with their codes."""
    alike: dict[str, list[str]] = {}
    for reading in found.get("readings", ()):
        likely = reading.get("likely", ())
        if likely and likely[0]["slip"] == NONE:
            alike.setdefault(likely[0]["says"], []).append(reading["name"])
    return {says: names for says, names in alike.items() if len(names) > 1}


def tolerance_says(found: Mapping[str, Any] | None, unit: Unit) -> str:
    """Return the tolerance that the readings were judged by, in words; nothing before a check."""
    if found is None:
        return ""
    limits = _tolerance(found)
    return words_of_tolerance(limits.of("width"), limits.of("height"), limits.of("diagonal"), unit)


def _tolerance(found: Mapping[str, Any]) -> Tolerance:
    return Tolerance(**{f"{key}_mm": value for key, value in found["tolerance_mm"].items()})


def _error(reading: Mapping[str, Any] | None, tolerance: tuple[float, float]) -> Error:
    if reading is None:
        return Error(None, None, *tolerance)
    return Error(reading.get("difference_mm"), reading.get("U95_mm"), *tolerance)


def _reading(reading: Mapping[str, Any], unit: Unit, together: Collection[str]) -> Facts:
    """Return one reading in words; `together` is said of several below them."""
    says = []
    chance = reading.get("p_within")
    slip = reading.get("smallest_slip_mm")
    written = str(reading.get("as_written", ""))
    tape = typed_figure(written, reading["tape_mm"], unit)
    if slip is not None:
        says.append(f"An error of {at_least(slip, unit)} or more would be noticed.")
    if reading.get("edge_decides"):
        says.append("It hangs on which line of the photo is the edge.")
    if reading.get("why_not_counted"):
        says.append(sentence(reading["why_not_counted"]))
    return {
        "verdict": reading["verdict"],
        "word": words.READING_VERDICTS.get(reading["verdict"], reading["verdict"]),
        "tape": tape,
        "written": _as_written(written, tape, unit),
        "by": str(reading.get("by", "")),
        "chance": "" if chance is None else percent(chance),
        "says": says if reading["verdict"] != "agrees" else [],
        "likely": [
            sentence(probably(one["says"], one["probability"], one["slip"]))
            for one in reading.get("likely", ())[:3]
            if one["probability"] >= _WORTH_SAYING and one["says"] not in together
        ],
        "holds": reading.get("holds", False),
    }


def _as_written(text: str, shown: str, unit: Unit) -> str:
    """Return what was written where it is more than the length as shown with or without its unit."""
    return "" if text.removesuffix(unit).strip() == shown.removesuffix(unit).strip() else text


def _figure_says(reading: Mapping[str, Any], tolerance: tuple[float, float], unit: Unit) -> str:
    within = allowed(tolerance, unit)
    if reading.get("difference_mm") is None:
        return f"Tolerance {within}; the photo says nothing here."
    error, U95 = reading["difference_mm"], reading["U95_mm"]
    size = format_length(abs(error), unit)
    way = "as the photo sees it" if size.startswith("0 ") else f"{size} {'over' if error > 0 else 'under'} the photo"
    return f"The reading is {way}, give or take {format_uncertainty(U95, unit)}; tolerance {within}."


def warning_lines(found: Mapping[str, Any] | None) -> list[Facts]:
    """Return all warnings of an opening and its photos once: what is so, in short, and the rest, to be unfolded."""
    if found is None:
        return []
    given = [w["message"] for w in found.get("warnings", ())]
    given += [w["message"] for photo in found.get("photos", ()) for w in photo.get("warnings", ())]
    return [_folded(sentence(text)) for text in dict.fromkeys(given)]


def _folded(text: str) -> Facts:
    parted = _PARTED.search(text)
    if parted is None or len(text) - parted.end() < _SHORT:
        return {"short": "", "whole": text}
    rest = text[parted.end() :]
    return {"short": text[: parted.start()], "whole": rest[0].upper() + rest[1:]}


def order_facts(found: Mapping[str, Any] | None, unit: Unit) -> Facts | None:
    """Return the order of an opening in words, None without rule and order."""
    order = (found or {}).get("order")
    if not order:
        return None
    return {
        "rule": order.get("rule_title") or order.get("rule") or "",
        "by_rule": _size(order.get("by_rule"), unit),
        "ordered": _size(order.get("ordered"), unit),
        "problems": [sentence(p["says"]) for p in order.get("problems", ())],
        "notes": [sentence(p["says"]) for p in order.get("notes", ())],
        "sizes": [
            order_words.share_line(s.get("width_mm"), s.get("height_mm"), s["probability"], unit)
            for s in order.get("sizes", ())[:4]
        ],
        "confirm": [sentence(c["says"]) for c in order.get("confirm", ())],
    }


def budget_rows(found: Mapping[str, Any] | None, unit: Unit) -> list[Facts]:
    """Return what the uncertainty of each measure is made of, largest part first."""
    rows = []
    for name in NINE[:8]:
        measure = (found or {}).get("measures", {}).get(name)
        if measure is None:
            continue
        parts = sorted(measure["budget_mm"].items(), key=lambda part: -part[1])
        rows.append(
            {
                "name": name_of(name),
                "total": format_uncertainty(measure["U95_mm"], unit),
                "parts": [
                    f"{PART_WORDS.get(p, p)}: {_part(2 * u, unit)}" for p, u in parts if p in PARTS and u >= 0.05
                ],
            }
        )
    return rows


def _part(U95_mm: float, unit: Unit) -> str:
    """Return a part of an uncertainty: to 0.1 mm, or to 0.001 in, which no fraction of an inch shows."""
    return f"{U95_mm / float(INCH_MM):.3f} in" if unit == "in" else f"{U95_mm:.1f} mm"


def further_rows(found: Mapping[str, Any] | None, unit: Unit) -> list[Facts]:
    """Return what else the photo saw: out of square, taper, lean, narrowest and widest."""
    measures = (found or {}).get("measures", {})
    rows = []
    for name, measure in measures.items():
        if name not in NINE[:8]:
            rows.append({"name": name_of(name), "says": about(measure["value_mm"], measure["U95_mm"], unit)})
    return rows


def _size(sizes: Mapping[str, float | None] | None, unit: Unit) -> str:
    if not sizes:
        return ""
    said = [
        exact_length(v, unit) if v is not None else "not given" for v in (sizes.get("width_mm"), sizes.get("height_mm"))
    ]
    return " wide, ".join(said) + " high" if any(v is not None for v in sizes.values()) else ""
