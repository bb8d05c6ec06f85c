"""Where the wall's courses stop: light along each column against the courses beside the references.

Courses and laps run level through the whole wall: every column of it shows the same rise and fall of light with height
(normalised cross-correlation). Glass, frames, trims, lintels and sills do not, whatever their colour.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.finder.wall_mask import PITCH_MM, Mask, WallView, reference_mask
from vision.request import Array

LEVEL_MM = 200.0  # slower changes of light are shade, not courses
WINDOW_MM = 150.0  # half of the height compared: two courses of brick or more
WIDE_PX = 5  # columns compared together
SLIP_PX = 2  # courses are laid and mapped so well
FLANK_MM = 400.0  # guess: at the ends of a row, where references above or below an opening show no courses beside it
LINTEL_MM = 300.0  # guess: what spans an opening in the wall's colour reaches so far beyond it
NOISE = 3.0  # Lab lightness; what varies less is plain
CLIPPED = 40.0  # nothing outweighs a course by more
COURSED = 0.5  # the wall beside the references agrees with itself so well, or shows no courses (noise: up to 0.4)
ALONG_MM = 150.0  # of a row, over which its evenness is read
SMOOTH = 0.5  # guess: share of the wall's usual spread of lightness along a row
STOPS = 0.5  # share of the usual agreement below which the courses have stopped
LEAST_ROWS = 8  # pixels of a row that its mean light rests on
BRICK_PX = 13  # a place without courses is larger than a brick is high
STEEPEST_DEG, BIN_DEG = 6.0, 0.1  # how far the level may lean in the view; bins of the histogram of directions
SHARP = 15.0  # Sobel gradient of lightness that counts as an edge
SURE_DEG = 0.5  # standard deviation by which that histogram is smoothed


def level_rad(view: WallView, references: Sequence[Array]) -> float:
    """Return by how much the wall's level leans in the view, from its edges: all run along or across.

    Parameters
    ----------
    view : the rectified wall, rows level within a few degrees.
    references : (4, 2) px of the view: they hang as they like, and are left out.
    """
    light = cv2.GaussianBlur(view.lab[..., 0], (0, 0), 1.0)
    across, down = cv2.Sobel(light, cv2.CV_32F, 1, 0, ksize=3), cv2.Sobel(light, cv2.CV_32F, 0, 1, ksize=3)
    seen = cv2.erode(np.pad(view.valid, 1), np.ones((9, 9), np.uint8))[1:-1, 1:-1] > 0
    seen &= reference_mask(view, references, 1.5) == 0
    size = np.hypot(across, down)
    seen &= size > SHARP
    lean = (np.degrees(np.arctan2(down[seen], across[seen])) + 45.0) % 90.0 - 45.0
    bins = np.arange(-STEEPEST_DEG, STEEPEST_DEG + BIN_DEG / 2, BIN_DEG)
    votes, _ = np.histogram(lean, bins=bins, weights=np.minimum(size[seen], 4 * SHARP))
    if not votes.any():
        return 0.0
    spread = np.arange(-15, 16) * BIN_DEG / SURE_DEG
    votes = np.convolve(votes, np.exp(-0.5 * spread**2), "same")
    return float(np.radians(bins[int(np.argmax(votes))] + BIN_DEG / 2))


def agreement(view: WallView, references: Sequence[Array], other: Mask) -> tuple[NDArray[np.float32], float] | None:
    """Return how well each pixel's column agrees with the courses (H, W), and the usual agreement of the wall.

    None where the wall has no courses.

    Parameters
    ----------
    view : the rectified wall, courses along its rows.
    references : (4, 2) px of the view.
    other : (H, W) pixels whose colour is not the wall's.
    """
    valid = view.valid > 0
    sheets = reference_mask(view, references, 1.5) > 0
    light = _without_shade(view.lab[..., 0], valid)
    use = valid & ~sheets & (other == 0)
    middle = np.mean([r[:, 0].mean() for r in references])
    best = np.full(light.shape, -1.0, np.float32)
    strips = [_strip(r, float(np.sign(r[:, 0].mean() - middle))) for r in references]
    patterns = [_courses(light[:, s], use[:, s]) for s in strips]
    bare = valid & ~sheets
    crossed = np.any([bare[:, s].sum(axis=1) >= LEAST_ROWS for s in strips], axis=0) & np.isnan(patterns).all(axis=0)
    for courses in [*patterns, *_flanks(light, use, valid, crossed)]:
        for slip in range(-SLIP_PX, SLIP_PX + 1):
            np.maximum(best, _correlation(light, np.roll(courses, slip), valid & ~sheets), out=best)
    ring = (reference_mask(view, references, 2.2) > 0) & use
    if not ring.any():
        return None
    usual = float(np.median(best[ring]))
    return (best, usual) if usual > COURSED else None


def _without_shade(light: NDArray[np.float32], valid: NDArray[np.bool_]) -> NDArray[np.float32]:
    seen = valid.astype(np.float32)
    size = (1, int(LEVEL_MM / PITCH_MM) | 1)
    total = cv2.boxFilter(light * seen, -1, size, normalize=False)
    count = cv2.boxFilter(seen, -1, size, normalize=False)
    rest = np.where(valid, light - total / np.maximum(count, 1), 0.0).clip(-CLIPPED, CLIPPED)
    return np.asarray(cv2.blur(rest.astype(np.float32), (WIDE_PX, 1)), np.float32)


def _strip(reference: Array, outward: float) -> slice:
    """Return the columns about a reference, mostly on its outer side."""
    low, high = reference[:, 0].min(), reference[:, 0].max()
    wide = high - low
    a = int(max(low - wide * (1.0 if outward <= 0 else 0.25), 0))
    return slice(a, max(int(high + wide * (1.0 if outward >= 0 else 0.25)) + 1, a))


def _courses(light: NDArray[np.float32], use: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return the mean light (H,) of the wall in a strip (H, W) of it; NaN where too little is seen."""
    count = use.sum(axis=1)
    mean = (light * use).sum(axis=1) / np.maximum(count, 1)
    return np.where(count >= LEAST_ROWS, mean, np.nan).astype(np.float32)


def _flanks(
    light: NDArray[np.float32], use: NDArray[np.bool_], valid: NDArray[np.bool_], crossed: NDArray[np.bool_]
) -> list[NDArray[np.float32]]:
    """Return the mean light (H,) at both ends of the rows about those (H,) at which something crosses all strips.

    An opening does, that references hang above or below; NaN at other rows.
    """
    if not crossed.any():
        return []
    about = np.convolve(crossed, np.ones(2 * int(LINTEL_MM / PITCH_MM) + 1), "same") > 0
    wide = FLANK_MM / PITCH_MM
    left = np.cumsum(valid, axis=1) <= wide
    right = np.cumsum(valid[:, ::-1], axis=1)[:, ::-1] <= wide
    return [np.where(about, _courses(light, use & end), np.nan).astype(np.float32) for end in (left, right)]


def _correlation(
    light: NDArray[np.float32], courses: NDArray[np.float32], seen: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Return the normalised correlation (H, W) of each column with the courses (H,) in a window of rows."""
    known = seen & ~np.isnan(courses)[:, None]
    weight = known.astype(np.float32)
    pattern = np.where(known, np.nan_to_num(courses)[:, None], 0.0).astype(np.float32)
    shown = light * weight

    def mean(a: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.asarray(cv2.boxFilter(a, -1, (1, 2 * int(WINDOW_MM / PITCH_MM) + 1), normalize=False), np.float32)

    count = np.maximum(mean(weight), 1.0)
    level, expected = mean(shown) / count, mean(pattern) / count
    both = mean(shown * pattern) / count - level * expected
    own = np.maximum(mean(shown * shown) / count - level**2, 0.0)
    theirs = np.maximum(mean(pattern * pattern) / count - expected**2, 0.0)
    return np.asarray(both / np.sqrt((own + NOISE**2) * (theirs + 1e-3)), np.float32)


def where_courses_stop(view: WallView, references: Sequence[Array], other: Mask) -> Mask:
    """Return the mask (H, W) of what is unlike the wall by colour or, on a wall with courses, shows none of them."""
    found = agreement(view, references, other)
    if found is None:
        return other
    agrees, usual = found
    sheets = reference_mask(view, references, 1.5) > 0
    plain = ((agrees < STOPS * usual) & (view.valid > 0) & ~sheets).astype(np.uint8)
    plain = np.asarray(cv2.morphologyEx(plain, cv2.MORPH_OPEN, np.ones((BRICK_PX, BRICK_PX), np.uint8)), np.uint8)
    both = np.maximum(other, plain)
    return np.asarray(cv2.morphologyEx(both, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8)), np.uint8)


def smooth_along(view: WallView, references: Sequence[Array], other: Mask) -> Mask:
    """Return the mask (H, W) of what is unlike the wall by colour, or far smoother along its rows than the wall is.

    Frames in the colour of bricks or joints are smooth; bricks on end, over a lintel, are not.
    """
    light = np.asarray(view.lab[..., 0], np.float32)
    size = (int(ALONG_MM / PITCH_MM) | 1, 1)
    mean = cv2.boxFilter(light, -1, size)
    spread = np.sqrt(np.maximum(cv2.boxFilter(light * light, -1, size) - mean * mean, 0.0))
    ring = (reference_mask(view, references, 2.2) > 0) & (reference_mask(view, references, 1.5) == 0) & (view.valid > 0)
    ring &= other == 0
    if not ring.any():
        return other
    smooth = (spread < SMOOTH * float(np.median(spread[ring]))) & (view.valid > 0)
    return np.maximum(other, smooth.astype(np.uint8))
