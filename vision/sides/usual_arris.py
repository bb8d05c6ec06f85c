"""Where the inner face begins behind an arris that a coarse photo does not resolve: by its light, else as is usual.

Seen from the front a quarter round of radius r takes the outermost r mm, and its normal turns from the front face to
the inner one. A tape touches at its inner end; the middle of the step stands up to r further out, by the light. The sky
lights a face by how much of it that face sees, (1 + cos tilt) / 2, and the ground by the rest (Liu & Jordan 1960); the
sun by Lambert's law (1760). So a head's round darkens toward the inner face, a sill's brightens, a jamb's does either.

Above 0.8 mm a pixel the round is lost in the blur (`vision.sides.arris` reads those that are not); what is known of
arrises beforehand then stands for the most part, and the posterior holds sharp and rounded ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft
from scipy.special import betaln

from vision.request import Array, Side
from vision.sides.arris import MODEL_ERROR, PITCH_PX, REACH_PX, offsets_px

PAD_PX = 32.0  # of the templates: reach, shift and blur, and as much again, since the transform closes to a circle
FINE = 4
RADII_PX = np.array([0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 7.0])
ROUND_MM, U_ROUND_MM = 1.8, 0.75  # guess: an arris is left sharp, as cut, cast or sawn, or rounded by 1 to 3 mm
# The sides of an opening are of one wall and mostly alike: the share of round ones is drawn from Beta(1/3, 2/3), as
# wide as Jeffreys' prior; its mean is a guess (of 33 practice photos the arrises of 6 are round).
MORE_ROUND, MORE_SHARP = 1 / 3, 2 / 3
ALBEDO = 0.2  # of the ground, usual value where nothing is measured (Liu & Jordan 1963)
SKY = (1 - ALBEDO) / (1 + ALBEDO)  # change of the diffuse light from a wall to a soffit (-) or a top (+)
IN_SHADE, SUN_SHARES = 1 / 3, (0.5, 0.8)  # guesses: photos without sun on the wall; its share of the light on the front
SUN_ABOVE, SUN_BESIDE = (0.6, 1.0, 1.7), (-1.3, -0.5, 0.5, 1.3)  # inner over front face, as Lambert has it
SLACK_PX = 0.75  # how far a step may be placed beside the round that it shows
LEAST_BLUR_PX, MOST_BLUR_PX = 0.6, 3.0  # of the photo, between which its blur is taken to be
# A sharp edge is blurred like the sharpest side, or a little more: bricks that end here and there (guess).
BLURS, BLUR_WEIGHTS = np.array([0.9, 0.97, 1.05, 1.14, 1.26]), np.array([0.11, 0.25, 0.31, 0.22, 0.11])
INNER_PX, OUTER_PX = (2.0, 6.0), (3.0, 7.0)
INNER_MM, OUTER_MM, BLUR_REACH_PX = 2.0, 4.0, 3.0
LEAST_STEP = 0.02  # of a profile in linear light; fainter ones tell nothing
MOST_RADIUS_MM = 4.0  # of an arris
TINY = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """What a profile says of one arris, if sharp and if rounded: likelihood (2,), shift outward and its square."""

    likelihood: Array
    shift_mm: Array
    square_mm2: Array


@dataclass(frozen=True, slots=True)
class UsualArris:
    """Inner end of the arc against the place of the step, mm outward, its u, and how likely the arris is round.

    `with_mm2` is its covariance with each of the arrises asked about, in their order: round ones are round together.
    """

    shift_mm: float
    u_mm: float
    rounded: float
    with_mm2: tuple[float, ...]


def _lights(side: Side) -> list[tuple[float, float, float, float]]:
    """Return weight, share of the sun, its ratio of inner to front face, and change of the sky's light to the inner."""
    sky = 0.0 if side in ("left", "right") else SKY if side == "sill" else -SKY
    suns = SUN_BESIDE if sky == 0 else tuple(float(np.sign(sky)) * s for s in SUN_ABOVE)
    each = (1 - IN_SHADE) / (len(SUN_SHARES) * len(suns))
    return [(IN_SHADE, 0.0, 0.0, sky), *((each, share, sun, sky) for share in SUN_SHARES for sun in suns)]


@lru_cache(maxsize=4)
def _sharp_shapes(side: Side) -> tuple[NDArray[np.complex128], NDArray[np.int_], Array]:
    """Return spectra (T, K) of unblurred shapes up to 1 / (2 PITCH_PX), radius index and weight of light (T - 2,).

    The last two shapes are those of an inner face, even and growing inward; the others of the front with its arc, which
    ends at 0.
    """
    step = PITCH_PX / FINE
    y = np.arange(-PAD_PX, PAD_PX, step)
    front = np.where(np.abs(y) < TINY, 0.5, y > 0)
    shapes, index, weights = [], [], []
    for i, radius in enumerate(RADII_PX):
        for weight, share, sun, sky in _lights(side) if radius else [(1.0, 0.0, 0.0, 0.0)]:
            x = np.clip(1 - y / radius, 0, 1) if radius else np.zeros_like(y)
            light = (1 - share) * (1 + sky * x) + share * np.maximum(0, np.sqrt(1 - x**2) + sun * x)
            shapes.append(front * light)
            index.append(i)
            weights.append(weight)
    shapes += [1 - front, np.maximum(-y, 0)]
    spectra = np.asarray(fft.rfft(np.array(shapes), axis=1))[:, : len(y) // (2 * FINE) + 1] / FINE
    return np.asarray(spectra, np.complex128), np.array(index, np.int_), np.array(weights)


def _blurred(spectra: NDArray[np.complex128], blur_px: float) -> Array:
    """Return shapes (T, N) at PITCH_PX, from -PAD_PX on, blurred by a Gaussian: it leaves nothing of what is finer."""
    count = 2 * (spectra.shape[1] - 1)
    gauss = np.exp(-2 * (np.pi * blur_px * fft.rfftfreq(count, PITCH_PX)) ** 2)
    return np.asarray(fft.irfft(spectra * gauss, count, axis=1))


def _priors(mm_per_px: float) -> Array:
    """Return the prior (2, R) of the radii of a sharp and of a rounded arris."""
    rounded = np.gradient(RADII_PX) * np.exp(-0.5 * ((RADII_PX * mm_per_px - ROUND_MM) / U_ROUND_MM) ** 2)
    rounded[0] = 0.0
    return np.array([RADII_PX == 0, rounded / rounded.sum()], float)


def read_round(
    profile: Array, side: Side, blur_px: float, inner_px: float, outer_px: float, mm_per_px: float
) -> Round | None:
    """Return what the light across a side says of its arris, or None where its brightness hardly changes there.

    Parameters
    ----------
    profile, blur_px, inner_px, outer_px, mm_per_px : as for `vision.sides.arris.find_arris`

    Notes
    -----
    The front face is even, the inner one even or of a steady slope. Shapes are held against the profile by least
    squares; weights are the likelihoods of their misfits, with the place of each left free. A sharp arris lies where
    the step was placed.
    """
    at = offsets_px()
    inner = float(np.clip(inner_px, INNER_PX[0], min(INNER_PX[1], BLUR_REACH_PX + INNER_MM / mm_per_px)))
    outer = float(np.clip(outer_px, OUTER_PX[0], min(OUTER_PX[1], BLUR_REACH_PX + OUTER_MM / mm_per_px)))
    first, last = np.flatnonzero((at >= -inner) & (at <= outer))[[0, -1]]
    value = profile[first : last + 1]
    span = float(np.ptp(value))
    if not span >= LEAST_STEP:  # or not all of it is in the photo
        return None
    spectra, index, light = _sharp_shapes(side)
    seen = np.flatnonzero(RADII_PX[index] * mm_per_px <= MOST_RADIUS_MM)
    index, light, spectra = index[seen], light[seen], spectra[[*seen, -2, -1]]
    reach = np.floor((RADII_PX[index] + SLACK_PX) / PITCH_PX)
    shifts = np.arange(-int(reach.max()), round(SLACK_PX / PITCH_PX) + 1)
    starts = first + round((PAD_PX - REACH_PX) / PITCH_PX) - shifts
    chi2, found, weight = [], [], []
    for factor, share in zip(BLURS, BLUR_WEIGHTS, strict=True):
        shapes = _blurred(spectra, factor * float(np.clip(blur_px, LEAST_BLUR_PX, MOST_BLUR_PX)))
        cost = _misfit(shapes[:-2], shapes[-2:], starts, value)
        cost[shifts[:, None] < -reach] = np.inf
        low, shift = _lowest(cost, shifts)
        chi2.append(low * PITCH_PX / (MODEL_ERROR * span) ** 2)  # neighbours within a pixel are not independent
        found.append(shift * PITCH_PX * mm_per_px)
        weight.append(share * light)
    misfit, at_mm = np.concatenate(chi2), np.concatenate(found)
    which = np.tile(index, len(BLURS))
    at_mm = np.where(which == 0, 0.0, at_mm)
    likely = np.concatenate(weight) * np.exp(-0.5 * (misfit - misfit.min()))
    each = _priors(mm_per_px)[:, which] * likely
    total = np.maximum(each.sum(axis=1), 1e-300)
    return Round(total, each @ at_mm / total, each @ at_mm**2 / total)


def _misfit(fronts: Array, inner: Array, starts: NDArray[np.int_], value: Array) -> Array:
    """Return the least sum of squares (S, T) of a front (T, N) and the inner face (2, N), from `starts` (S,), to (M,).

    Products of shapes move with them: their sums over all windows are differences of one running sum.
    """

    def sums(product: Array) -> Array:
        running = np.zeros((len(product), product.shape[1] + 1))
        np.cumsum(product, axis=1, out=running[:, 1:])
        return np.asarray((running[:, starts + len(value)] - running[:, starts]).T)

    even, slope = inner
    ee, es, ss = (sums(x[None]) for x in (even * even, even * slope, slope * slope))
    ee, ss = ee + TINY, ss + TINY
    det = ee * ss * (1 + TINY) - es**2

    def common(ae: Array, as_: Array, be: Array, bs: Array) -> Array:
        """Return the product of what the inner face explains of two functions, by their products with it."""
        return np.asarray((ae * (ss * be - es * bs) + as_ * (ee * bs - es * be)) / det)

    fe, fs, ff = sums(fronts * even), sums(fronts * slope), sums(fronts * fronts)
    fv = (sliding_window_view(fronts, len(value), axis=1)[:, starts] @ value).T
    ve, vs = ((sliding_window_view(x, len(value))[starts] @ value)[:, None] for x in (even, slope))
    rest = value @ value - common(ve, vs, ve, vs)
    along = fv - common(fe, fs, ve, vs)
    own = np.maximum(ff - common(fe, fs, fe, fs), TINY)
    return np.asarray(rest - np.where(along > 0, along**2 / own, 0.0))


def _lowest(cost: Array, shifts: NDArray[np.int_]) -> tuple[Array, Array]:
    """Return the least of each column of cost (S, T) and where it lies (T,), by a parabola through three."""
    k = cost.argmin(axis=0)
    middle, n = np.clip(k, 1, len(shifts) - 2), np.arange(cost.shape[1])
    before, here, after = cost[middle - 1, n], cost[middle, n], cost[middle + 1, n]
    inside = (k == middle) & np.isfinite(before) & np.isfinite(after)
    before, after = np.where(inside, before, here), np.where(inside, after, here)
    bent = np.maximum(before - 2 * here + after, 1e-12)
    least = np.where(inside, np.maximum(here - (before - after) ** 2 / (8 * bent), 0.0), cost[k, n])
    return least, np.where(inside, shifts[middle] + (before - after) / (2 * bent), shifts[k])


def usual_arrises(rounds: Sequence[Round | None]) -> list[UsualArris | None]:
    """Return the posterior of each arris of one opening; those of one wall are mostly alike."""
    at = [i for i, r in enumerate(rounds) if r is not None]
    told = [r for r in rounds if r is not None]
    total, rounded, mean, square = 0.0, np.zeros(len(told)), np.zeros(len(told)), np.zeros((len(told), len(told)))
    for which in product((0, 1), repeat=len(told)):
        many = sum(which)
        prior = np.exp(betaln(MORE_ROUND + many, MORE_SHARP + len(told) - many) - betaln(MORE_ROUND, MORE_SHARP))
        joint = float(prior * np.prod([r.likelihood[c] / r.likelihood.sum() for r, c in zip(told, which, strict=True)]))
        shift = np.array([r.shift_mm[c] for r, c in zip(told, which, strict=True)])
        product_mm2 = np.outer(shift, shift)  # of two sides, once it is known which is round
        np.fill_diagonal(product_mm2, [r.square_mm2[c] for r, c in zip(told, which, strict=True)])
        total += joint
        rounded += joint * np.array(which)
        mean += joint * shift
        square += joint * product_mm2
    total = max(total, 1e-300)
    mean = mean / total
    cov = np.zeros((len(rounds), len(rounds)))
    cov[np.ix_(at, at)] = square / total - np.outer(mean, mean)
    found: list[UsualArris | None] = [None] * len(rounds)
    for i, shift_mm, share in zip(at, mean.tolist(), (rounded / total).tolist(), strict=True):
        found[i] = UsualArris(shift_mm, float(np.sqrt(max(cov[i, i], 0.0))), share, tuple(cov[i].tolist()))
    return found
