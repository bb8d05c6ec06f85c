"""Which of the lines found along a side is the side.

An opening shows nested lines: arris, shadow, frame, sash. From outside, the arris is the first line that runs along the
whole side; the strongest is often the frame. So every line gets a probability of being real, and the side is the
outermost real one: weight = real * product of (1 - real) over the lines further out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.request import ANOTHER_LINE, Array
from vision.sides.line_scores import BEYOND, beyond_px, scores
from vision.sides.plates import without_plate
from vision.sides.search import Search
from vision.sides.sill_ghosts import HORN_PX, TEXTURE_FROM, Ghost, Place, texture_odds, unseen_places
from vision.sides.texture import Texture, TextureEnd, changes, find_end
from vision.strips.strip_line import Line

UNDERSIDE = 0.2  # guess: odds that a line that far out is not the sill's own lower edge
# root of linear light, top to front: an overcast sky gives a level face at most twice the light of an upright one
# (CIE S 011 sky, 0.4, and what the ground sends back); how alike in hue one material stays is a guess
SKY_RATIO, SAME_HUE = (1.03, 1.42), 0.02
# Behind a flush sill, of 128 on own renderings and practice: top and front differed in hue by 0.02 or less in 122; a
# darker face of another hue inside was the frame 3 times of 3.
OTHER_HUE, OTHER_LIGHT, FRAME_BEHIND, TINY = 0.04, 0.75, 0.25, 1e-6
# Of sides whose line had all but the contract's 1 % none of 840 was wrong by over 2 mm (own plain renderings, practice)
# and 18 of 1130 made hard: together 0.9 %, so that share is doubt enough.
SUREST = 0.999
FAINT = 0.1  # a line of less weight is no better than unseen
TELLING_T = 4.0  # Student's t of a texture that tells by itself
# A clear line below a top lit by the sky, where the texture changes too, is the arris (5 of 5 own renderings in which
# the texture seemed to end further out as well); a frame over a sill of near brightness has it change the other way.
LIT_T = 1.5
STRONG = 3.0  # log odds of a line that hides the texture beside it
SHADED_TOP = 0.6  # linear light, top to front: in front of the wall's face a sill's top is in the open (guess; 0.72 up)
NEAR_PX, NEAR_HORN_PX = 2.5, 1.5  # nearer to a faint line than this an unseen arris is that line
WHOLE = 0.85  # coverage of a line that is not faint
GHOST_WEIGHT = 0.25  # guess: how often a sill's only line is the foot of the wall behind an unseen arris


@dataclass(frozen=True, slots=True)
class SideCandidate:
    """A line that may be the side: weight 0..1, shift outward in mm at the middle against the best, name."""

    weight: float
    shift_mm: float
    name: str


def weigh(
    lines: list[Line],
    mm: float,
    search: Search,
    bow_mm: float,
    sill_at: str,
    arris_px: Array,
    arris_weight: Array,
    texture: Texture | None = None,
) -> tuple[Array, Ghost | None]:
    """Return the weights (N,) of lines ordered from outside, and a rival that is not seen but may be there.

    `arris_px` (M, 2): ends of a sill's front arris as its horns say, px, likeliest first, with weights (M,) up to 1.
    `texture`: of the strip of a sill, else None.
    """
    at = np.array([line.shape[0] / mm for line in lines])
    ends = np.array([[x.shape[0] - x.shape[1], x.shape[0] + x.shape[1]] for x in lines]) / mm
    top_px = search.foot_px - 0.5 if search.foot_px > 1 else np.inf
    t = np.zeros(len(lines))
    if texture is not None:
        t = np.nan_to_num(changes(texture, np.array([x.shape for x in lines]), top_px))
    support = _support(ends, arris_px, arris_weight)
    score = scores(lines, mm, search, bow_mm) + texture_odds(t)
    if len(arris_px):
        score += 5.0 * support - 2.5
    real = _real(score, lines, at, support, mm, search, sill_at)
    if sill_at != "front" and search.side == "sill":  # an inner line is asked for: the nearest, not the outermost
        near = real * np.exp(-0.5 * (at / max(search.inner_px / 3, 1.0)) ** 2)
        return near / max(float(near.sum()), 1e-12) * (1 - ANOTHER_LINE), None
    if search.side == "sill":
        end = _end(lines, real, texture, arris_px, search, top_px)
        places = unseen_places(arris_px, arris_weight, texture, end, top_px)
        place = _unseen(lines, real, t, ends, mm, search, places)
        if place is not None:
            real *= np.where(_across(ends, place.shape / mm) & (t < place.t_value), 0.0, 1.0)
            return _with_unseen(real, at, place, mm)
    weights = real * _none_further_out(real)
    weights = weights / max(float(weights.sum()), 0.9)
    if search.side == "head" and bow_mm > 2:
        weights = without_plate(lines, weights, mm, search.black)
    best = int(weights.argmax())
    ghost = None
    hidden = not len(arris_px) and search.foot_px > 1 and at[best] + search.foot_px <= search.outer_px
    if hidden and t[best] < TELLING_T and not _lit_from_above(lines[best]):
        shape = lines[best].shape + np.array([search.foot_px + search.fall_px / 4, 0, 0]) * mm
        ghost = Ghost(shape, GHOST_WEIGHT, search.fall_px / 4 * mm, leads=False)
    keep = 1 - ANOTHER_LINE - (ghost.weight if ghost else 0.0)
    return np.asarray(weights * keep), ghost


def _support(ends_px: Array, arris_px: Array, arris_weight: Array) -> Array:
    """Return how well lines (N,), by their ends (N, 2), lie where the horns say that the arris is: 0 to 1."""
    if not len(arris_px):
        return np.zeros(len(ends_px))
    off = np.abs(ends_px[:, None] - arris_px[None]).max(axis=2)
    return np.asarray((np.exp(-0.5 * (off / HORN_PX) ** 2) * arris_weight).max(axis=1))


def _real(score: Array, lines: list[Line], at: Array, support: Array, mm: float, search: Search, sill_at: str) -> Array:
    """Return the probabilities (N,) that lines are real, from their log odds and where and on what they lie."""
    real = np.clip(1 / (1 + np.exp(-np.clip(score, -50, 50))), 0.0, SUREST)
    # however clear, what ends beyond reach of the corners competes with what lies out of reach at the other end
    within = np.exp(-BEYOND * np.maximum([beyond_px(x, mm, search) - search.either_px for x in lines], 0.0))
    real = np.where(within < 1, np.minimum(real, within / (within + ANOTHER_LINE)), real)
    if search.foot_px > 1:
        real *= np.where(_below(lines, at, search) & (support < 0.3), UNDERSIDE, 1.0)
        real *= np.where(_shaded(lines), 0.1, 1.0)
    if search.side == "sill" and search.foot_px <= 1 and sill_at == "front":
        real *= np.where(_other_material(lines), FRAME_BEHIND, 1.0)
    return np.asarray(real)


def _none_further_out(real: Array) -> Array:
    """Return the probabilities (N,) that no line further out than each is real."""
    return np.concatenate([[1.0], np.cumprod(1 - real)[:-1]])


def _with_unseen(real: Array, at: Array, place: Place, mm: float) -> tuple[Array, Ghost]:
    """Return the weights (N,) of lines beside an arris that is not seen but may be at a place, and that rival."""
    inside = at < place.shape[0] / mm
    p = place.probability * float(np.prod(1 - real[~inside]))
    weights = real * _none_further_out(real)
    weights = np.where(inside, weights * (1 - place.probability), weights)
    weights = np.append(weights, p)
    weights = weights / max(float(weights.sum()), 0.9)
    weights, p = weights[:-1], float(weights[-1]) * (1 - ANOTHER_LINE)
    weights = weights * (1 - ANOTHER_LINE)
    return weights, Ghost(place.shape, p, place.u_mm, leads=bool(p > weights.max()))


def _end(
    lines: list[Line], real: Array, texture: Texture | None, arris_px: Array, search: Search, top_px: float
) -> TextureEnd | None:
    """Return where the texture of a top ends, if it does, parallel to what lines there are."""
    if texture is None:
        return None
    whole = [line for line, p in zip(lines, real, strict=True) if p > 0.9 and line.coverage > WHOLE]
    known = [line.shape[1] / texture.mm_per_px for line in whole]
    known += [float(a[1] - a[0]) / 2 for a in arris_px[:1]]
    tilt = float(np.median(known)) if known else None
    return find_end(texture, (-search.inner_px, search.outer_px), tilt, top_px)


def _unseen(
    lines: list[Line], real: Array, t: Array, ends: Array, mm: float, search: Search, places: list[Place]
) -> Place | None:
    """Return the likeliest place of an unseen arris, if no line there shows it and none further in is better."""
    at = np.array([line.shape[0] / mm for line in lines])
    best = int((real * _none_further_out(real)).argmax())
    if real[best] > 0.9 and _lit_from_above(lines[best]) and t[best] > LIT_T:
        return None
    for place in places:
        offset, tilt = place.shape[0] / mm, place.shape[1] / mm
        off = np.abs(ends - np.array([offset - tilt, offset + tilt])).max(axis=1)
        whole = np.array([line.coverage > WHOLE for line in lines])
        near = np.where((real > 0.9) & whole, place.blind_px, NEAR_PX if place.by_texture else NEAR_HORN_PX)
        if ((off < near) & (real > 0.5)).any():
            if place.by_texture:  # may be the foot of the arris that the sill's ends tell
                continue
            return None
        gap = offset - at[best]
        if not place.t_value > TELLING_T and real[best] > 0.5:
            foot = search.foot_px - 1 < gap < search.foot_px + search.fall_px + 1.5  # the line may be this arris's foot
            told = t[best] > TELLING_T and not place.t_value >= TEXTURE_FROM and not foot
            if told or _lit_from_above(lines[best]) or gap < 1:  # an arris lies outside of its own foot
                continue
        return place
    return None


def _across(ends_px: Array, shape_px: Array) -> NDArray[np.bool_]:
    """Return which lines (N,), by their ends, cross a place within the side: slanted readings of the same edge."""
    apart = ends_px - np.array([shape_px[0] - shape_px[1], shape_px[0] + shape_px[1]])
    return np.asarray(apart[:, 0] * apart[:, 1] < 0)


def _shaded(lines: list[Line]) -> NDArray[np.bool_]:
    """Return which lines (N,) have a far darker inside: no top of a projecting sill is that dark."""
    inner = np.array([float((x.inner**2).sum()) for x in lines])
    outer = np.array([float((x.outer**2).sum()) for x in lines])
    return np.asarray(inner < SHADED_TOP * outer)


def _lit_from_above(line: Line) -> bool:
    """Return whether a line parts one material into a top that the sky lights and a darker front: a sill's arris.

    The foot of a wall, a frame or a shadow on the sill differs in hue or darkens inward instead.
    """
    inner, outer = float(line.inner.sum()), float(line.outer.sum())
    if min(inner, outer) <= 0:
        return False
    hue = float(np.abs(line.inner / inner - line.outer / outer).max())
    return line.coverage > 0.9 and SKY_RATIO[0] < inner / outer < SKY_RATIO[1] and hue < SAME_HUE


def _other_material(lines: list[Line]) -> NDArray[np.bool_]:
    """Return which lines (N,) have a darker face of another hue inside: a frame behind a flush sill, not its top."""
    inner, outer = np.array([x.inner for x in lines]), np.array([x.outer for x in lines])
    light_in, light_out = inner.sum(axis=1), outer.sum(axis=1)
    hue = np.abs(inner / np.maximum(light_in, TINY)[:, None] - outer / np.maximum(light_out, TINY)[:, None]).max(axis=1)
    return np.asarray((hue > OTHER_HUE) & (light_in < OTHER_LIGHT * light_out))


def _below(lines: list[Line], at: Array, search: Search) -> NDArray[np.bool_]:
    """Return which lines (N,) lie beyond a click on the arris and have no foot behind them, but a clear line has."""
    clear = np.array([x.t_value > 10 and x.coverage > 0.9 for x in lines]) & (np.abs(at) <= search.inner_px)
    gap = at[:, None] - at[None]
    foot = (gap > search.foot_px - 2) & (gap < search.foot_px + search.fall_px + 2)
    return np.asarray((at > search.inner_px + 1) & clear.any() & ~(foot & clear[None]).any(axis=1))
