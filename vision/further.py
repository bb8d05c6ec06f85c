"""Further measures: taper, lean, the narrowest and widest place between the sides, and a course of brick."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.brick_gauge import brick_gauge
from vision.request import NINE, Array, Measure, Side
from vision.stations import NEAR_MM, STATION_MM, Line, SideLine, corners

GRID_MM = 20.0  # spacing of the search for the narrowest and widest place


def further_measures(
    lines: Mapping[Side, Line], sides: Mapping[Side, SideLine], values: Array, cov: Array
) -> dict[str, Measure]:
    """Return taper, lean, the narrowest and widest width and height with their places, and a course where seen.

    `values` (9,) mm and `cov` (9, 9) mm2 are the nine, which `lines` and `sides` were measured to give.
    """

    def difference(a: str, b: str) -> Measure:
        i, j = NINE.index(a), NINE.index(b)
        return Measure(float(values[i] - values[j]), float(np.sqrt(max(cov[i, i] + cov[j, j] - 2 * cov[i, j], 0))))

    tl, tr, br, bl = corners(lines)
    across = (tr - tl) / np.linalg.norm(tr - tl) + (br - bl) / np.linalg.norm(br - bl)
    across = across / np.linalg.norm(across)
    lean = float(((tl + tr) / 2 - (bl + br) / 2) @ across)
    # d_up^2 - d_down^2 = 4 W lean for a parallelogram, so lean is about D (d_up - d_down) / (2 W): u follows from that
    width, diagonal = values[NINE.index("width_middle")], values[NINE.index("diagonal_down")]
    u_lean = float(diagonal / (2 * width) * np.sqrt(cov[8, 8]))
    further = {
        "taper_width": difference("width_top", "width_bottom"),
        "taper_height": difference("height_left", "height_right"),
        "lean": Measure(lean, u_lean),
    }
    axes: tuple[tuple[str, Side, Side, str], ...] = (
        ("width", "left", "right", "width_middle"),
        ("height", "head", "sill", "height_middle"),
    )
    for axis, first, last, middle in axes:
        places, lengths = _scan(
            lines[first], lines[last], sides[first], sides[last], (tl, bl) if axis == "width" else (tl, tr)
        )
        u = float(np.sqrt(cov[NINE.index(middle), NINE.index(middle)]))
        for word, i in (("narrowest", int(np.argmin(lengths))), ("widest", int(np.argmax(lengths)))):
            further[f"{word}_{axis}"] = Measure(float(lengths[i]), u, float(places[i]))
    course = brick_gauge(sides, values, cov)
    return further if course is None else further | {"course": course}


def _scan(a: Line, b: Line, side_a: SideLine, side_b: SideLine, ends: tuple[Array, Array]) -> tuple[Array, Array]:
    """Return places (mm from the first corner) and the lengths there, between two opposite sides."""
    total = float(np.linalg.norm(ends[1] - ends[0]))
    start_a = float((ends[0] - a.origin) @ a.direction)
    places = np.arange(min(STATION_MM, total / 3), total - min(STATION_MM, total / 3) + 1e-9, GRID_MM)
    lengths = []
    for p in places:
        point = a.origin + (start_a + p) * a.direction
        t = float((point - b.origin) @ b.direction)
        other = b.origin + t * b.direction
        da, db = _smooth(side_a, start_a + p), _smooth(side_b, t)
        lengths.append(np.linalg.norm((other + db * b.normal) - (point + da * a.normal)))
    return places, np.array(lengths)


def _smooth(side: SideLine, s_mm: float) -> float:
    """Return the median local edge within twice the reach: single bricks do not make a narrowest place."""
    near = np.abs(side.s_mm - s_mm) <= 2 * NEAR_MM
    return float(np.median(side.local_mm[near])) if near.any() else 0.0
