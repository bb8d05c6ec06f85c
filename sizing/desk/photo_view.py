"""What the page of an opening shows over its photos: sides, measures, references, corners to drag, other lines."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from sizing.jobs.edits_of_photos import to_tenth
from sizing.jobs.job import Opening
from sizing.messages.chance import percent
from sizing.messages.names import name_of
from sizing.messages.one_line import sentence
from sizing.messages.photo_figures import picture_label
from sizing.messages.pointing import click_means
from sizing.messages.tape_figure import typed_figure
from sizing.pictures.rivals import LEAST_WEIGHT, SAME_MM
from sizing.units import Unit, format_length
from vision.photo.reading import at_read_size
from vision.request import EXACT_CLICK_PX

Facts = dict[str, Any]
CORNER_NAMES = ("Top left corner", "Top right corner", "Bottom right corner", "Bottom left corner")


def photo_tabs(opening: Opening, found: Mapping[str, Any] | None, shown: int) -> list[Facts]:
    """Return the photos of an opening as listed, with what is wrong with each."""
    results = _photos(opening, found)
    return [
        {
            "number": i,
            "file": entry.file,
            "shown": i == shown,
            "error": sentence(result["error"]["message"]) if result.get("error") else "",
        }
        for i, (entry, result) in enumerate(zip(opening.photos, results, strict=True))
    ]


def telling_photo(opening: Opening, found: Mapping[str, Any] | None) -> int:
    """Return the number of the first photo in which sides were traced, else of the first."""
    traced = [i for i, result in enumerate(_photos(opening, found)) if result.get("sides_px")]
    return traced[0] if traced else 0


def drawing(opening: Opening, found: Mapping[str, Any] | None, shown: int, unit: Unit) -> Facts:
    """Return what is drawn over one photo, px as measured; nothing before the first check."""
    result = _photos(opening, found)[shown]
    size = result.get("size_px") or [0, 0]
    drawn: Facts = {"size": size, "sides": [], "references": [], "rivals": [], "stations": [], "text_px": 0.0}
    if found is None or not all(size):
        return drawn
    drawn["text_px"] = round(max(size) / 75, 1)
    drawn["sides"] = [{"name": name_of(side), "points": _points(px)} for side, px in result.get("sides_px", {}).items()]
    drawn["references"] = [
        {"name": r["name"], "points": _points(r["corners_px"])} for r in result.get("references", ())
    ]
    drawn["rivals"] = [
        {"name": f"{name_of(r['side'])}, another line", "points": _points(r["ends_px"])}
        for r in _offered(result.get("rivals_px", ()), found)
    ]
    by_name = {reading["name"]: reading for reading in found.get("readings", ())}
    for name, px in result.get("stations_px", {}).items():
        measure, reading = found.get("measures", {}).get(name), by_name.get(name)
        points = [p for p in px if None not in p]
        if measure is None or len(points) < 2:
            continue
        tape = "" if reading is None else typed_figure(str(reading.get("as_written", "")), reading["tape_mm"], unit)
        # the line shows which measure it is, the table beside it both lengths: one is enough but where they differ
        both = reading is not None and reading["verdict"] == "differs"
        label = picture_label(name, tape, measure["value_mm"], measure["U95_mm"], unit).split("|")[1:]
        drawn["stations"].append(
            {
                "name": name_of(name),
                "points": _points(points),
                "verdict": "none" if reading is None else reading["verdict"],
                "at": _label_place(points, name),
                "lines": label if both else label[:1],
                "anchor": "end" if name == "height_right" else "start" if name.startswith("height") else "middle",
            }
        )
    return drawn


def corner_facts(opening: Opening, found: Mapping[str, Any] | None, shown: int) -> Facts:
    """Return the corners to drag: those of the job file (px of the file), else those found (px as measured)."""
    entry, result = opening.photos[shown], _photos(opening, found)[shown]
    turned = _turned(result)
    given = [] if entry.corners_px is None else _given(entry.corners_px)
    references = [_given(quad) for quad in entry.reference_corners_px]
    found_references = [r["corners_px"] for r in result.get("references", ())]
    kind = (entry.reference or opening.reference).kind
    return {
        "file": entry.file,
        "number": shown,
        "turn": (entry.turn - turned) % 360,
        "given": given,
        "found": result.get("corners_px") or [],
        "trace": entry.trace,
        "click_px": f"{entry.click_px:g}",
        "click_means": click_means(EXACT_CLICK_PX),
        "references": references,
        "found_references": [] if kind == "sheet" else found_references,
        "reference_kind": kind,
        "names": CORNER_NAMES,
    }


def line_choices(opening: Opening, found: Mapping[str, Any] | None, shown: int, unit: Unit) -> list[Facts]:
    """Return the sides for which another line of the photo may be meant, each with its lines and their weight."""
    result = _photos(opening, found)[shown]
    rivals = list(_offered(result.get("rivals_px", ()), found or {}))
    choices = []
    for side, facts in (found or {}).get("sides", {}).items():
        lines = [c for c in facts["candidates"] if c["shift_mm"] != 0 and c["weight"] >= LEAST_WEIGHT]
        mine = [r for r in rivals if r["side"] == side]
        if not lines or not mine:
            continue
        best = next((c for c in facts["candidates"] if c["shift_mm"] == 0), None)
        choices.append(
            {
                "side": side,
                "name": name_of(side),
                "drawn": percent(best["weight"]) if best else "",
                "lines": [
                    {
                        "shift": format_length(abs(c["shift_mm"]), unit),
                        "way": "further out" if c["shift_mm"] > 0 else "further in",
                        "weight": percent(c["weight"]),
                        "shift_mm": c["shift_mm"],
                    }
                    for c in lines
                    if any(math.isclose(r["shift_mm"], c["shift_mm"], abs_tol=SAME_MM) for r in mine)
                ],
            }
        )
    return [c for c in choices if c["lines"]]


def rival_lines(opening: Opening, found: Mapping[str, Any] | None, shown: int) -> Sequence[Mapping[str, Any]]:
    """Return the other lines that sides of a photo could be, as the result has them, px as measured."""
    lines: Sequence[Mapping[str, Any]] = _photos(opening, found)[shown].get("rivals_px", ())
    return lines


def _photos(opening: Opening, found: Mapping[str, Any] | None) -> list[Mapping[str, Any]]:
    """Return the results of the photos as the job lists them now; empty ones where the check knew others."""
    results = [_as_shown(r) for r in (found or {}).get("photos", ())]
    files = [entry.file for entry in opening.photos]
    if [r.get("file") for r in results] == files:
        return results
    by_file = {r.get("file"): r for r in results}
    return [by_file.get(file, {}) for file in files]


def _as_shown(result: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the result of a photo with its places in pixels of the size that is shown, which is that measured.

    Results in which a photo is `reduced` are of an older program, and had places in other pixels: they show nothing.
    """
    if "reduced" in result:
        return {key: result[key] for key in ("file", "error", "warnings") if key in result}
    if "measured_size_px" not in result:
        return result
    (whole, _), (measured, _) = result["size_px"], result["measured_size_px"]
    reduced = round(whole / max(measured, 1))

    def places(px: Sequence[Sequence[float | None]]) -> list[list[float | None]]:
        return [[None if v is None else float(at_read_size(v, reduced)) for v in point] for point in px]

    shown = dict(result) | {"size_px": result["measured_size_px"]}
    if "corners_px" in result:
        shown["corners_px"] = places(result["corners_px"])
    for key, part in (("references", "corners_px"), ("rivals_px", "ends_px")):
        shown[key] = [dict(one) | {part: places(one[part])} for one in result.get(key, ())]
    for key in ("sides_px", "stations_px"):
        shown[key] = {name: places(px) for name, px in result.get(key, {}).items()}
    return shown


def _turned(result: Mapping[str, Any]) -> int:
    """Return by how many degrees counter-clockwise the check turned a photo by itself."""
    for warning in result.get("warnings", ()):
        if warning["code"] == "turned":
            found = re.search(r"\b(90|180|270)\b", warning["message"])
            return int(found[0]) if found else 0
    return 0


def _offered(rivals: Sequence[Mapping[str, Any]], found: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    kept = []
    for rival in rivals:
        lines = found.get("sides", {}).get(rival["side"], {}).get("candidates", ())
        near = [c for c in lines if math.isclose(c["shift_mm"], rival["shift_mm"], abs_tol=SAME_MM)]
        if any(c["weight"] >= LEAST_WEIGHT for c in near) and all(None not in p for p in rival["ends_px"]):
            kept.append(rival)
    return kept


def _given(corners_px: Any) -> list[list[float] | None]:  # noqa: ANN401 -- an array (4, 2)
    return [[to_tenth(x), to_tenth(y)] if np.isfinite([x, y]).all() else None for x, y in corners_px]


def _points(px: Sequence[Sequence[float | None]]) -> str:
    return " ".join(f"{p[0]},{p[1]}" for p in px if None not in p)


# Where along its line the words of a station stand, as parts of it: no two of the nine then stand in one place.
_PLACES = {
    "width_top": 0.30,
    "width_middle": 0.24,
    "width_bottom": 0.30,
    "height_left": 0.30,
    "height_middle": 0.80,
    "height_right": 0.20,
    "diagonal_down": 0.66,
    "diagonal_up": 0.66,
}


def _label_place(points: Sequence[Sequence[float]], name: str) -> tuple[float, float]:
    """Return where the words of a station stand: along it, at a place that differs by station."""
    part = _PLACES.get(name, 0.5)
    (x0, y0), (x1, y1) = points[0], points[-1]
    return round(x0 + part * (x1 - x0), 1), round(y0 + part * (y1 - y0), 1)
