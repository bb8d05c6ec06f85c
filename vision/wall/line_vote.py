"""Which segments run with the wall: a vote for its horizontal and vertical.

The references give a rough wall plane. Seen in it, true horizontals y = const keep straight and their slope is
a + b y (first order of any projective error), verticals likewise a + b x: two numbers a direction, on which many lines
at many places must agree. A shadow, a downpipe or a sloping sill is one line at one place and cannot outvote courses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import pdtrc

from vision.camera import back_project
from vision.observations import PhotoState
from vision.request import Array
from vision.wall.segments import Segments

TURN_STEP = 0.002  # rad, of the histogram of directions
TURNS = np.arange(-0.25, 0.2501, TURN_STEP)  # rad: paper taped on by eye
FANS = np.arange(-0.15, 0.1501, 0.004)  # rad per metre: what a poor reference leaves of perspective
AGREE_RAD = 0.006  # one brick edge: about 1 mm in 200
PLACES_MM = 12.0  # lines nearer than this are one place
MOST_MM = 500.0  # no place votes with more than this length
LEAST_MM = 60.0  # a place where less agrees is none
LEAST_PLACES = 5  # across the lines, at which lines of one direction must be seen
TRIED = 60  # of the highest cells of the histogram
LEAST_LENGTHS_MM = (0.0, 150.0, 500.0)
CHANCE = 1e-7  # probability that directions at random agree so well at one of the thousand places asked


@dataclass(frozen=True, slots=True, eq=False)
class Voted:
    """Lines that agree on the wall's directions: segments, upright (N,), and turn and skew (2,) of the vote."""

    segments: Segments
    upright: NDArray[np.bool_]
    wall: Array


def vote(segments: Segments, state: PhotoState, *, uprights: bool, least_places: int = LEAST_PLACES) -> Voted | None:
    """Return the segments that agree on the wall's horizontal and vertical, or None where too few do.

    `least_places` is at how many places across lines of one direction must be seen.
    """
    ends = back_project(state.camera, segments.ends_px.reshape(-1, 2), 0.0).reshape(-1, 2, 2)
    seen = np.isfinite(ends).all((1, 2)) & (np.abs(ends).max((1, 2)) < 6000)
    segments, ends = segments.some(seen), ends[seen]
    if len(ends) < least_places:
        return None
    level = _agreeing(ends, None, least_places)
    if level is None:
        return None
    lying, turn = level
    standing, skew = np.zeros(len(ends), bool), 0.0
    if uprights:
        # x and y change places; the turn has the other sign, and the skew is held within a few mrad of the horizontal
        plumb = _agreeing(ends[:, :, ::-1], -turn, least_places)
        if plumb is not None:
            standing, skew = plumb[0] & ~lying, 0.0
    keep = lying | standing
    return Voted(segments.some(keep), standing[keep], np.array([turn, skew]))


def _agreeing(ends: Array, near: float | None, least_places: int) -> tuple[NDArray[np.bool_], float] | None:
    """Return the segments (N,) along the first axis that agree on slope a + b y, and the slope a; None: too few."""
    d = ends[:, 1] - ends[:, 0]
    d = d * np.where(d[:, :1] < 0, -1.0, 1.0)
    length = np.linalg.norm(d, axis=1)
    slope = np.arctan2(d[:, 1], d[:, 0])
    x, y = ends.mean(1).T
    weight = np.minimum(length, MOST_MM)
    limit = float(TURNS[-1] + FANS[-1] * 0.5)
    around = np.abs(slope) < limit
    if around.sum() < least_places:
        return None
    s, xs, ys, w = slope[around], x[around], y[around], weight[around]
    cell = np.column_stack([np.floor(s / (2 * AGREE_RAD)), np.floor((ys - s * xs) / PLACES_MM)])
    same = np.unique(cell, axis=0, return_inverse=True)[1].ravel()
    w = w * np.minimum(1, MOST_MM / np.bincount(same, w))[same]  # one line found over and over counts once
    turns = TURNS if near is None else TURNS[np.abs(TURNS - near) <= 0.03]
    if not len(turns):
        return None
    score = _histograms(s - FANS[:, None] * ys / 1000, w, turns)
    smooth = np.stack([np.convolve(np.pad(r, 2), [0.5, 1, 1, 1, 0.5], "valid") for r in score])  # few turns may be left
    fan, turn = np.unravel_index(np.argsort(smooth, axis=None)[::-1][:TRIED], smooth.shape)
    best = _supports(s, xs, ys, length[around], turns[turn], FANS[fan])[0].argmax()
    a, b = float(turns[turn[best]]), float(FANS[fan[best]])
    for _ in range(4):  # to the middle of what agrees
        r = s - a - b * ys / 1000
        p = w / (1 + (r / AGREE_RAD) ** 2) ** 2
        design = np.column_stack([np.ones(len(r)), ys / 1000])
        da, db = np.linalg.lstsq(design.T @ (p[:, None] * design) + 1e-9 * np.eye(2), design.T @ (p * r), rcond=None)[0]
        a, b = a + float(da), b + float(db)
    if not _beyond_chance(s, xs, ys, length[around], a, b, limit, least_places):
        return None
    agreed = np.abs(slope - a - b * y / 1000) < 3 * AGREE_RAD
    return agreed, a


def _histograms(slopes: Array, weight: Array, turns: Array) -> Array:
    """Return the weights (F, T) of slopes (F, N) by the turn that each is nearest to; NumPy's sorts for each F."""
    place = np.floor((slopes - turns[0]) / TURN_STEP + 0.5).astype(np.intp)
    rows, weight = np.arange(len(slopes))[:, None], np.broadcast_to(weight, slopes.shape)
    seen = (place >= 0) & (place < len(turns))
    shape = len(slopes), len(turns)
    total = np.bincount((place + rows * len(turns))[seen], weight[seen], shape[0] * shape[1])
    return np.asarray(total.reshape(shape))


def _supports(s: Array, x: Array, y: Array, length: Array, a: Array, b: Array) -> tuple[Array, NDArray[np.int_]]:
    """Return the lengths (M,) that agree with a + b y (M,), limited at each place across, and how many places."""
    slope = a[:, None] + b[:, None] * y / 1000
    of, one = np.nonzero(np.abs(s - slope) < AGREE_RAD)
    place = np.floor((y[one] - slope[of, one] * x[one]) / PLACES_MM).astype(int)
    place -= place.min(initial=0)
    count = place.max(initial=0) + 1
    total = np.bincount(of * count + place, length[one], len(a) * count).reshape(len(a), count)
    return np.minimum(total, MOST_MM).sum(axis=1), np.count_nonzero(total > LEAST_MM, axis=1)


def _beyond_chance(
    s: Array, x: Array, y: Array, length: Array, a: float, b: float, limit: float, least_places: int
) -> bool:
    """Return whether more places agree than directions at random, within +-limit, would make agree.

    Asked of all lines and of the longer ones: the grain of boards is many and short, laps are few and long.
    """
    r = s - a - b * y / 1000
    turn, place = np.floor(r / (2 * AGREE_RAD)), np.floor((y - s * x) / PLACES_MM)
    for least in LEAST_LENGTHS_MM:
        of = length >= least
        places = int(_supports(s[of], x[of], y[of], length[of], np.array([a]), np.array([b]))[1][0])
        other = of & (np.abs(r) > 5 * AGREE_RAD)
        lines = len(np.unique(np.column_stack([turn[other], place[other]]), axis=0))  # found over and over is one
        chance = lines * 2 * AGREE_RAD / (2 * limit - 10 * AGREE_RAD)
        if places >= least_places and pdtrc(places - 1, chance) <= CHANCE:  # Poisson
            return True
    return False
