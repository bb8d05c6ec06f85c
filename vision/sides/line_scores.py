"""Which of the lines found along a side are real edges, by what their pieces show: log odds, most of them guesses."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from vision.request import Array, Wall
from vision.sides.search import Search
from vision.strips.strip_line import Line, crossing

BEYOND = 2.0  # guess: log odds that each px beyond that reach costs
# How far a line's step should stand out of the texture beside it. Edges of 550 sides of siding and render, own
# renderings and practice, did so by 20 times and more in 95 of 100; false lines outside of them by 1 to 9. On masonry
# the bricks themselves are texture: 3 to 7 times in 95 of 100.
OVER_TEXTURE: Mapping[Wall, float] = {"masonry": 5.0, "render": 10.0, "siding": 10.0, "panel": 10.0}
# Ripples of colour beside an edge: how many times fainter they are, how far they reach (two blocks of colour), and what
# that takes off their log odds (a guess: hardly anything real has a hue of its own and no lightness there).
RINGS_UNDER, RINGS_PX, RINGS = 30.0, 32.0, 5.0
# Nested lines of one opening run parallel, a sill's top within a few mrad: of 166 lines at a side's true place
# (practice, own plain and hard renderings) none ran over 5 mrad off a clearer one; shadows that cross often do.
SLANT_RAD, CLEARER, CLEAR_T, MOST_SLANT = 0.004, 2.0, 20.0, 6.0


def scores(lines: list[Line], mm: float, search: Search, bow_mm: float) -> Array:
    """Return the log odds (N,) of each line being a real edge within reach."""
    strongest = max(line.contrast for line in lines) if lines else 0.0
    odds = np.array([_score(line, mm, search, bow_mm, strongest) for line in lines])
    return np.asarray(odds - RINGS * _rings(lines, mm) - _slant(lines, search))


def _slant(lines: list[Line], search: Search) -> Array:
    """Return what it costs (N,) in log odds to run otherwise than the clearest of the lines that are clearer."""
    half = float(np.hypot(*(search.ends_mm[1] - search.ends_mm[0]))) / 2
    cost = np.zeros(len(lines))
    for i, line in enumerate(lines):
        clearer = [
            x for x in lines if x.t_value > CLEAR_T and x.coverage > 0.9 and x.contrast > CLEARER * line.contrast
        ]
        if clearer:
            clearest = max(clearer, key=lambda x: x.contrast)
            turn = float(line.shape[1] - clearest.shape[1]) / half
            cost[i] = min(0.5 * (turn / SLANT_RAD) ** 2, MOST_SLANT)
    return cost


def _rings(lines: list[Line], mm: float) -> NDArray[np.bool_]:
    """Return which lines (N,) are colour that rings beside a far stronger edge: faint, with no step in grey.

    JPEG codes colour in blocks of 16 px at half resolution (ITU-T T.81, 4:2:0 sampling); an edge within a block leaves
    ripples of colour, without lightness, across all of it and the next.
    """
    at = np.array([line.shape[0] / mm for line in lines])
    contrast = np.array([line.contrast for line in lines])
    grey = np.array([abs(float(line.step.mean())) * np.sqrt(3) for line in lines])
    beside = np.array(
        [(np.abs(at - a) < RINGS_PX) & (contrast > RINGS_UNDER * c) for a, c in zip(at, contrast, strict=True)]
    )
    coloured = grey < 0.3 * contrast
    return np.asarray(coloured & beside.reshape(len(lines), len(lines)).any(axis=1), dtype=bool)


def thin(lines: list[Line], mm: float, search: Search, bow_mm: float) -> list[Line]:
    """Return the lines left, in their order, when of two that cross the less credible one goes."""
    odds = scores(lines, mm, search, bow_mm)
    kept: list[int] = []
    for i in np.argsort(-odds, kind="stable"):
        if not any(crossing(lines[i], lines[k]) for k in kept):
            kept.append(int(i))
    return [lines[i] for i in sorted(kept)]


def _score(line: Line, mm: float, search: Search, bow_mm: float, strongest: float) -> float:
    """Return the log odds that a line is a real edge within reach, from what its pieces show (guesses)."""
    score = 3.0 * np.log(np.clip(line.t_value, 0.1, 25.0) / 7.0)
    score += 14.0 * (min(line.coverage, 0.95) - 0.70)
    score += 1.5 * np.log(np.clip(line.contrast, 1e-4, 0.2) / 0.02)
    score += min(3.0 * np.log(max(line.contrast, 1e-4) / 0.01), 0.0)  # below a grey level or so: soft shading
    score -= max(2.0 * np.log(strongest / max(15 * line.contrast, 1e-4)), 0.0)
    score += 6.0 * (np.clip(line.peak, 0.0, 0.6) - 0.5)
    score -= BEYOND * beyond_px(line, mm, search)
    score -= 3.0 * np.log(max(search.over_texture / max(line.over_texture, 0.1), 1.0))
    score -= 2.0 * (1.5 * abs(line.shape[2]) / max(bow_mm, 0.1)) ** 2
    return float(score)


def beyond_px(line: Line, mm: float, search: Search) -> float:
    """Return how far the further end of a line lies beyond the reach of the corners."""
    offset, tilt = line.shape[0] / mm, abs(line.shape[1]) / mm
    return float(max(offset + tilt - search.outer_px, tilt - offset - search.inner_px, 0.0))
