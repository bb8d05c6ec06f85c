"""Pages, cards and rectangles of known size found in a photo that nobody pointed them out in.

Even regions of several grey levels and colours are outlined; what is four-sided, fits the known proportions under
perspective and is of a likely size is traced. What shows all four sides and lies outside the opening is a candidate.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from vision.kept.once import Once, anew
from vision.page_sides.traced import TracedQuad, trace_quad
from vision.pages.grain import Grain, smoothness
from vision.pages.in_courses import in_courses
from vision.pages.paper import alike_all_round, evenness
from vision.pages.rarity import colours, rarity_outside, unlike
from vision.pages.rated_outlines import COARSE, COMMON, SEARCH, RatedOutlines, rare_outlines, rated_outlines, reduced
from vision.pages.shape import may_lie_beside, overlap, pose_rating
from vision.priors import CameraPrior
from vision.request import Array

LEAST_LIKE = 1e-3  # of candidates in one place none of which is like the reference the best rated stays
TRACED = 8  # the likeliest outlines are traced
GOOD = 0.5  # rating of a page that needs no finer search: sound ones have 0.6 to 0.8
NEAR = 0.4  # votes of what could be another page (the lesser of two had 0.8 of the better one in 40 photos)
SAME = 0.5  # of how far a side is looked for: within it the same sides would be found again
SEEN = {True: 0.35, False: 0.55}  # of every side, of pages, which are taped at their corners, and of cards
COMMON_PAPER = 0.3  # rarity of white bricks among white ones 0 to 0.25, of pages 0.5 to 1 (50 renderings; two at once)
OF_ITS_OWN = 0.8  # rarity of all but 7 of 120 cards; bricks that were taken for one are rarer seldom

_Rarity = Callable[[Array], float]  # of an outline (4, 2) px


@dataclass(frozen=True, slots=True, eq=False)
class FoundQuad:
    """A candidate: corners (4, 2) px, top left first, its trace, and how much it looks like the reference (0 to 1).

    `rare` (0 to 1) says how seldom its colours are elsewhere: those of a brick are common. Of pages `common` says that
    much of the photo is so coloured: white bricks look like one after the other.
    """

    corners_px: Array
    traced: TracedQuad
    rating: float
    rare: float = 1.0
    common: bool = False


def find_quads(
    rgb: NDArray[np.uint8],
    size_mm: tuple[float, float],
    prior: CameraPrior,
    *,
    plain: bool,
    corner_mm: float,
    opening_px: Array | None = None,
    known_px: Sequence[Array] = (),
    once: Once = anew,
) -> list[FoundQuad]:
    """Return the candidates, best first, none overlapping a known one. Several may lie in one place (`apart`).

    Parameters
    ----------
    plain : a page, white and even; else a card or rectangle of any colours.
    corner_mm : left out at each end of a side.
    opening_px : rough corners (4, 2) of the opening: nothing inside it is a reference.
    known_px : outlines of references already known.
    once : gives what was made of the same photo, size and camera before: only the opening has moved.
    """
    for long_side, levels in SEARCH[plain][: 1 if known_px else None]:  # of further ones, what the coarse search shows

        def rate(long_side: int = long_side, levels: int = levels) -> RatedOutlines:
            return rated_outlines(rgb, long_side, levels, size_mm, prior, plain=plain)

        seen = once(("rated", long_side, size_mm, prior, plain), rate)
        outlines = seen.outlines
        if not plain and opening_px is not None and np.isfinite(opening_px).all():
            outlines = (*outlines, *rare_outlines(seen, size_mm, prior, opening_px))
        fitting = [
            (rating, q)
            for rating, q in outlines
            if may_lie_beside(q, size_mm, opening_px) and not any(overlap(q, k) for k in known_px)
        ]
        known, rare, own = seen.colours, None, None
        if known is not None:
            rare = rarity_outside(known, seen.scale, opening_px, size_mm)
            own = rarity_outside(known, seen.scale, opening_px)
        rated = _by_evenness(rgb, fitting) if rare is None else _by_rarity(rare, fitting)
        found = _traced(rgb, rated, size_mm, prior, plain=plain, corner_mm=corner_mm, once=once)
        if rare is not None:
            found = _unlike_the_wall(rare, found)
        found = _no_bricks(rgb, seen, own, found, opening_px)
        if any(f.rating > GOOD and f.rare > COMMON for f in found):
            break
    if plain and len(found) > 1:
        found = _among_the_wall(rgb, found, opening_px)
    return sorted(found, key=lambda f: -f.rating)


def _no_bricks(
    rgb: NDArray[np.uint8],
    seen: RatedOutlines,
    own: _Rarity | None,
    found: list[FoundQuad],
    opening_px: Array | None,
) -> list[FoundQuad]:
    """Return the candidates without those that are part of the wall, by its grain, courses and colours.

    `own` says how rare colours are outside the opening, its surround with them: its bricks are like those beside them.
    """
    if seen.grain is not None:  # of bricks one always has a page's very proportions
        found = _smooth(seen.grain, seen.scale, found)
        found = [f for f in found if not in_courses(rgb, f.corners_px, opening_px)]
    if own is not None:
        found = [
            f
            for f in found
            if own(f.corners_px) >= OF_ITS_OWN or not in_courses(rgb, f.corners_px, opening_px, closely=True)
        ]
    return found


def apart(found: Sequence[FoundQuad], like: Callable[[Array], float]) -> list[FoundQuad]:
    """Return the candidates, best first, one in each place: the better one, better shaped and with less wall in it.

    `like` says of corners (4, 2) px how like the reference they are on the wall, 0 to 1.
    """
    first = {id(f): f.rating for f in found}
    for f in found:
        if any(f is not g and overlap(f.corners_px, g.corners_px) for g in found):
            first[id(f)] *= f.rare * (LEAST_LIKE + (1 - LEAST_LIKE) * like(f.corners_px))
    kept: list[FoundQuad] = []
    for f in sorted(found, key=lambda f: -first[id(f)]):
        if not any(overlap(f.corners_px, k.corners_px) for k in kept):
            kept.append(f)
    return sorted(kept, key=lambda f: -f.rating)


def _by_evenness(rgb: NDArray[np.uint8], fitting: Sequence[tuple[float, Array]]) -> Iterator[tuple[float, Array]]:
    """Give outlines (best first), anew by rating times evenness of the inside, asked only where it may count."""
    waiting: list[tuple[float, int, Array]] = []
    for n, (most, q) in enumerate(fitting):
        while waiting and -waiting[0][0] >= most:  # an even inside adds nothing
            rating, _, best = heappop(waiting)
            yield -rating, best
        heappush(waiting, (-most * evenness(rgb, q), n, q))
    while waiting:
        rating, _, best = heappop(waiting)
        yield -rating, best


def _by_rarity(rare: _Rarity, fitting: Sequence[tuple[float, Array]]) -> list[tuple[float, Array]]:
    """Return outlines (best first), anew by rating and rarity, without those whose colours are common."""
    rated = [(rating, rare(q), q) for rating, q in fitting]
    anew = [(rating * r**2, q) for rating, r, q in rated if r > COMMON]  # bricks are many, and must not come first
    return sorted(anew, key=lambda r: -r[0])


def _unlike_the_wall(rare: _Rarity, found: Sequence[FoundQuad]) -> list[FoundQuad]:
    """Return the candidates rated anew: a brick has the colours of the wall and little contrast, a card has not."""
    contrasts = [min(s.contrast for s in f.traced.sides) for f in found]
    rated = []
    for f, contrast in zip(found, contrasts, strict=True):
        seldom = rare(f.corners_px)
        share = 0.5 + 0.5 * contrast / max(contrasts)
        rated.append(FoundQuad(f.corners_px, f.traced, f.rating * float(unlike(seldom)) * share, seldom))
    return rated


def _smooth(seen: Grain, scale: float, found: Sequence[FoundQuad]) -> list[FoundQuad]:
    """Return the candidates rated anew: brick has a grain, paper has none."""
    return [replace(f, rating=f.rating * smoothness(seen, (f.corners_px + 0.5) * scale - 0.5)) for f in found]


def _among_the_wall(rgb: NDArray[np.uint8], found: Sequence[FoundQuad], opening_px: Array | None) -> list[FoundQuad]:
    """Return pages that are told whether their colours are common outside the opening."""
    small, scale = reduced(rgb, COARSE)
    rare = rarity_outside(colours(small), scale, opening_px)
    return [replace(f, common=rare(f.corners_px) < COMMON_PAPER) for f in found]


def _traced(
    rgb: NDArray[np.uint8],
    rated: Iterable[tuple[float, Array]],
    size_mm: tuple[float, float],
    prior: CameraPrior,
    *,
    plain: bool,
    corner_mm: float,
    once: Once,
) -> list[FoundQuad]:
    """Return the outlines that can be traced, of those rated (best first); `corner_mm` is left out of each side."""
    found: list[FoundQuad] = []
    most = 0.0
    for votes, q in islice(rated, TRACED):
        most = max(most, votes)
        if votes <= 0:
            break
        # White even paper stands far before all else: behind it only what comes near is traced.
        if plain and votes < NEAR * most and any(f.rating > GOOD for f in found):
            break
        lengths = np.linalg.norm(np.roll(q, -1, axis=0) - q, axis=1)
        short, long = min(size_mm), max(size_mm)
        across = (long, short) if lengths[[0, 2]].sum() > lengths[[1, 3]].sum() else (short, long)
        out = (min(corner_mm / across[0], 0.2), min(corner_mm / across[1], 0.2))
        reach = float(np.clip(0.05 * lengths.min(), 3.0, 0.004 * max(rgb.shape)))
        if any(np.abs(f.corners_px - q).max() < SAME * reach for f in found):
            continue
        if plain and any(f.rating > GOOD and overlap(f.corners_px, q) for f in found):
            continue  # of two in one place one stays

        def trace(q: Array = q, reach: float = reach, out: tuple[float, float] = out) -> TracedQuad | None:
            return trace_quad(rgb, q, reach, out)

        traced = once(("traced", q, reach, out), trace)
        if traced is None or traced.weakest < SEEN[plain]:
            continue
        fit = pose_rating(traced.corners_px, size_mm, prior)
        if fit <= 0:
            continue
        rating = fit * traced.weakest * _stands_out(traced)
        if plain:
            rating = fit * _seen(traced) * _stands_out(traced) * float(np.sqrt(votes / most))
            rating *= evenness(rgb, traced.corners_px) * alike_all_round(rgb, traced.corners_px)
        if rating > 0.05:
            found.append(FoundQuad(traced.corners_px, traced, rating))
    return found


def _seen(traced: TracedQuad) -> float:
    """Return 0 to 1: how much of the sides is seen, the one that is seen least counting half."""
    return 0.5 * traced.weakest + 0.5 * float(np.mean([s.seen for s in traced.sides]))


def _stands_out(traced: TracedQuad) -> float:
    """Return 0 to 1: how alike the contrast is on all four sides."""
    contrast = np.array([s.contrast for s in traced.sides])
    return float(np.clip(contrast.min() / max(0.25 * float(np.median(contrast)), 0.004), 0, 1))
