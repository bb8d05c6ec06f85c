"""The pages, cards or rectangles of one photo: pointed out, found by themselves, or both; then solved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.kept.once import Once, anew
from vision.page_sides.traced import TracedQuad
from vision.pages.caught import caught
from vision.pages.find import FoundQuad, apart, find_quads
from vision.pages.kind import two_of_another_kind
from vision.pages.one_side import mended_as, mended_where_pointed
from vision.pages.opening_roughly import roughly
from vision.pages.plane import likeness
from vision.pages.refused import ONE, askew, place_of, unlike_said
from vision.priors import PAGE_SIZE_MM, PAPER, CameraPrior, reference_size_mm
from vision.request import Array, PhotoRequest, Reference, Wall, Warning_
from vision.solving.solve_pages import CORNER_MM, fits_one_wall, solve_rectangles
from vision.solving.solved import Solved

NAMES = {"letter": "Letter page", "a4": "A4 page", "id1": "card", "given": "rectangle of the given size"}
SURE = 0.25  # rating of a candidate that may stand alone
# Of a page where no corners of the opening say how the wall slants: with a side hidden it reaches 0.5, a page with one
# side taken from a leaf or a joint 0.3 to 0.4 (95 renderings), a sound one 0.6 to 0.8.
SURE_ALONE = 0.45
CLEAR = 0.55  # a rival this near to the best could be the reference as well
COMMON_CLEAR = 0.25  # and so near where the wall is as white as either: bricks that are as smooth as paper (a guess)
# Its colours are seldom elsewhere in the photo: cards and rectangles reach 0.7 to 1 in practice and 34 renderings, half
# bricks that were taken for one 0.1 to 0.45 (one of them 0.7: a rival then).
RARE = 0.5
# Paper of the size that was not said is to be named, and must be clearer: a piece of a board fits one or the other.
OTHER_SIZE = 0.5
MENDED = 3  # candidates of which a side is doubted where none fits
JOINS = 0.4  # rating of one more that joins
MOST_JOINED = 6  # candidates that are looked at for one more (a guess)
MORE_COST = 120.0  # it brings about 50 observations; twice their number is too much (a guess)
FOUND_PX = 1.0  # click of a traced outline that is then traced again


def solve_page_photo(
    rgb: NDArray[np.uint8],
    asked: PhotoRequest,
    reference: Reference,
    prior: CameraPrior,
    wall: Wall,
    once: Once | None = None,
) -> Solved | Warning_:
    """Return the photo adjusted from its pages or cards, or a warning that says why there is none to go by.

    Those pointed out are used, traced unless the photo says `trace = false`. Beside a single one others of the kind
    are looked for, and join when they fit the same wall at the same size. `once` returns what a function made of the
    same values before; it is asked for what need not be made anew when only corners of the opening were moved.
    """
    kept: Once = once or anew
    seen = rgb if asked.trace else None
    given = list(asked.reference_corners_px)
    if given and not asked.trace:
        return solve_rectangles(given, reference, prior, wall, asked.click_px, seen)
    opening = asked.corners_px if asked.corners_px is not None and np.isfinite(asked.corners_px).all() else None
    like = likeness_of(reference, opening, prior, asked.click_px)

    def find(given: Sequence[Array] = ()) -> list[FoundQuad]:
        return _found(rgb, asked, reference, prior, kept, given)

    pointed = _caught(rgb, asked, reference, prior, find, like)
    if isinstance(pointed, Warning_):
        return pointed
    given = pointed
    own: list[TracedQuad | None] = [None] * len(given)
    if opening is not None and reference.kind not in PAPER:
        own = [mended_where_pointed(rgb, q, reference, opening, prior, like, asked.click_px) for q in given]
        given = [q if t is None else t.corners_px for q, t in zip(given, own, strict=True)]
    if len(given) > 1:
        solved = solve_rectangles(given, reference, prior, wall, asked.click_px, seen, own)
        return unlike_said(solved, reference, asked.path.name, like) or solved
    found = apart(find(given), like)
    found = _mended(rgb, found, reference, None if given else opening, prior, like)
    traces = [(f.corners_px, f.traced) for f in found] if asked.trace else []
    traces += [(q, t) for q, t in zip(given, own, strict=True) if t is not None]

    def solve(quads: list[Array], clicks: list[float]) -> Solved:
        def made() -> Solved:  # what was traced when it was found is not traced again
            known = [next((t for c, t in traces if c is q), None) for q in quads]
            return solve_rectangles(quads, reference, prior, wall, clicks, seen, known)

        return kept(("solved", reference, prior, quads, clicks, wall), made)

    if opening is not None:  # it shows how the wall slants
        rated = [replace(f, rating=f.rating * like(f.corners_px)) for f in found]
        fitting = sorted((f for f in rated if f.rating > 0), key=lambda f: -f.rating)
        if not given and not fitting and found and found[0].rating >= SURE and found[0].rare >= RARE:
            return askew(found[0].corners_px, reference, asked.path.name)
        found = fitting
    unled = asked.corners_px is None and reference.kind in PAPER
    best = None if given else _clear(found, reference, prior, asked.path.name, SURE_ALONE if unled else SURE)
    if isinstance(best, Warning_):
        return _of_another_kind(found, reference, prior, wall, rgb) or best
    first, click_px = (given, asked.click_px) if best is None else ([best.corners_px], FOUND_PX)
    solved = _joined(first, click_px, [f for f in found if f is not best], solve, reference, prior)
    # another may have stayed out because neither is of the size that was said
    likely = [f for f in found if f is best or f.rating >= JOINS] if best and len(solved.names) == 1 else []
    unlike = unlike_said(solved, reference, asked.path.name, like) if given else None
    return unlike or _of_another_kind(likely, reference, prior, wall, rgb) or solved


def candidates_px(
    rgb: NDArray[np.uint8], asked: PhotoRequest, reference: Reference, prior: CameraPrior, once: Once
) -> list[Array]:
    """Return the outlines (4, 2) px of what may be the reference, the likeliest first, where no opening tells."""
    found = apart(_found(rgb, asked, reference, prior, once), lambda _: 1.0)
    return [f.corners_px for f in found if f.rating >= SURE and f.rare >= RARE][:MOST_JOINED]


def _found(
    rgb: NDArray[np.uint8],
    asked: PhotoRequest,
    reference: Reference,
    prior: CameraPrior,
    kept: Once,
    given: Sequence[Array] = (),
) -> list[FoundQuad]:
    rough = roughly(asked.corners_px, (rgb.shape[1], rgb.shape[0]))

    def find() -> list[FoundQuad]:
        return find_quads(
            rgb,
            reference_size_mm(reference),
            prior,
            plain=reference.kind in PAPER,
            corner_mm=CORNER_MM[reference.kind],
            opening_px=rough,
            known_px=given,
            once=kept,
        )

    return kept(("quads", reference, prior, rough, list(given)), find)


def _caught(
    rgb: NDArray[np.uint8],
    asked: PhotoRequest,
    reference: Reference,
    prior: CameraPrior,
    find: Callable[[], list[FoundQuad]],
    like: Callable[[Array], float],
) -> list[Array] | Warning_:
    """Return the outlines that were pointed out, each on the reference that was meant, or why one is none."""
    what = f"{NAMES[reference.kind]} in {asked.path.name}"
    given: list[Array] = []
    for quad in asked.reference_corners_px:
        better = caught(rgb, quad, reference, prior, asked.click_px, what, find, like)
        if isinstance(better, Warning_):
            return better
        given.append(better)
    return given


def likeness_of(
    reference: Reference, opening_px: Array | None, prior: CameraPrior, click_px: float
) -> Callable[[Array], float]:
    """Return what says how well an outline has the reference's proportions on the wall; 1 where no opening shows it."""
    said = reference_size_mm(reference)
    # Paper of the other standard stays in, to be named later for what it is (`page_kind`).
    sizes = [PAGE_SIZE_MM[k] for k in PAPER] if reference.kind in PAPER else [said]

    def like(quad: Array) -> float:
        if opening_px is None:
            return 1.0
        return max((1.0 if s == said else OTHER_SIZE) * likeness(quad, s, opening_px, prior, click_px) for s in sizes)

    return like


def _joined(
    quads: list[Array],
    click_px: float,
    found: list[FoundQuad],
    solve: Callable[[list[Array], list[float]], Solved],
    reference: Reference,
    prior: CameraPrior,
) -> Solved:
    """Return the photo solved by one reference, and by those found beside it that fit the same wall at its size."""
    clicks = [click_px] * len(quads)
    alone = solve(quads, clicks)
    for f in found[:MOST_JOINED]:
        if f.rating < JOINS or f.rare < RARE or f.common or not fits_one_wall([*quads, f.corners_px], reference, prior):
            continue
        more = [*quads, f.corners_px]
        joined = solve(more, [*clicks, FOUND_PX])
        if joined.adjusted.cost - alone.adjusted.cost < MORE_COST:
            quads, clicks, alone = more, [*clicks, FOUND_PX], joined
    return alone


def _mended(
    rgb: NDArray[np.uint8],
    found: list[FoundQuad],
    reference: Reference,
    opening_px: Array | None,
    prior: CameraPrior,
    like: Callable[[Array], float],
) -> list[FoundQuad]:
    """Return the candidates; where none fits, those unlike the wall with the one side exchanged that makes them fit."""
    if opening_px is None or reference.kind in PAPER:
        return found
    if any(f.rare >= RARE and f.rating * like(f.corners_px) >= SURE for f in found):
        return found
    made = list(found)
    for k, f in enumerate(found[:MENDED]):
        if f.rating < SURE or f.rare < RARE:
            continue
        other = mended_as(rgb, f.traced, reference, opening_px, prior, like)
        made[k] = f if other is None else replace(f, corners_px=other.corners_px, traced=other)
    return made


def _clear(
    found: list[FoundQuad], reference: Reference, prior: CameraPrior, name: str, sure: float = SURE
) -> FoundQuad | Warning_:
    """Return the one candidate to begin with, or why nobody but a person can say which."""
    what = NAMES[reference.kind]
    found = [f for f in found if f.rare >= RARE]  # one brick of many may have the very proportions of a card
    if not found or found[0].rating < sure:
        return Warning_(
            "no-reference",
            f"no {what} was found in {name}; point out its corners (reference corners), or take a photo in which it "
            "lies flat on the wall beside the opening, whole and not cut by a shadow",
        )
    best = found[0]
    rivals = [
        f
        for f in found[1:]
        if (best.common and f.common and f.rating > COMMON_CLEAR * best.rating)
        or (
            (f.rating > CLEAR * best.rating or (f.rating > SURE and f.rare < 1))
            and not fits_one_wall([best.corners_px, f.corners_px], reference, prior)
        )
    ]
    if rivals:
        places = " and at ".join(place_of(f.corners_px) for f in [best, *rivals[:2]])
        return Warning_(
            "no-reference",
            f"several things in {name} look like {ONE[reference.kind]}, at {places} px; point out the "
            "corners of the real one (reference corners), or name another kind if they are of another size",
        )
    return best


def _of_another_kind(
    found: list[FoundQuad], reference: Reference, prior: CameraPrior, wall: Wall, rgb: NDArray[np.uint8]
) -> Warning_ | None:
    """Return `reference-size` where the best candidate and another are two pages of another standard size."""
    if not found or reference.kind not in PAPER:
        return None
    best = found[0]
    for rival in [f for f in found[1:MOST_JOINED] if not f.common]:
        quads = [best.corners_px, rival.corners_px]
        kind = two_of_another_kind(quads, [best.traced, rival.traced], reference, prior, wall, rgb)
        if kind is not None:
            return kind
    return None
