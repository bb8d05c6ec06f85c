"""The one depth of a frame behind the edges of an opening, and the frame's lines at head and jambs.

In a single photo that depth shows where the reveal's faces end: their feet lie, seen against the edge, by
c d / (Z + d) further in, c the distance of the camera inward of the side, Z that from the edge's plane, d the depth
(central projection). Head and jambs share d, so of the lines beside each of them those that fit one d are the feet,
and the next one inward, a joint's width off, is the frame. All priors are guesses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera
from vision.faces.lines import FaceLine, lines_beside
from vision.request import Array, Side, Wall
from vision.stations import Line

SHARED: tuple[Side, ...] = ("head", "left", "right")
DEPTHS_MM = np.arange(4.0, 221.0)  # of a frame behind the edges: those tried
# Depth of the frame behind the edges and the standard deviation of its log.
USUAL_DEPTH_MM: Mapping[Wall, float] = {"masonry": 80.0, "render": 80.0, "siding": 55.0, "panel": 55.0}
SPREAD_OF_DEPTH = 0.7
# Width of the joint about a frame, how it differs from side to side, widths tried.
JOINT_MM, U_JOINT_MM, U_UNEVEN_MM = 8.0, 4.0, 2.5
JOINTS_MM = np.array([0.0, *np.arange(3.0, 21.0)])
_BELLS = float(np.exp(-0.5 * ((JOINTS_MM[1:] - JOINT_MM) / U_JOINT_MM) ** 2).sum())
NO_JOINT = 0.3  # how often a frame runs on behind the edge, or its joint is too fine
ONE_COLOUR: Mapping[Wall, float] = {"masonry": 0.1, "render": 0.3, "siding": 0.5, "panel": 0.5}  # reveal and joint
MISSED, TELLING, PASSED = 0.1, 6.0, 0.6  # log odds of a line where one is expected: log(MISSED + TELLING * real)
U_FOOT_MM: Mapping[Wall, float] = {"masonry": 1.3, "render": 1.3, "siding": 0.8, "panel": 0.8}
U_LINE_PX = 0.6  # of the place of a line (a guess)
FURTHER_MM, TRIM_MM = 130.0, 200.0  # how far within a frame, and outside of a trimmed edge, is searched


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """A side with the lines beside it; distances of the camera, inward of the side and before its plane."""

    side: Side
    lines: tuple[FaceLine, ...]
    mm_per_px: float
    inward_mm: float
    before_mm: float
    z_mm: float

    def foot_mm(self, z_mm: Array | float) -> Array | float:
        """Return how far inward a point straight behind the edge is seen, in a plane z."""
        d = np.asarray(z_mm) - self.z_mm
        return self.inward_mm * d / (self.before_mm + d)

    def behind_mm(self, seen_mm: float, z_mm: float) -> float:
        """Return how far inward of the edge a line in a plane z lies that is seen `seen_mm` inward."""
        grown = (self.before_mm + z_mm - self.z_mm) / self.before_mm
        return float(self.inward_mm + (seen_mm - self.inward_mm) * grown)

    def seen_mm(self, place_mm: float, z_mm: float) -> float:
        """Return how far inward a line is seen that lies `place_mm` inward of the edge in a plane z."""
        grown = (self.before_mm + z_mm - self.z_mm) / self.before_mm
        return float(self.inward_mm + (place_mm - self.inward_mm) / grown)

    def from_further_out(self, by_mm: float) -> Beside:
        """Return what is seen beside the side if its edge lies further out by `by_mm`."""
        lines = tuple(replace(x, inward_mm=x.inward_mm + by_mm) for x in self.lines)
        return replace(self, lines=lines, inward_mm=self.inward_mm + by_mm)

    @property
    def least_mm(self) -> float:
        """Nearer than this a line is not told from the edge."""
        return max(2.5 * self.mm_per_px, 3.0)

    @property
    def u_mm(self) -> float:
        """Standard uncertainty of the place of a line."""
        return U_LINE_PX * self.mm_per_px


@dataclass(frozen=True, slots=True, eq=False)
class Reveal:
    """Depth z of the frame's plane with its uncertainty, the joint's width, the frame's lines, the weight of it all."""

    z_mm: float
    u_z_mm: float
    joint_mm: float
    lines: Mapping[Side, FaceLine]
    weight: float


def look_beside(
    rgb: NDArray[np.uint8], camera: Camera, lines: Mapping[Side, Line], z_mm: Mapping[Side, float], wall: Wall
) -> dict[Side, Beside]:
    """Return each side with the lines beside it, as far as a deep frame's inner lines may lie.

    `lines`: the four sides, each in its own plane z_mm.
    """
    centre, trimmed = camera.centre_mm(), wall in {"siding", "panel"}
    found: dict[Side, Beside] = {}
    for side, line in lines.items():
        z = z_mm[side]
        before = float(z - centre[2])
        inward = float(-line.normal @ (centre[:2] - line.origin - line.direction * line.length / 2))
        deep = 2 * USUAL_DEPTH_MM[wall]
        reach = max(inward * deep / (before + deep), 0.0) + FURTHER_MM
        inner = min(reach, 0.4 * _across(lines, side))
        outer = TRIM_MM if trimmed else 10.0
        beside, mm = lines_beside(rgb, camera, side, line, z, (inner, outer))
        found[side] = Beside(side, tuple(beside), mm, inward, before, z)
    return found


def _across(lines: Mapping[Side, Line], side: Side) -> float:
    other: Mapping[Side, Side] = {"head": "sill", "sill": "head", "left": "right", "right": "left"}
    a, b = lines[side], lines[other[side]]
    return float(np.abs((b.origin + b.direction * b.length / 2 - a.origin) @ a.normal))


def reveal_of(views: Sequence[Mapping[Side, Beside]], wall: Wall, sides: Sequence[Side] = SHARED) -> Reveal:
    """Return the one depth of the frame that head and jambs share, and the frame's lines at them in the first view.

    Parameters
    ----------
    views : what is seen beside the sides, of one photo or more of the same opening
    wall : its kind: on siding and panels reveal and joint are often of one colour
    sides : of head and jambs, those that are asked

    Notes
    -----
    Every depth and width of the joint about the frame is tried, with the reveal's feet seen or of the joint's colour.
    Moments are over those that take the same lines for the frame, which together are the likeliest.
    """
    edge, z, joint, log_mass, code = _hypotheses(views, wall, sides)
    mass = np.exp(log_mass - log_mass.max())
    codes, place = np.unique(code, return_inverse=True)
    share = np.bincount(place.ravel(), mass.sum(axis=0).ravel()) / mass.sum()
    best = int(share.argmax())
    here = mass * (code == codes[best])
    here /= here.sum()
    at_mm = float((here * z).sum())
    u_z = float(np.sqrt((here * (z - at_mm) ** 2).sum() + 1 + (0.02 * (at_mm - edge)) ** 2))
    lines = {s: int(codes[best]) // 100**i % 100 - 1 for i, s in enumerate(sides)}
    found = {s: views[0][s].lines[k] for s, k in lines.items() if k >= 0}
    return Reveal(at_mm, u_z, float((here * joint).sum()), found, float(share[best]))


def log_evidence(seen: Mapping[Side, Beside], wall: Wall, sides: Sequence[Side] = SHARED) -> float:
    """Return how well the lines beside some of head and jambs fit one depth: the log of the mass of all depths."""
    log_mass = _hypotheses((seen,), wall, sides)[3]
    return float(np.log(np.exp(log_mass - log_mass.max()).sum()) + log_mass.max())


def _hypotheses(
    views: Sequence[Mapping[Side, Beside]], wall: Wall, sides: Sequence[Side]
) -> tuple[float, Array, Array, Array, NDArray[np.int_]]:
    """Return the edges' z, depths z and joints tried (D, J), log masses (2, D, J), and the lines taken in view 1."""
    edge = float(np.mean([views[0][s].z_mm for s in sides]))
    z, joint = np.meshgrid(edge + DEPTHS_MM, JOINTS_MM, indexing="ij")
    plain = np.log(np.where(joint == 0, NO_JOINT, (1 - NO_JOINT) * bell((joint - JOINT_MM) / U_JOINT_MM) / _BELLS))
    plain -= 0.5 * (np.log((z - edge) / USUAL_DEPTH_MM[wall]) / SPREAD_OF_DEPTH) ** 2
    footed = plain + np.log(1 - ONE_COLOUR[wall])
    merged = np.where(joint == 0, -np.inf, plain + np.log(ONE_COLOUR[wall]))
    code = np.zeros_like(z, int)
    for n, seen in enumerate(views):
        for i, side in enumerate(sides):
            b = seen[side]
            foot = np.asarray(b.foot_mm(z[:, :1]))  # the same whatever the joint
            at = foot + joint * b.before_mm / (b.before_mm + z - b.z_mm)
            u_foot = np.full_like(foot, float(np.hypot(b.u_mm, U_FOOT_MM[wall])))
            frame, line = _hits(b, at, np.hypot(u_foot, np.where(joint == 0, 0, U_UNEVEN_MM)))
            footed += _hits(b, foot, u_foot)[0] + np.where(joint == 0, 0.0, frame) - _passed(b, foot, u_foot)
            merged += frame - _passed(b, at, u_foot)
            code += (line + 1) * 100**i if n == 0 else 0
    return edge, z, joint, np.stack([footed, merged]), code


def bell(x: Array) -> Array:
    """Return exp(-x^2/2)."""
    return np.asarray(np.exp(-0.5 * x**2))


def _hits(b: Beside, at_mm: Array, u_mm: Array) -> tuple[Array, NDArray[np.int_]]:
    """Return the log odds for a line being at places (N, M), and the number of the line there (-1: none)."""
    if not b.lines:
        return np.zeros_like(at_mm), np.full(at_mm.shape, -1)
    place = np.array([x.inward_mm for x in b.lines])
    real = np.array([x.real for x in b.lines]) * (place > b.least_mm)
    hit = real * bell((place - at_mm[..., None]) / u_mm[..., None])
    value, which = hit.max(axis=-1), hit.argmax(axis=-1)
    told = np.log(MISSED + TELLING * value)
    seen = at_mm > b.least_mm
    return np.where(seen, told, np.log(MISSED + 0.4 * TELLING)), np.where(seen & (value > 0.1), which, -1)


def _passed(b: Beside, at_mm: Array, u_mm: Array) -> Array:
    """Return what lines nearer to the edge than at_mm (N, M), which then are nothing, take off the log odds."""
    place = np.array([x.inward_mm for x in b.lines])
    real = np.array([x.real for x in b.lines]) * (place > b.least_mm)
    return np.asarray(PASSED * np.minimum((real * (place < at_mm[..., None] - 3 * u_mm[..., None])).sum(axis=-1), 4))
