"""One side of a card that its own stripe was taken for, told by the proportions that it must have on the wall.

A dark stripe along the head of a card is a stronger line than the head itself on a wall as bright as the card. The
opening shows how the wall slants, so three sides say where the fourth must be; if the photo shows a line there, and one
of the four sides alone can be so mended, that line is the side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.page_sides.coded import with_line
from vision.page_sides.traced import TracedQuad
from vision.pages.lines_near import NearLine, line_near, lines_near
from vision.pages.plane import laid_on_wall
from vision.priors import CameraPrior, reference_size_mm
from vision.request import Array, Reference
from vision.solving.solve_pages import as_it_hangs, left_out_of, traced_rectangle

# A stripe ends 16 mm from the edge (ISO/IEC 7811-2, from memory), half of what is left of the height across.
FAR, PLACES = 0.55, 61  # of the length across: so far off the side may be; and as many places are tried
FITS = 0.5  # likeness of the card with that side
OFF_PX = (0.0, 1.6, -1.6)  # a side is placed from so near; its place is known no better
# Likeness, share of the side seen, and how clearly it parts card and wall, multiplied; a lamp's pane had 0.4. And where
# a person pointed at the card (a guess).
CLEAR, CLEAR_POINTED = 0.5, 0.05
CLICK_WANDERS = 2.0  # standard deviations of a click: hands are less steady than they say (a guess)
CLEARER = 3.0  # than with another of its sides mended (a guess)


def mended(
    rgb: NDArray[np.uint8],
    traced: TracedQuad,
    left_out: tuple[float, float],
    size_mm: tuple[float, float],
    opening_px: Array,
    prior: CameraPrior,
    like: Callable[[Array], float],
    pointed: tuple[Array, float] | None = None,
) -> TracedQuad | None:
    """Return a traced card with the one side exchanged that makes it fit; None where none does, or several do.

    Parameters
    ----------
    left_out : share of width and height left out at each end of a side.
    opening_px : corners (4, 2) px.
    like : says of corners how like the reference they are on the wall, 0 to 1.
    pointed : where a person pointed at its corners (4, 2) px, and the standard uncertainty of each coordinate: then
        that side need not be as clear, and of several the one that lies there is meant.
    """

    def meant(corners: Array) -> float:
        if pointed is None:
            return 1.0
        there, u_px = pointed
        return float(np.exp(-0.5 * ((corners - there) ** 2).mean() / u_px**2))

    near = lines_near(rgb, traced, left_out)
    best: list[tuple[float, TracedQuad]] = []
    for i in range(4):
        beside = near[i][1:]
        line = _where_it_fits(traced.corners_px, i, size_mm, opening_px, prior)
        for off in OFF_PX:
            at = with_line(traced.corners_px, i, line + np.array([0, 0, off]))
            there = line_near(rgb, at, i, left_out[i % 2], traced.blur_px, traced.corners_px)
            if there is not None:
                beside = [there, *beside]
                break
        made = [(other, with_line(traced.corners_px, i, other.line)) for other in beside]
        fitting = [
            (
                fits * other.side.seen * float(np.exp(-other.unclear / 2)) * meant(corners),
                _exchanged(traced, i, other, corners),
            )
            for other, corners in made
            if np.isfinite(corners).all() and (fits := like(corners)) >= FITS
        ]
        if fitting:
            best.append(max(fitting, key=lambda f: f[0]))
    best.sort(key=lambda f: -f[0])
    clear = CLEAR if pointed is None else CLEAR_POINTED
    if not best or best[0][0] < clear or (len(best) > 1 and best[0][0] < CLEARER * best[1][0]):
        return None
    return best[0][1]


def mended_as(
    rgb: NDArray[np.uint8],
    traced: TracedQuad,
    reference: Reference,
    opening_px: Array,
    prior: CameraPrior,
    like: Callable[[Array], float],
    pointed: tuple[Array, float] | None = None,
) -> TracedQuad | None:
    """Return the same, for a reference that hangs upright or lies as the traced sides (4, 2) px say."""
    half = np.array(reference_size_mm(as_it_hangs(traced.corners_px, reference))) / 2
    ends = left_out_of(half, reference.kind)
    return mended(rgb, traced, ends, reference_size_mm(reference), opening_px, prior, like, pointed)


def mended_where_pointed(
    rgb: NDArray[np.uint8],
    quad: Array,
    reference: Reference,
    opening_px: Array,
    prior: CameraPrior,
    like: Callable[[Array], float],
    click_px: float,
) -> TracedQuad | None:
    """Return the sides near corners (4, 2) px that were pointed out, one of them exchanged; None where none need be."""
    traced = traced_rectangle(rgb, quad, as_it_hangs(quad, reference), reference.kind, click_px)
    if traced is None or like(traced.corners_px) >= FITS:
        return None
    u_px = CLICK_WANDERS * click_px * max(rgb.shape) / 4032
    return mended_as(rgb, traced, reference, opening_px, prior, like, (quad, max(u_px, 1.0)))


def _exchanged(traced: TracedQuad, i: int, other: NearLine, corners: Array) -> TracedQuad:
    a, b, c, d = (other.side if k == i else s for k, s in enumerate(traced.sides))
    return replace(traced, corners_px=corners, sides=(a, b, c, d))


def _where_it_fits(quad: Array, i: int, size_mm: tuple[float, float], opening_px: Array, prior: CameraPrior) -> Array:
    """Return the line a x + b y = c beside side `i` on which it would have to lie for the proportions to be right."""
    a, b = quad[i], quad[(i + 1) % 4]
    normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
    far = FAR * float(np.linalg.norm(quad[i] - quad[i - 1]))
    target = abs(float(np.log(size_mm[0] / size_mm[1])))
    best, least = 0.0, np.inf
    for off in np.linspace(-far, far, PLACES):
        corners = with_line(quad, i, np.array([*normal, normal @ a + off]))
        if not np.isfinite(corners).all():
            continue
        sides = np.hypot(*(np.roll(p := laid_on_wall(corners, opening_px, prior), -1, axis=0) - p).T)
        miss = abs(abs(float(np.log((sides[0] + sides[2]) / (sides[1] + sides[3])))) - target)
        if miss < least:
            best, least = float(off), miss
    return np.array([*normal, normal @ a + best])
