"""Bricks along a ragged side: where each begins and ends, and how far its arris stands off the side's line.

A tape lies on one brick, or on the two beside a joint (contract, *Measures*), so its edge is read brick by brick. Bed
joints show just outside of the side as streaks of one colour at one distance: the comb that gathers most of them is
searched by folding the face at every pitch (epoch folding; Leahy et al. 1983, from memory), and each joint is then
placed by itself, because no course is laid exactly.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from vision.request import Array
from vision.sides.place import Placed
from vision.stations import LaidUnits
from vision.strips.profiles import Strip
from vision.strips.strip_line import legendre

JOINT_MM = 10.0  # common practice, no source: 3/8 in or 10 mm
COURSE_MM = (50.0, 125.0)  # of brick on bed or on end; blocks and stone are read as any other side
CLEAR = 5.5  # standard deviations of the comb, see `bed_joints`: below 4.8 on 200 sides of render, 5 to 10 on brick
BAND_MM, SKIP_PX = 25.0, 2.0  # of the face beside the arris
CORE_MM, FLANK_MM, BESIDE_MM = 10.0, 10.0, 14.0  # a streak, and the face on both sides of it
ASTRAY_MM, WANDERS_MM = 8.0, 5.5  # how far a joint may lie from the comb, and does (guesses)
GRID_MM, BIN_MM, PITCH_STEP_MM = 1.0, 2.0, 1.0
MARGIN_MM = 3.0  # of a brick's ends, blurred into the joint
U_READ_MM = 0.12  # guess: what is left of one brick's place however even its samples are
FEWEST, LEAST_SHARE = 3, 0.4  # samples that show a brick's arris
UNSEEN = float("nan")


def laid_units(strip: Strip, placed: Placed) -> LaidUnits | None:
    """Return the bricks of a side, along the strip; None where no regular joints are seen."""
    joints = bed_joints(strip, placed)
    if not len(joints):
        return None
    far = COURSE_MM[1]
    middles = np.concatenate([[joints[0] - far], joints, [joints[-1] + far]])
    ends = np.column_stack([middles[:-1] + JOINT_MM / 2, middles[1:] - JOINT_MM / 2])
    ends = np.clip(ends[ends[:, 1] > ends[:, 0]], 0.0, strip.u_mm[-1])
    ends = ends[ends[:, 1] > ends[:, 0]]
    return LaidUnits(ends, *np.array([_read(placed, a, b) for a, b in ends]).T)


def _read(placed: Placed, start: float, end: float) -> tuple[float, float]:
    """Return one brick's departure and standard uncertainty: median and spread of its samples.

    A straight line through them, for bricks turned in their beds, gained nothing on photos with known truth.
    """
    inside = (placed.sample_u_mm > start + MARGIN_MM) & (placed.sample_u_mm < end - MARGIN_MM)
    values = placed.sample_mm[inside]
    seen = np.isfinite(values)
    if np.count_nonzero(seen) < max(FEWEST, LEAST_SHARE * len(values)):
        return UNSEEN, UNSEEN
    middle = float(np.median(values[seen]))
    return middle, float(np.hypot(U_READ_MM, 1.4826 * np.median(np.abs(values[seen] - middle))))


def bed_joints(strip: Strip, placed: Placed) -> Array:
    """Return the middles (J,) mm of the bed joints along a strip; none where no comb of them stands out.

    A comb's figure is the sum of the face's streaks at its teeth, in standard deviations of the sum of as many streaks
    anywhere.
    """
    at, streak = _streaks(strip, placed)
    length = at[-1]
    if length < 4 * COURSE_MM[0]:
        return np.zeros(0)
    inside = (at >= BESIDE_MM) & (at <= length - BESIDE_MM)
    place, height = at[inside][::2], streak[inside][::2]  # every second mm is enough to find the comb
    scale = float(np.sqrt((height**2).sum(axis=1).mean()))
    best = (CLEAR * scale, 0.0, 0.0)
    for pitch in np.arange(*COURSE_MM, PITCH_STEP_MM):
        tooth = (np.mod(place, pitch) / BIN_MM).astype(int)
        teeth = np.maximum(np.bincount(tooth), 1)
        total = np.column_stack([np.bincount(tooth, c) for c in height.T])
        courses = len(place) * 2 * GRID_MM / pitch
        figure = np.linalg.norm(total / teeth[:, None], axis=1) * np.sqrt(courses)
        first = int(figure.argmax())
        if figure[first] > best[0]:
            best = (float(figure[first]), float(pitch), (first + 0.5) * BIN_MM)
    _, pitch, first_mm = best
    if not pitch:
        return np.zeros(0)
    return _placed_joints(at, streak, np.arange(first_mm - pitch, length + pitch, pitch))


def _streaks(strip: Strip, placed: Placed) -> tuple[Array, Array]:
    """Return places (N,) mm along the side and by how much (N, 3) the face beside it differs there from about there.

    Logarithms of linear colour: a joint differs from light and dark bricks by its own share.
    """
    face = np.log(np.maximum(_face(strip, placed), 1e-3))
    step = float(strip.u_mm[1] - strip.u_mm[0])

    def mean(width_mm: float) -> Array:
        size = 2 * round(width_mm / step / 2) + 1  # odd, so that it has a middle
        return np.asarray(ndimage.uniform_filter1d(face, size, axis=0, mode="nearest"))

    at = np.arange(0.0, strip.u_mm[-1], GRID_MM)

    def read(values: Array, shift_mm: float) -> Array:
        return np.column_stack([np.interp(at + shift_mm, strip.u_mm, c) for c in values.T])

    flank = mean(FLANK_MM)
    streak = read(mean(CORE_MM), 0.0) - (read(flank, -BESIDE_MM) + read(flank, BESIDE_MM)) / 2
    return at, np.clip(streak, -1.0, 1.0)


def _face(strip: Strip, placed: Placed) -> Array:
    """Return the mean linear colour (U, 3) of the face just outside of the side."""
    t = 2 * strip.u_mm / strip.u_mm[-1] - 1
    edge = legendre(t)[:, :2] @ placed.shape[:2] + np.interp(strip.u_mm, placed.u_mm, placed.local_mm)
    pitch = float(strip.v_mm[1] - strip.v_mm[0])
    near = SKIP_PX * strip.mm_per_px
    out = np.arange(near, max(BAND_MM, 3 * near), pitch)
    index = np.rint((edge[:, None] + out - strip.v_mm[0]) / pitch).astype(int)
    inside = (index >= 0) & (index < strip.colour.shape[1])
    wide = strip.colour.shape[1]
    place = np.clip(index, 0, wide - 1) + wide * np.arange(len(index))[:, None]
    colour = strip.colour.reshape(-1, 3).take(place, axis=0)
    good = inside & np.isfinite(colour[..., 0])  # outside of the photo no channel is
    if not good.all():
        colour = np.where(good[..., None], colour, 0.0)
    total = np.einsum("avc->ac", colour, dtype=float)
    count = good.sum(axis=1)
    mean = total / np.maximum(count, 1)[:, None]
    seen = count > 0
    if not seen.any():
        return np.ones_like(mean)
    return np.column_stack([np.interp(strip.u_mm, strip.u_mm[seen], c[seen]) for c in mean.T])


def _placed_joints(at: Array, streak: Array, comb: Array) -> Array:
    """Return the teeth (J,) of a comb moved to the streak nearest to each, where one is seen.

    Twice: the second time about an even comb through what was found.
    """
    axis = np.sum([[np.interp(x, at, c) for c in streak.T] for x in comb], axis=0)
    along = streak @ (axis / max(float(np.linalg.norm(axis)), 1e-9))
    once = _nearest(at, along, comb)
    number = np.arange(len(comb))
    return _nearest(at, along, np.asarray(np.polyval(np.polyfit(number, once, 1), number), float))


def _nearest(at: Array, along: Array, comb: Array) -> Array:
    """Return the teeth (J,) moved to the middle of the streak's upper half within reach."""
    usual = float(np.median(np.interp(comb, at, along)))
    fine = np.arange(-ASTRAY_MM, ASTRAY_MM + 0.25, 0.5)
    weight = np.exp(-((fine / WANDERS_MM) ** 2) / 2)
    moved = []
    for x in comb:
        values = np.interp(x + fine, at, along, left=0.0, right=0.0) * weight
        top = np.maximum(values - values.max() / 2, 0.0)
        moved.append(x + float(fine @ top) / float(top.sum()) if values.max() > max(0.25 * usual, 0.0) else x)
    return np.array(moved)
