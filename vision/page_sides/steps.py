"""The blurred step across a side of a page or card: its profile, its blur, and where it stands.

Motion smears the two sides that lie across it and leaves the other two sharp, so each pair of opposite sides has a blur
of its own. A step is placed without bias only where its whole ramp lies within the profile.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.request import Array

STEP_PX = 0.25
REACH_PX = 3.5  # of the profiles on either side, at the least; more where the photo is blurred
BLURS_PX = np.array([0.45, 0.6, 0.8, 1.0, 1.25, 1.55, 1.9, 2.4, 3.0, 3.8, 4.8])
BLUR_SHIFTS = np.arange(-1.5, 1.51, 0.1)
SHARP_PX = 1.25  # up to here the least reach holds the whole ramp
WIDE = 1.4  # reaches of a profile that also shows what stands beside the ramp
MIXED = 0.5  # of the contrast of single places: where that of all together is less, it changes along the side
# Of the contrast of a place: so far off may the inside there be from that of the whole side; and at how many places.
UNEVEN, LEAST_EVEN = 0.5, 0.4
OF_SIDE = 0.4  # of the shortest side: no profile reaches farther in


def sampled(picture: NDArray[np.float32], px: Array) -> Array:
    """Return colours (..., 3) at pixels (..., 2), bilinear; outside is NaN."""
    shape = px.shape[:-1]
    x, y = np.ascontiguousarray(px[..., 0]), np.ascontiguousarray(px[..., 1])  # apart: far faster
    across, down = (c.reshape(shape[0], -1).astype(np.float32) for c in (x, y))
    seen = cv2.remap(picture, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    colour: Array = np.asarray(seen, float).reshape(*shape, 3)
    height, width = picture.shape[:2]
    colour[(x < 0) | (x > width - 1) | (y < 0) | (y > height - 1)] = np.nan
    return colour


def side_points(quad: Array, i: int, along: Array, across: Array) -> tuple[Array, Array]:
    """Return pixels (A, V, 2) on the grid along and across (outward, px) side `i`, and the normal (2,)."""
    a, b = quad[i], quad[(i + 1) % 4]
    d = (b - a) / np.linalg.norm(b - a)
    normal = np.array([d[1], -d[0]])  # clockwise on a y-down picture: outward is to the left of the way
    base = a + along[:, None] * (b - a)
    return base[:, None, :] + across[None, :, None] * normal, normal


def profiles_across(
    crop: NDArray[np.float32], quad: Array, i: int, left_out: float, reach: float
) -> tuple[Array, Array, Array, Array]:
    """Return places along (A,), profiles (A, V) of light across side `i`, across (V,) px and the normal (2,).

    The colours are laid along the side's own contrast, so that a card as bright as the wall still has an edge; along
    that of each place where it changes: white paper is brighter than some bricks or grains and darker than others. It
    is then even inside: NaN where it is not, and not so taken where it seldom is.
    """
    length = float(np.linalg.norm(quad[(i + 1) % 4] - quad[i]))
    across = np.arange(-np.ceil(reach / STEP_PX), np.ceil(reach / STEP_PX) + 1) * STEP_PX
    ends = max(left_out, 4.0 / length)
    count = max(int((1 - 2 * ends) * length / 2.0), 6)
    along = ends + (np.arange(count) + 0.5) / count * (1 - 2 * ends)
    part = np.array([-0.33, 0.0, 0.33]) / count * (1 - 2 * ends)
    px, normal = side_points(quad, i, (along[:, None] + part).ravel(), across)
    thirds = sampled(crop, px).reshape(count, 3, len(across), 3)
    colour = (thirds[:, 0] + thirds[:, 1] + thirds[:, 2]) / 3  # NumPy's mean takes three times as long over so few
    plateau = max(int(0.3 * len(across)), 2)
    steps = colour[:, :plateau].mean(1) - colour[:, -plateau:].mean(1)
    whole = steps[np.isfinite(steps).all(1)]
    middle = np.median(whole, axis=0) if len(whole) else np.ones(3)
    size = float(np.linalg.norm(middle))
    if len(whole) and size < MIXED * float(np.median(np.linalg.norm(whole, axis=1))):
        sizes = np.linalg.norm(steps, axis=1, keepdims=True)
        inside = colour[:, :plateau].mean(1)
        uneven = np.linalg.norm(inside - np.nanmedian(inside, axis=0), axis=1) > UNEVEN * sizes[:, 0]
        if (~uneven).mean() > LEAST_EVEN:
            own = np.einsum("avc,ac->av", colour, np.nan_to_num(steps / np.maximum(sizes, 1e-9)))
            own[uneven] = np.nan
            return along, own, across, normal
    return along, colour @ (middle / max(size, 1e-9)), across, normal


def _steps(across: Array, shifts: Array, blurs: Array) -> Array:
    """Return steps (B, S, V) of each blur (B,) at each shift (S,), of unit length and orthogonal to a level."""
    step = ndtr((shifts[:, None] - across) / blurs[:, None, None])
    step -= step.mean(2, keepdims=True)
    return np.asarray(step / np.sqrt((step * step).sum(2, keepdims=True)))


def pair_blurs(profiles: list[tuple[Array, Array]]) -> tuple[float, float]:
    """Return the blur (sd, px) of head and foot and of right and left; one for all where the photo is sharp.

    `profiles` are those (A, V) of the four sides with their places across (V,) px.
    """
    steps = [_steps(across, BLUR_SHIFTS, BLURS_PX) for _, across in profiles[:2]]  # opposite sides have the same
    losses = [_losses(p, steps[i % 2]) for i, (p, _) in enumerate(profiles)]
    first, second = _best(losses[0] + losses[2]), _best(losses[1] + losses[3])
    if max(first, second) > SHARP_PX:
        return first, second
    both = _best(sum(losses[1:], losses[0]))
    return both, both


def _best(loss: Array) -> float:
    return float(BLURS_PX[int(np.argmin(loss))])


def _between(loss: Array) -> float:
    """Return the blur of least loss between the steps of the table: a parabola over the logarithm."""
    k = int(np.clip(np.argmin(loss), 1, len(loss) - 2))
    a, b, _ = np.polyfit(np.log(BLURS_PX[k - 1 : k + 2]), loss[k - 1 : k + 2], 2)
    return float(np.clip(np.exp(-b / (2 * a)), BLURS_PX[k - 1], BLURS_PX[k + 1])) if a > 0 else float(BLURS_PX[k])


def neighbours_px(wide: list[tuple[Array, Array]], blur: float, reach: float) -> tuple[float, float]:
    """Return by how much (px) what stands beside two opposite smeared sides may have moved each.

    Parameters
    ----------
    wide : profiles (A, V) of both sides about where they were found, with places across (V,) px, `WIDE` reaches far.
    blur : their common one.

    Notes
    -----
    A joint or lap within the smear of a side is seen as part of its ramp. It shows in two ways: the ramp is wider or
    narrower than that of the opposite side, which the same motion smeared, or the level outside goes on changing
    beyond the ramp. A share of the contrast moves the middle of a ramp by about that share of its spread.
    """
    own, level = [], []
    for profile, across in wide:
        if not np.isfinite(profile).any(0).all():  # cut by the rim of the photo
            return blur, blur
        near = np.abs(across) <= reach + 1e-6
        own.append(_between(_losses(profile[:, near], _steps(across[near], BLUR_SHIFTS, BLURS_PX))))
        middle = np.nanmedian(profile, axis=0)
        inside, edge = middle[across < -0.7 * reach].mean(), middle[near & (across > 0.7 * reach)].mean()
        level.append(float((edge - middle[across > reach].mean()) / max(abs(float(inside - edge)), 1e-6)))
    differ = own[0] - own[1]
    u = [float(np.hypot(differ, blur * d)) for d in level]
    return (u[0], u[1]) if np.isfinite(u).all() else (blur, blur)


def _losses(p: Array, steps: Array) -> Array:
    """Return the share of the profiles (A, V) that a step of each blur of the table (B, S, V) leaves unexplained."""
    good = p[np.isfinite(p).all(1)]
    if not len(good):
        return np.zeros(len(BLURS_PX))
    centred = good - good.mean(1, keepdims=True)
    total = np.maximum((centred**2).sum(1), 1e-12)
    gains = ((centred @ steps.reshape(-1, p.shape[1]).T) ** 2).reshape(len(good), *steps.shape[:2]).max(2)
    return np.asarray(np.median((total[:, None] - gains) / total[:, None], axis=0))


def least_reach(blur: float, quad: Array) -> float:
    """Return how far (px) a profile reaches on either side of a quadrilateral (4, 2) px of that blur."""
    shortest = float(np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1).min())
    return min(max(REACH_PX, 2.6 * blur + 1), max(OF_SIDE * shortest, REACH_PX))


def step_positions(profile: Array, across: Array, blur: float) -> tuple[Array, Array]:
    """Return the step's place (A,) px outward and its height (A,); NaN where no step stands inside the reach."""
    half = min(float(across[-1]) - blur, max(2.5, 1.5 * blur))
    shifts = np.arange(-half, half + 0.01, 0.1)
    centred = np.nan_to_num(profile - profile.mean(1, keepdims=True))
    seen = centred @ _steps(across, shifts, np.array([blur]))[0].T
    seen = np.maximum(seen, 0.0)  # the sign of the side's own contrast only
    at, explained, good = peaks(seen, shifts)
    share = explained / np.maximum((centred**2).sum(1), 1e-12)
    step = ndtr(-across / blur)
    height = np.sqrt(explained) / np.linalg.norm(step - step.mean())
    good &= np.isfinite(profile).all(1) & (share > 0.5)
    return np.where(good, at, np.nan), np.where(good, height, 0.0)


def peaks(seen: Array, shifts: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return where (A,) what each shift explains (A, S) is greatest, its square there, and whether that is a peak.

    A parabola through the squares of the greatest and its neighbours; steps of shifts are alike.
    """
    best = np.argmax(seen, axis=1)
    k = np.clip(best, 1, len(shifts) - 2)
    rows = np.arange(len(seen))
    before, here, after = (seen[rows, k + o] ** 2 for o in (-1, 0, 1))
    bend = before - 2 * here + after
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = np.where(bend < 0, 0.5 * (before - after) / bend, np.nan)
    at = shifts[k] + np.clip(offset, -1, 1) * (shifts[1] - shifts[0])
    return at, here, (best == k) & (np.abs(offset) <= 1)
