"""The height of one course of brick beside an opening: a plausibility check of the photo's scale, never the scale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.request import NINE, Array, Measure, Side, Warning_
from vision.stations import SideLine

FEWEST_JOINTS = 6  # along a jamb
LAID_MM = 1.5  # guess: least sd of one bed joint about an even gauge
# Handbook gauges: 2 courses to 4 in, 3 to 8 in, 4 to 300 mm, 5 to 16 in, 1 to 4 in.
USUAL_MM = {50.8: "2 courses to 4 in", 67.73: "3 courses to 8 in", 75.0: "4 courses to 300 mm"} | {
    81.28: "5 courses to 16 in",
    101.6: "1 course to 4 in",
}
TYPED = 1.15  # guess: by how much a given size may be typed wrong and still look right
NEAR = 0.012  # guess: how far the gauge of a whole wall is from what it was set out to


def brick_gauge(sides: Mapping[Side, SideLine], values: Array, cov: Array) -> Measure | None:
    """Return the mean height of a course in mm from the bed joints along both jambs; None where too few are seen.

    `values` (9,) mm and `cov` (9, 9) mm2 are the nine: a course is as unsure of its scale as the height is.
    """
    gauges, weights = [], []
    for side in ("left", "right"):
        units = sides[side].units
        if units is None or len(units.ends_mm) <= FEWEST_JOINTS:
            continue
        joints = (units.ends_mm[1:, 0] + units.ends_mm[:-1, 1]) / 2
        number = np.arange(len(joints)) - (len(joints) - 1) / 2
        gauge = float(number @ joints / (number @ number))
        left = joints - joints.mean() - gauge * number
        scatter = max(float(np.sqrt(left @ left / (len(joints) - 2))), LAID_MM)
        gauges.append(gauge)
        weights.append(float(number @ number) / scatter**2)
    if not gauges:
        return None
    mean = float(np.average(gauges, weights=weights))
    i = NINE.index("height_middle")
    return Measure(mean, float(np.hypot(1 / np.sqrt(sum(weights)), mean * np.sqrt(cov[i, i]) / values[i])))


def with_gauge_hint(warnings: Sequence[Warning_], gauge: Measure | None, kind: str = "sheet") -> tuple[Warning_, ...]:
    """Return warnings, what the courses say added to the one on what nothing checks: a print, or a size that was given.

    `kind` is that of the reference. A page or card has the size of its standard, and needs no hint.
    """
    said = {"sheet": "scale-unverified", "given": "one-reference"}.get(kind)
    if gauge is None or said is None:
        return tuple(warnings)
    hint = f"; {_hint(gauge, kind)}"
    return tuple(replace(w, message=w.message + hint) if w.code == said else w for w in warnings)


def _hint(gauge: Measure, kind: str) -> str:
    seen = f"as a hint only, ten courses of the brick measure {10 * gauge.value_mm:.0f} mm by this scale"
    room = max(NEAR, 2 * gauge.u_mm / gauge.value_mm)
    usual = {mm: mm / gauge.value_mm for mm in USUAL_MM}
    if kind == "given":  # a size is mistyped by anything, and usual gauges lie a tenth apart: all are named
        told = [f"{100 * k:.0f} % with {USUAL_MM[mm]}" for mm, k in usual.items() if 1 / TYPED <= k <= TYPED]
        if not told:
            return seen
        return f"{seen}: its size would be {', '.join(told)}, though brick sizes vary; measure it again"
    if near := [mm for mm, share in usual.items() if abs(share - 1) <= room]:
        best = min(near, key=lambda mm: abs(usual[mm] - 1))
        return f"{seen}, as {USUAL_MM[best]} do: nothing there speaks against 100 %"
    told = [f"{USUAL_MM[mm]} a print at {100 * k:.0f} %" for mm, k in usual.items() if 0.9 <= k <= 1.1]
    return f"{seen}; {', '.join(told)} would be, though brick sizes vary" if told else seen
