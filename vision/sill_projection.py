"""How far a sill stands out of the wall, as one photo shows it: asked where nobody said so, or said that it does not.

A front taken to lie in the wall that stands out of it makes every height too long, by a third of what it stands out
where the camera is a head above it. Two things in the photo tell. The jambs end where they meet the sill's top, above
its front arris by what the camera looks down on it. And the outline of an ear, see `vision.sides.sill_ears`, runs from
the front's end into the depth as far as the wall.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.finder.where_neighbours_end import PLACES_MM, USUAL_MM, ends_mm
from vision.request import Array, OpeningRequest, Quantity, Side, Warning_
from vision.sides.sill_ears import ABOVE_PX, FALLS_RAD, FRONT_PX, misfits, outline, see_end, shows_depth, upright
from vision.stations import Line

# What a sill may stand out: nothing, or 10 to 60 mm (common practice, no source: 20 to 50 are usual), as it is believed
# beforehand (a guess: 6 in 10 are flush).
FLUSH = 0.6
OUT_MM = np.concatenate([[0.0], np.arange(10.0, 61.0, 2.0)])
BEFORE = np.append(FLUSH, np.full(len(OUT_MM) - 1, (1 - FLUSH) / (len(OUT_MM) - 1)))
SURE = 0.7  # that it stands out at all, by two readings or more
# Against 389 sills of masonry and render that were taken for flush (368 on own renderings, 21 in practice; 175 stand
# out): Student's t with 3 degrees of freedom about where jambs end at flush ones, in mm, and how often they end at
# something else.
FLUSH_END_MM, END_MM, END_ASTRAY = USUAL_MM - 1.0, 3.0, 0.3
LEAST_SLOPE = 0.1  # of the camera's look down on the sill; a flatter one hides its top
# An ear's outline is seen to run back 0.9 of the way (its back is rounded by blur), scattering by so many mm.
SEEN_OUT, EAR_MM, FLUSH_EAR_MM, EAR_ASTRAY = 0.9, 5.0, 3.0, 0.1
RUN_MM = np.arange(0.0, 81.0, 2.0)  # how far an outline may run back
TURNS_PX = np.arange(-2.0, 2.01, 0.25)  # where it may turn about the line taken for the front's arris
ROWS_ALIKE = 0.5  # guess: rows half a pixel apart share their blur
DEEP_MM = 30.0  # over which the way into the wall is told
CONTRADICTED = 2.0  # standard uncertainties
FLUSH_MM = 8.0  # less is said to lie in the wall
MASONRY = ("masonry", "render")  # on siding the jambs end at the trim's lower end
U_FACTOR = 1.3  # errors over the spread of what was believed, rms of 96; with it 1.0


@dataclass(frozen=True, slots=True, eq=False)
class SillSeen:
    """A sill as a photo shows it.

    `rgb` (H, W, 3) is upright; `lines` are the four sides as taken, the sill at its front arris, each in its plane
    `z_mm`; `inward_mm` is how far inward of the sill the camera stands.
    """

    rgb: NDArray[np.uint8]
    camera: Camera
    lines: Mapping[Side, Line]
    z_mm: Mapping[Side, float]
    inward_mm: float

    @property
    def slope(self) -> float:
        """How far the camera looks down on the sill, mm a mm."""
        return self.inward_mm / (self.z_mm["sill"] - float(self.camera.centre_mm()[2]))


def sill_stands_out(request: OpeningRequest, sill: SillSeen) -> Quantity | None:
    """Return how far the sill stands out of its plane where nothing was given of it; None where that is not clear."""
    if "sill" in (request.edge_offset or {}) or not _tells(request):
        return None
    return _seen_out(sill)


def sill_contradicts(request: OpeningRequest, sill: SillSeen) -> list[Warning_]:
    """Return `edge-depth-contradicted` for a sill that is said to lie in the wall and is seen to stand out of it.

    The measures are left as given: whoever stood there knows better.
    """
    given = (request.edge_offset or {}).get("sill")
    jambs_mm = (sill.z_mm["left"] + sill.z_mm["right"]) / 2
    if given is None or not _tells(request) or jambs_mm - sill.z_mm["sill"] > FLUSH_MM:
        return []
    out = _seen_out(sill)
    if out is None or out.value_mm < CONTRADICTED * np.hypot(out.u_mm, given.u_mm):
        return []
    said, less, u_less = round(given.value_mm), round(out.value_mm * sill.slope), out.u_mm * sill.slope
    stands = round(out.value_mm + given.value_mm)
    says = (
        f"the sill seems to stand out {stands} mm +- {2 * out.u_mm:.0f} mm, not {said} mm as declared: "
        f"the heights would then be {less} mm +- {2 * u_less:.0f} mm less; measure how far it stands out and correct "
        "the edge offset of the sill"
    )
    return [Warning_("edge-depth-contradicted", says, "sill")]


def _tells(request: OpeningRequest) -> bool:
    """Return whether a sill is such as the figures above were read from."""
    return request.wall in MASONRY and request.sill_at == "front" and request.sill_out is None


def _seen_out(sill: SillSeen) -> Quantity | None:
    """Return how far the sill's front stands out of its plane, by Bayes' rule on a grid; None where that is not clear.

    Of 173 that stand out (18 to 42 mm; own renderings, 55 of them hard, and practice) 106 were found, with errors of
    1.0 u rms; of 192 flush ones 3, as 12 to 26 mm with a u as large. About half of these set the numbers above.
    """
    belief, readings = BEFORE.copy(), 0
    if sill.slope > LEAST_SLOPE:
        for end in ends_mm(sill.rgb, sill.camera, sill.lines, sill.z_mm, "sill"):
            if end < PLACES_MM[-1]:  # a jamb that goes on and on tells nothing
                known = _student(end - (FLUSH_END_MM - OUT_MM * sill.slope), END_MM)
                belief *= (1 - END_ASTRAY) * known + END_ASTRAY / float(np.ptp(PLACES_MM))
                readings += 1
    by_ear = _by_ear()
    for right in (False, True):
        run = _ear_runs_back(sill, right=right)
        if run is not None:
            belief *= (1 - EAR_ASTRAY) * by_ear @ run + EAR_ASTRAY / len(RUN_MM)
            readings += 1
    belief /= belief.sum()
    mean = float(belief @ OUT_MM)
    u = float(np.sqrt(belief @ (OUT_MM - mean) ** 2))
    # in whole millimetres, so that a corner moved a little mostly leaves it as it was
    return Quantity(float(round(mean)), U_FACTOR * u) if 1 - belief[0] > SURE and readings > 1 else None


def _student(off: Array, scale: float | Array) -> Array:
    """Return the density of Student's t with 3 degrees of freedom."""
    return np.asarray(2 / (np.pi * np.sqrt(3) * scale) / (1 + (off / scale) ** 2 / 3) ** 2)


def _by_ear() -> Array:
    """Return how likely an outline is to run back as far as `RUN_MM` (R,) by what the sill stands out (O, R)."""
    scale = np.where(OUT_MM > 0, EAR_MM, FLUSH_EAR_MM)[:, None]
    likely = _student(RUN_MM - SEEN_OUT * OUT_MM[:, None], scale)
    return np.asarray(likely / likely.sum(axis=1, keepdims=True))


def _ear_runs_back(sill: SillSeen, *, right: bool) -> Array | None:
    """Return how likely the outline of an ear makes it that it runs back as far as `RUN_MM` (R,); None: not seen."""
    line, deep = sill.lines["sill"], (sill.z_mm["sill"], DEEP_MM)
    corner = line.origin + (line.length if right else 0.0) * line.direction
    end = see_end(sill.rgb, sill.camera, corner, line.direction, deep, ABOVE_PX + 40.0, right=right)
    if end is None or not shows_depth(end.into, end.cell_mm):
        return None
    mm, back_mm, rise = end.cell_mm, end.into[0] / DEEP_MM, end.into[1] / DEEP_MM
    rows = (end.v >= rise * RUN_MM[-1] - ABOVE_PX) & (end.v <= FRONT_PX[1])
    v, edge = end.v[rows], outline(end, rows, min(back_mm * RUN_MM[-1], 0.0))
    at = None if edge is None else upright(v, edge, mm)
    if edge is None or at is None:
        return None
    cost = np.empty(len(RUN_MM))
    for i, run in enumerate(RUN_MM):
        falls = (rise - np.tan(FALLS_RAD) / mm) * max(run, 1e-6)
        cost[i] = misfits(v, edge, at, back_mm * run, falls, TURNS_PX)[0].min()
    likely = np.exp(-0.5 * ROWS_ALIKE * (cost - cost.min()))
    return np.asarray(likely / likely.sum())
