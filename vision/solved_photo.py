"""One photo solved by its references: its camera and wall, doubts about the photo, and its straight edges."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment import Block, adjust
from vision.last_trace import LastTrace
from vision.lens.contradicted import contradicted
from vision.lens.usual import with_usual_lens
from vision.observations import EdgeBlock, PhotoState, PriorBlock
from vision.pages.of_photo import solve_page_photo
from vision.photo.reading import at_photo_size
from vision.photo.upright_rgb import Pixels
from vision.prepared import Prepared, WrongLens
from vision.priors import PAPER, reference_size_mm
from vision.quality.doubts import BLUR_PX, FileDoubts, cut_found, cut_prior, shows_cut, solved_doubts
from vision.quality.edge_blur import (
    WORTH_A_TRY,
    PrintedBlur,
    looks_like_itself,
    page_blur,
    pattern_agreement,
    printed_blur,
    sheets_white,
    too_smeared,
    weakened,
)
from vision.quality.panorama import joined_with_itself, rolled
from vision.request import OpeningRequest, PhotoReport, Warning_
from vision.sheets import markers
from vision.sheets.sheet import HEIGHT_MM, WIDTH_MM
from vision.solving.print_scale import scaled_by_outline
from vision.solving.solve import solve_sheets
from vision.solving.solved import Solved, not_bent_by_blur, strain
from vision.solving.unlike_sheets import taken_apart
from vision.wall.segments import Segments

PUT_TOGETHER = Warning_(
    "not-one-view",
    "the same sheet letter is in view twice, and the sheets fit no single view of one wall: the picture seems put "
    "together from several photos, so nothing can be measured in it; send each photo by itself, as the camera wrote it",
)
SHEETS_SEEN = "printed sheets are in view: leave the reference out, or name it sheet, to measure by these"
READ_IN_MIRROR = 3  # markers of one sheet: chance reads one


@dataclass(frozen=True, slots=True, eq=False)
class PhotoSolved:
    """One photo solved by its references: doubts about it as warnings, straight edges (None: not searched), and blur.

    `blur_px` is the spread of the references' edges that run up and down and of those that run across, where known.
    None of it depends on the corners of the opening, except for pages and cards: those are looked for outside of it.
    """

    solved: Solved
    doubts: tuple[Warning_, ...]
    segments: Segments | None
    blur_px: tuple[float, float] | None = None


def solve_photo(request: OpeningRequest, ready: Prepared, last: LastTrace | None = None) -> PhotoSolved | PhotoReport:
    """Return the photo solved by its references, or its report with the error that stood in the way.

    `last` is what was worked out for the same photo with other corners.
    """
    last = last or LastTrace()
    solved = ready.report.error or joined_with_itself(ready.grey) or _solve(request, ready, last)
    while not isinstance(solved, Warning_) and ready.reference.kind == "sheet":
        bad = too_smeared(ready.grey, solved, ready.sightings)
        if not bad:
            break
        ready = replace(ready, sightings=tuple(s for s in ready.sightings if all(s is not b for b in bad)))
        solved = _solve(request, ready, last) if ready.sightings else _smeared(ready.asked.path.name)
    if not isinstance(solved, Warning_) and ready.reference.kind == "sheet":
        solved = rolled(solved, ready.prior.focal_px, ready.picture.size_px) or solved
    if isinstance(solved, Warning_):
        return replace(ready.report, error=solved)
    solved, doubts, blur = _doubted(request, ready, solved, last)
    if any(w.code == "blurred" for w in doubts):
        solved = not_bent_by_blur(solved)
    codes = {w.code for w in (*ready.report.warnings, *doubts, *solved.warnings)}
    if {"blurred", "references-disagree"} <= codes:
        return replace(ready.report, warnings=(*ready.report.warnings, *doubts), error=_smeared(ready.asked.path.name))
    twice = len(set(solved.names)) < len(solved.names)
    if twice and "references-disagree" in codes and codes & {"cropped", "wide-lens", "not-one-view"}:
        return replace(ready.report, error=PUT_TOGETHER)
    if ready.prior.covariance is not None:
        solved = replace(solved, warnings=tuple(_or_profile(w) for w in solved.warnings))
    solved = _as_they_disagree(solved) if ready.reference.kind == "sheet" else solved
    segments = last.segments(ready.grey) if solved.blocks and sees_lines(ready, doubts) else None
    return PhotoSolved(solved, tuple(doubts), segments, None if blur is None else blur.spread_px)


def wrong_lens(request: OpeningRequest, ready: Prepared, last: LastTrace) -> WrongLens | None:
    """Return why the camera profile of a photo cannot be its own, by what the photo shows itself; None where it may be.

    The corners of the opening are not asked: while they are dragged the profile stays or goes.
    """
    own = ready.own
    if own is None or ready.report.error is not None:
        return None
    alone = replace(ready, prior=own.prior)
    solved = _solve(request, alone, last)
    if isinstance(solved, Warning_) or not solved.blocks:
        return None
    if sees_lines(alone):
        solved = last.lined(ready.grey, solved, None, request.wall, last.segments(ready.grey))
    loose = cut_prior(own.prior, ready.picture.exif, ready.picture.size_px)
    found = contradicted(solved, ready.prior, own.prior, loose)
    if found is None:
        return None
    why, cut = found
    if cut is not None and not any(w.code == "cropped" for w in own.warnings):
        own = FileDoubts(loose, (*own.warnings, cut_found(replace(solved, adjusted=cut), own.prior)))
    return why, own


def _as_they_disagree(solved: Solved) -> Solved:
    """Return sheets that contradict each other with all they say as uncertain as what is known beforehand is strained.

    Notes
    -----
    The Birge ratio, with the largest strained residual in place of the rms: the contradiction is in few of many.
    """
    codes = {w.code for w in solved.warnings}
    if (
        "references-disagree" not in codes or "print-scale" in codes or solved.scales
    ):  # the scale then holds what they differ by
        return solved
    ratio = strain(solved.blocks, solved.adjusted.state)
    blocks = tuple(_less_sure(b, ratio) for b in solved.blocks)
    return replace(solved, blocks=blocks, adjusted=adjust(blocks, solved.adjusted.state, near=True))


def _or_profile(warning: Warning_) -> Warning_:
    """Return a contradiction of references with the camera profile named beside them: it may be what is wrong."""
    if warning.code != "references-disagree":
        return warning
    says = (
        "; a camera profile was used: if the picture was cut or zoomed, or is by another camera, leave the profile out"
    )
    return replace(warning, message=warning.message + says)


def _less_sure(block: Block[PhotoState], ratio: float) -> Block[PhotoState]:
    if isinstance(block, EdgeBlock):
        return replace(block, u_px=ratio * block.u_px)
    return replace(block, u=ratio * block.u) if isinstance(block, PriorBlock) else block


def sees_lines(ready: Prepared, doubts: Sequence[Warning_] = ()) -> bool:
    """Return whether the wall's lines are to tell the camera.

    Where corners stand as clicked they do only of a lens that is known and a picture that was not cut (`doubts` say so
    too). Of an unknown lens two terms of distortion need not be enough: on nine photos of real boards, a small
    reference at 81 places, lines made errors far less but raised their rms over u from 0.96 to 1.30.
    """
    cut = any(w.code in {"cropped", "digital-zoom"} for w in (*ready.report.warnings, *doubts))
    return ready.asked.trace or not (ready.prior.guessed or cut)


def _solve(request: OpeningRequest, ready: Prepared, last: LastTrace) -> Solved | Warning_:
    asked = ready.asked
    if ready.reference.kind == "sheet":
        if not ready.sightings:
            return _if_mirrored(ready.grey, asked.path.name) or Warning_(
                "no-reference",
                f"no printed sheet was found in {asked.path.name} (none, or too small, blurred or dark); tape one "
                "sheet left and one right of the opening and take the photo again, or, if a plain page or card is in "
                "view instead, name it as the reference",
            )
        solved = _solve_sheets(request, ready, ready.grey)
        if isinstance(solved, Warning_):
            return solved
        return scaled_by_outline(ready.picture.rgb, solved, request.check_bar)
    found = solve_page_photo(ready.picture.rgb, asked, ready.reference, ready.prior, request.wall, last.once)
    return as_refused(found, ready) if isinstance(found, Warning_) else found


def as_refused(found: Warning_, ready: Prepared) -> Warning_:
    """Return why a page or card is not taken for one, as a person is told: sheets in view, places in the photo's px."""
    if markers.find_sheets(ready.grey):
        found = replace(found, message=f"{found.message}; {SHEETS_SEEN}")
    return _in_the_photo(found, ready.picture.reduced)


def _in_the_photo(warning: Warning_, reduced: int) -> Warning_:
    """Return a warning with its places in pixels of the photo itself, in which people give corners."""

    def own(place: re.Match[str]) -> str:
        x, y = at_photo_size([float(place[1]), float(place[2])], reduced)
        return f"at {x:.0f},{y:.0f}"

    return replace(warning, message=re.sub(r"\bat (\d+),(\d+)\b", own, warning.message)) if reduced > 1 else warning


def _solve_sheets(request: OpeningRequest, ready: Prepared, grey: Pixels) -> Solved | Warning_:
    """Return the photo solved by the sheets that look like themselves where they were placed."""
    sightings = tuple(
        s for s in ready.sightings if pattern_agreement(grey, s.letter, markers.first_outline(s)) > WORTH_A_TRY
    )
    while sightings:

        def solve(scales: Sequence[float] = (), of: tuple[markers.Sighting, ...] = sightings) -> Solved:
            return solve_sheets(grey, of, ready.prior, request.check_bar, request.wall, scales)

        solved = solve()
        good = [looks_like_itself(grey, s, o) for s, o in zip(sightings, solved.outlines_px, strict=True)]
        if all(good):
            return taken_apart(solved, solve)
        # the one with the fewest markers alone: it may have led the others astray
        worst = min((s.markers, i) for i, s in enumerate(sightings) if not good[i])[1]
        sightings = (*sightings[:worst], *sightings[worst + 1 :])
    return _if_mirrored(grey, ready.asked.path.name) or _smeared(ready.asked.path.name)


def _if_mirrored(grey: Pixels, name: str) -> Warning_ | None:
    """Return `no-reference` where the sheets of a picture (H, W) can be read in a mirror; else None."""
    if not any(s.markers >= READ_IN_MIRROR for s in markers.find_sheets(np.ascontiguousarray(grey[:, ::-1]))):
        return None
    return Warning_(
        "no-reference",
        f"the picture {name} is mirrored, as front cameras and some programs save them: its sheets can be read in a "
        "mirror only; send the photo as the camera wrote it, or take one with the camera on the back",
    )


def _smeared(name: str) -> Warning_:
    return Warning_(
        "no-reference",
        f"a sheet was seen in {name}, but too blurred or too small to be read; hold still, go nearer, and take the "
        "photo again in its original size",
    )


def _doubted(
    request: OpeningRequest, ready: Prepared, solved: Solved, last: LastTrace
) -> tuple[Solved, list[Warning_], PrintedBlur | None]:
    """Return the photo solved as cut where the references show that it was, what else makes it worse, and its blur."""
    warned: list[Warning_] = []
    exif, size, prior = ready.picture.exif, ready.picture.size_px, ready.prior
    grey = ready.grey
    sheets = ready.reference.kind == "sheet"
    if sheets:
        blur = printed_blur(grey, solved.blocks, solved.outlines_px)
        solved = weakened(solved, ready.sightings, blur)
    else:
        blur = page_blur(grey, solved.traced, BLUR_PX, paper=ready.reference.kind in PAPER)
    if not any(w.code == "cropped" for w in ready.report.warnings) and _seen_cut(request, ready, solved, last):
        again = _solve(request, replace(ready, prior=cut_prior(prior, exif, size)), last)
        if isinstance(again, Solved):
            solved, warned = weakened(again, ready.sightings, blur) if sheets else again, [cut_found(again, prior)]
    if sheets and not warned and not any(w.code == "cropped" for w in ready.report.warnings):
        solved = with_usual_lens(solved, prior, size)
    side = (WIDTH_MM, HEIGHT_MM) if sheets else reference_size_mm(ready.reference)
    camera, root = solved.adjusted.state.camera, float(np.sqrt(side[0] * side[1]))
    white = sheets_white(grey, solved.outlines_px) if sheets and blur is None else 1.0
    return solved, [*warned, *solved_doubts(camera, prior, exif, size, solved.outlines_px, root, blur, white)], blur


def _seen_cut(request: OpeningRequest, ready: Prepared, solved: Solved, last: LastTrace) -> bool:
    """Return whether the references show that the picture was cut, and with pages or cards the wall's lines too.

    Their sides are few: one misread, clicked beside or not quite straight looks like a cut as well.
    """
    size, exif, prior = ready.picture.size_px, ready.picture.exif, ready.prior
    if not last.once(("cut", solved.adjusted, prior), lambda: shows_cut(solved, prior, exif, size)):
        return False
    if ready.reference.kind == "sheet" or not sees_lines(ready):
        return True
    grey = ready.grey
    with_lines = last.lined(grey, solved, ready.asked.corners_px, request.wall, last.segments(grey))
    if len(with_lines.blocks) == len(solved.blocks):  # there are none, or they disagree
        return False
    return shows_cut(with_lines, prior, exif, size)
