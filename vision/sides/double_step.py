"""A sill's front arris so near to the foot of the frame that both make one step, wider than the photo's blur.

In a coarse photo, or one taken from hardly above the sill, two pixels or so of its top are seen. The line that is found
is then the stronger step, at the frame; the mean profile across it is that of two steps (their blur is known).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from vision.request import Array
from vision.sides.arris import offsets_px
from vision.sides.finding import FailedSide, FoundSide, room_px
from vision.sides.inner_edge import JITTER_SHARE, SAMPLED_PX
from vision.sides.sill_ghosts import Ghost
from vision.sides.weights import FAINT

INNER_PX, OUTER_PX, CLEAR_PX = 3.5, 6.0, 0.5  # of the profile; what other lines keep of it
BLURS = (0.9, 1.0, 1.12, 1.25)  # of the photo's blur: at a side it is not known better
AT_PX, APART_PX, PITCH_PX = (
    (-1.5, 1.5),
    (1.0, 4.5),
    0.25,
)  # where the inner step is looked for, how far off the outer one
# One step must leave so much of its size (rms), two so little, and so many times less; the second must be no ripple,
# and not at the rim of what is tried. Of 700 sills (practice, own renderings, some hard or in wide low openings) 7 were
# such, and all had been taken 1.0 to 2.6 px too far in.
ONE_LEAVES, TWO_LEAVE, TIMES = 0.02, 0.03, 2.5
SHARE, NEAR_PX, FAR_PX = (0.05, 1.0), 1.25, 4.0
# How well the place is told (0.1 to 0.4 px, once 1.8 where the line leans), and how surely: guesses.
U_PX, SURE = 0.6, 0.9


def with_double_step(found: FoundSide | FailedSide, blur_px: tuple[float, float] | None) -> FoundSide | FailedSide:
    """Return a sill whose line is the stronger of two steps with its arris at the outer one; any other as it is.

    Parameters
    ----------
    found : the sill with its lines weighed.
    blur_px : as for `vision.sides.tracing.trace_sides`.
    """
    if isinstance(found, FailedSide) or blur_px is None:
        return found
    ghost = found.ghost
    if ghost is not None and ghost.leads and ghost.weight >= FAINT:
        return found
    mm = found.strip.mm_per_px
    spread = float(np.hypot(np.hypot(blur_px[1], SAMPLED_PX), JITTER_SHARE * found.placed.jitter_mm / mm))
    outer = second_step_px(found.profile, spread, *room_px(found.lines, found.best, mm))
    if outer is None:
        return found
    weights = found.weights.copy()
    total = float(weights[found.best]) + (0.0 if ghost is None else ghost.weight)
    weights[found.best] = (1 - SURE) * total
    shape = found.placed.shape + np.array([outer * mm, 0.0, 0.0])
    return replace(found, weights=weights, ghost=Ghost(shape, SURE * total, U_PX * mm, leads=True))


def second_step_px(profile: Array, blur_px: float, inner_px: float, outer_px: float) -> float | None:
    """Return how far outward of the line a second step of the same kind lies, px; None where one step will do.

    Parameters
    ----------
    profile : (M,) linear brightness on `offsets_px`, 0 at the line as placed.
    blur_px : spread of a sharp edge, as sampled.
    inner_px, outer_px : reach that is free of other lines.
    """
    at = offsets_px()
    window = (at >= -min(inner_px - CLEAR_PX, INNER_PX)) & (at <= min(outer_px - CLEAR_PX, OUTER_PX))
    window &= np.isfinite(profile)
    span = float(np.ptp(profile[window])) if window.sum() >= 16 else 0.0
    if span <= 0:
        return None
    value, x = profile[window] / span, at[window]
    value -= value.mean()
    fits = [_fits(value, x, k * blur_px) for k in BLURS]
    one = min(left for left, *_ in fits)
    _, two, sizes, place, apart = min(fits, key=lambda fit: fit[1])
    share = float(sizes[1] / sizes[0]) if sizes[0] else np.inf
    two_steps = one > max(ONE_LEAVES, TIMES * two) and two < TWO_LEAVE
    return place + apart if two_steps and SHARE[0] < share <= SHARE[1] and NEAR_PX <= apart <= FAR_PX else None


def _fits(value: Array, x: Array, blur_px: float) -> tuple[float, float, Array, float, float]:
    """Return what one step and what two leave of a profile (N,) of mean 0 at x (N,), rms, and the best two.

    Those are their sizes (2,), inner first, the place of the inner one and how far the outer one is from it, px.
    """
    places = np.arange(AT_PX[0], AT_PX[1] + APART_PX[1] + PITCH_PX / 2, PITCH_PX)
    steps = ndtr((x - places[:, None]) / blur_px)
    steps -= steps.mean(axis=1, keepdims=True)  # the level is free
    g, b, all_of_it = steps @ steps.T, steps @ value, float(value @ value)
    first = np.flatnonzero(places <= AT_PX[1] + 1e-9)
    d = np.arange(round(APART_PX[0] / PITCH_PX), round(APART_PX[1] / PITCH_PX) + 1)
    i, j = first[:, None], first[:, None] + d
    whole = np.maximum(g[i, i] * g[j, j] - g[i, j] ** 2, 1e-12)
    inner, outer = (g[j, j] * b[i] - g[i, j] * b[j]) / whole, (g[i, i] * b[j] - g[i, j] * b[i]) / whole
    left = all_of_it - inner * b[i] - outer * b[j]
    k = np.unravel_index(int(np.argmin(left)), left.shape)
    alone = all_of_it - float((b[first] ** 2 / np.maximum(np.diag(g)[first], 1e-12)).max())
    one, two = (float(np.sqrt(max(rest, 0.0) / len(x))) for rest in (alone, float(left[k])))
    return one, two, np.array([inner[k], outer[k]]), float(places[first[k[0]]]), float(d[k[1]] * PITCH_PX)
