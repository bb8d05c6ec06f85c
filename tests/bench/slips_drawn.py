"""Openings, photos, tapes and slips drawn at random, with the truth kept: what `simulate_slips.py` judges by.

Every slip is done here to a sound reading, forward, by the signatures of trade practice; nothing of `sizing`'s
hypotheses is used, only the table of rates.

Photos are those that the program itself has measured (`photos_stated.json`, made by `state_photos.py` from rendered
photos of the development): each keeps its covariance, its candidates and what its print scale does. A photo's quality
is the crew's kit, one sheet or more, bars measured or not; how often crews do either nobody has counted, so each kit
is drawn as often. Walls, distances and weak photos stand in each kit as often as in those photos. Openings are as large
as the photo's, give or take a tenth.

A side is another than the one traced as often as its candidates say, and one that nobody listed as often as they
leave more than the 1 to 1.5 % that the program always keeps. Those are not drawn: they are a caution, not a rate (of
320 sides of these photos none was a line beyond 10 mm that had so little weight), and drawn they would by themselves
hold 3 % of sound openings.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

INCH = 25.4
NAMES = ["width_top", "width_middle", "width_bottom", "height_left", "height_middle", "height_right"]
NAMES += ["diagonal_down", "diagonal_up"]
AXES = (NAMES[:3], NAMES[3:6], NAMES[6:])
QUALITIES = ("two sheets, bars measured", "two sheets", "one sheet, bars measured", "one sheet")
DOUBTS = ("no warning", "a side in doubt", "U95 above the tolerance")
# What the program leaves to 'another line' where nothing speaks for one; how far such a line lies is a guess.
OTHER_LINE, OTHER_LINE_U_MM = 0.015, 25.0
# The measures that a side moves, besides the diagonals.
_SIDES = {"head": slice(3, 6), "sill": slice(3, 6), "left": slice(0, 3), "right": slice(0, 3)}


@dataclass(frozen=True)
class Stated:
    """What the program stated of one photo: nine values, covariance, the part by print scale, candidates by side.

    `doubt`: by which of its warnings it may not be able to judge a reading, one of `DOUBTS`.
    """

    wall: str
    doubt: str
    values: np.ndarray
    cov: np.ndarray
    print_scale: np.ndarray
    candidates: tuple[tuple[str, float, float, np.ndarray], ...]  # side, weight, shift (mm), shift of the nine


@dataclass(frozen=True)
class Photo:
    """What one opening truly measures, and what its photo says: quality, marks of the tape, the photo as stated."""

    quality: str
    truth: np.ndarray
    metric: bool
    stated: Stated

    @property
    def cov(self):
        """The covariance of the nine measures (9, 9), mm2."""
        return self.stated.cov


@cache
def stated_photos():
    """Return the photos that the program has measured, by quality."""
    found = {quality: [] for quality in QUALITIES}
    for row in json.loads(Path(__file__).with_name("photos_stated.json").read_text()):
        quality = ("one sheet" if row["sheets"] == 1 else "two sheets") + (
            ", bars measured" if row["bars"] == "measured" else ""
        )
        lower = np.zeros((9, 9))
        lower[np.tril_indices(9)] = row["cov_mm2"]
        candidates = tuple((s, w, mm, np.array(nine)) for s, w, mm, nine in row["candidates"])
        found[quality].append(
            Stated(
                row["wall"],
                DOUBTS[2 if "weak-geometry" in row["warnings"] else bool(row["warnings"])],
                np.array(row["values_mm"]),
                lower + np.tril(lower, -1).T,
                np.array(row["print_scale_mm"]),
                candidates,
            )
        )
    return found


@dataclass(frozen=True)
class Drawn:
    """Readings of one opening with the photo's values; `slips`: code and shift by reading, None where free.

    `other_line`: a side is another line than the one traced.
    """

    values: np.ndarray
    readings: dict[str, float]
    slips: dict[str, tuple[str, float | None]] = field(default_factory=dict)
    other_line: bool = False


def nine_of(widths, heights, lean):
    """Return the nine measures of an opening of these widths and heights whose head is shifted by `lean`."""
    w, h = float(np.mean(widths)), float(np.mean(heights))
    down, up = math.hypot(w - lean, h), math.hypot(w + lean, h)
    return np.array([*widths, *heights, down, up, down - up])


def draw_photo(rng, quality, stated=None):
    """Return an opening and what is known of its photo, one of those of a quality or the one given."""
    if stated is None:
        photos = stated_photos()[quality]
        stated = photos[int(rng.integers(len(photos)))]
    w, h = stated.values[[1, 4]] * rng.uniform(0.9, 1.1, 2)
    widths = w + rng.normal(0, 3, 3)
    heights = h + rng.normal(0, 3, 3)
    return Photo(quality, nine_of(widths, heights, rng.normal(0, 4)), bool(rng.random() < 0.25), stated)


def wrong_lines(rng, photo):
    """Return what the lines that were not traced, where they are the true ones, take from the nine measures (9,)."""
    w, h = photo.truth[[1, 4]]
    shift = np.zeros(9)
    for side, moved in _SIDES.items():
        mine = [(weight, nine) for s, weight, _, nine in photo.stated.candidates if s == side]
        if not mine:
            continue
        weights = np.array([weight for weight, _ in mine])
        elsewhere = max(1.0 - OTHER_LINE - weights.sum(), 0.0)
        weights = np.append(weights, elsewhere)
        k = int(rng.choice(len(weights), p=weights / weights.sum()))
        if k < len(mine):
            shift += mine[k][1]
        else:
            nine = np.zeros(9)
            nine[moved] = 1.0
            nine[6:8] = (w if moved.start == 0 else h) / math.hypot(w, h)
            shift += rng.normal(0, OTHER_LINE_U_MM) * nine
    return shift


def sound(rng, photo, tape_cov):
    """Return photo values (9,) and sound readings (8,) as read to the mark, mm, and whether another line is true."""
    shift = wrong_lines(rng, photo)
    values = photo.truth + root_of(photo.cov) @ rng.normal(size=9) - shift
    step = 1.0 if photo.metric else INCH / 16
    noise = np.linalg.cholesky(tape_cov) @ rng.normal(size=8)
    return values, np.round((photo.truth[:8] + noise) / step) * step, bool(shift.any())


def root_of(cov):
    """Return a square root of a covariance, which need not be regular (nor, where rounded, quite positive)."""
    values, vectors = np.linalg.eigh(cov)
    return vectors * np.sqrt(np.maximum(values, 0.0))


def whole(reading, metric):
    """Return the whole part of a reading as written, and what is left, in its unit."""
    unit = 1.0 if metric else INCH
    number = int(reading / unit + 1e-6)
    return str(number), reading / unit - number


def text(reading, metric):
    """Return a reading as a crew writes it."""
    digits, rest = whole(reading, metric)
    if metric:
        return f"{digits} mm"
    parts = round(rest * 16)
    return digits + (f" {parts}/16" if parts else "")


def rates(priors, metric, factors):
    """Return the kinds of slip with their rates an opening; `factors` by code."""
    table = []
    for s in priors.slips:
        if (s.scale == "mm") != metric:
            continue
        f = factors.get(s.code, 1.0)
        table += [(f * 8 * s.prior, (s.code, s.shift_mm, "one"))]
        table += [(f * 3 * s.axis, (s.code, s.shift_mm, "axis")), (f * s.all, (s.code, s.shift_mm, "all"))]
    single = {"digits-swapped": 8 * priors.digits_swapped * 1.5, "six-nine": 8 * priors.six_nine * 0.5}
    single |= {"wrong-unit": 8 * priors.wrong_unit * 3, "another-reading": 8 * priors.another_reading}
    if not metric:
        single |= {"feet-and-inches": 8 * priors.feet_and_inches, "wrong-side": 8 * 3 * priors.wrong_side}
    single |= {"stations-swapped": 7 * priors.stations_swapped, "width-height": 3 * priors.width_height_swapped}
    single |= {"width-height-all": priors.width_height_all, "seen-from-inside": priors.seen_from_inside}
    single |= {"copied": 3 * priors.copied, "another-opening": priors.another_opening}
    single |= {"another-line": 2 * priors.another_line + 6 * priors.another_line_one}
    single |= {"one-ratio": priors.one_ratio, "one-shift": priors.one_shift, "unlisted": 8 * priors.none_of_these}
    return table + [(factors.get(k, 1.0) * v, (k,)) for k, v in single.items()]


def do_slip(rng, kind, drawn, photo, others, line_mm):
    """Return the opening with one slip done to readings that have none yet; None where it cannot be done."""
    readings, slips, values = dict(drawn.readings), dict(drawn.slips), drawn.values
    code = kind[0]
    free = [n for n in NAMES if n not in slips]
    if not free:
        return None
    name = str(rng.choice(free))
    axis = AXES[int(rng.integers(3))]

    def move(code, shifts):
        if any(n in slips or abs(mm) < 1e-6 for n, mm in shifts.items()):
            return None
        for n, mm in shifts.items():
            readings[n] += mm
            slips[n] = (code, mm)
        return Drawn(values, readings, slips)

    if len(kind) == 3:
        names = {"one": [name], "axis": axis, "all": NAMES}[kind[2]]
        return move(code, dict.fromkeys(names, kind[1]))
    digits, rest = whole(readings[name], photo.metric)
    unit = 1.0 if photo.metric else INCH
    if code in ("digits-swapped", "six-nine", "feet-and-inches"):
        other = _rewritten(rng, code, digits)
        return None if other is None else move(code, {name: (int(other) - int(digits)) * unit})
    if code == "unlisted":
        moved = move("none-of-these", {name: float(rng.normal(0, rng.choice([30.0, 200.0])))})
        return None if moved is None else Drawn(values, readings, slips | {name: ("none-of-these", None)})
    if code == "wrong-side":
        up = float(rng.choice([2 * (1 - rest), -2 * rest, 1 - 2 * rest]))
        return None if min(rest, 1 - rest) < 0.03 else move(code, {name: up * INCH})
    if code == "wrong-unit":
        ratio = rng.choice([25.4, 2.54, 10.0, 1 / 25.4, 1 / 2.54, 0.1])
        return move(code, {name: readings[name] * (ratio - 1)})
    if code in ("stations-swapped", "width-height", "width-height-all", "seen-from-inside"):
        a, b = rng.choice(axis, 2, replace=False)
        k = int(rng.integers(3))
        pairs = {
            "stations-swapped": [(a, b)],
            "width-height": [(AXES[0][k], AXES[1][k])],
            "width-height-all": list(zip(AXES[0], AXES[1], strict=True)),
            "seen-from-inside": [(NAMES[3], NAMES[5]), (NAMES[6], NAMES[7])],
        }[code]
        shifts = {}
        for a, b in pairs:
            shifts |= {a: readings[b] - readings[a], b: readings[a] - readings[b]}
        return move("width-height-swapped" if code.startswith("width-h") else code, shifts)
    if code == "copied":
        source, *rest_of = rng.permutation(axis)
        if any(n in slips for n in axis):
            return None
        for n in rest_of:
            readings[n] = readings[source]
            slips[n] = (code, None)
        return Drawn(values, readings, slips)
    return _moved_by_scene(rng, code, drawn, photo, others, line_mm, name, move)


def _rewritten(rng, code, digits):
    if code == "digits-swapped":
        i = int(rng.integers(len(digits) - 1)) if len(digits) > 1 else -1
        other = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :] if i >= 0 else digits
        return None if other == digits or other[0] == "0" else other
    if code == "six-nine":
        places = [i for i, c in enumerate(digits) if c in "69"]
        if not places:
            return None
        i = int(rng.choice(places))
        return digits[:i] + ("9" if digits[i] == "6" else "6") + digits[i + 1 :]
    feet, inches = divmod(int(digits), 12)
    return f"{feet}{inches}" if 0 < feet < 10 and inches < 10 else None


def _moved_by_scene(rng, code, drawn, photo, others, line_mm, name, move):
    readings, slips = dict(drawn.readings), dict(drawn.slips)
    if code == "another-line":
        if rng.random() < 0.6:
            return move(code, dict.fromkeys(NAMES[:3], line_mm))
        return move(code, {NAMES[int(rng.integers(3))]: line_mm})
    if code in ("another-opening", "another-reading"):
        other = others[int(rng.integers(len(others)))]
        names = NAMES if code == "another-opening" else [name]
        if any(n in slips for n in names):
            return None
        step = 1.0 if photo.metric else INCH / 16
        for n in names:
            readings[n] = round((other.truth[NAMES.index(n)] + rng.normal(0, 1.0)) / step) * step
            slips[n] = ("another-opening", None)
        return Drawn(drawn.values, readings, slips)
    if slips:
        return None
    if code == "one-ratio":
        slips = dict.fromkeys(NAMES, ("one-ratio", None))
        return Drawn(drawn.values / (1 + rng.normal(0, 0.03)), readings, slips)
    mm = rng.normal(0, 4.0)
    return Drawn(drawn.values, {n: v + mm for n, v in readings.items()}, dict.fromkeys(NAMES, ("one-shift", None)))


def unknown_slip(rng, drawn, together):
    """Return the opening with a slip that is in no list: one reading, or all widths, off by any amount."""
    mm = float(rng.choice([-1, 1]) * rng.uniform(12, 150))
    names = AXES[int(rng.integers(2))] if together else [NAMES[int(rng.integers(8))]]
    readings = {n: v + (mm if n in names else 0.0) for n, v in drawn.readings.items()}
    return Drawn(drawn.values, readings, dict.fromkeys(names, ("none-of-these", None)))
