"""Two steps within a photo's blur. Oracle: the profile of a blurred step is the normal distribution function."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from vision.sides.arris import offsets_px
from vision.sides.double_step import second_step_px, with_double_step
from vision.sides.finding import FailedSide, FoundSide
from vision.sides.inner_edge import JITTER_SHARE
from vision.sides.place import unplaced
from vision.sides.sill_ghosts import Ghost
from vision.strips.profiles import Strip
from vision.strips.strip_line import Line

BLUR, MM = 0.8, 2.0


def profile(*steps, level=0.7, blur=BLUR):
    """Return a profile with steps of (place px, size), blurred."""
    at = offsets_px()
    return level + sum(size * norm.cdf((at - place) / blur) for place, size in steps)


def reach(value):
    return second_step_px(value, BLUR, 9.0, 9.0)


@pytest.mark.parametrize(
    ("apart", "share"), [(1.75, 0.4), (1.75, 0.9), (2.5, 0.15), (2.5, 0.4), (3.5, 0.15), (3.5, 0.9)]
)
def test_the_outer_of_two_steps_is_found_where_it_is(apart, share):
    found = reach(profile((-0.3, -0.15), (-0.3 + apart, -0.15 * share)))
    assert found == pytest.approx(apart - 0.3, abs=0.3)


@pytest.mark.parametrize(("times", "apart", "share"), [(0.9, 3.5, 0.08), (1.12, 2.5, 0.25), (1.25, 2.5, 0.15)])
def test_two_steps_are_found_at_a_side_that_is_a_tenth_sharper_or_a_quarter_softer_than_the_photo(times, apart, share):
    found = reach(profile((-0.3, -0.15), (-0.3 + apart, -0.15 * share), blur=times * BLUR))
    assert found == pytest.approx(apart - 0.3, abs=0.3)


@pytest.mark.parametrize(
    "steps",
    [
        ((0.1, -0.2),),  # one step
        ((0.0, -0.2), (2.5, -0.004)),  # and a ripple beside it
        ((0.0, -0.2), (2.5, 0.03)),  # the rim that sharpening leaves
        ((0.0, -0.2), (4.4, -0.1)),  # at the rim of what is tried
        ((0.0, -0.1), (2.5, -0.15)),  # the outer one is the stronger, and would be the line
    ],
)
def test_one_step_is_not_taken_for_two(steps):
    assert reach(profile(*steps)) is None


def test_a_step_that_is_wider_than_the_photos_blur_all_along_is_none_of_two():
    at = offsets_px()
    assert reach(0.7 - 0.2 * norm.cdf(at / (1.2 * BLUR))) is None


def test_a_flat_or_unseen_profile_tells_nothing():
    assert reach(np.full(len(offsets_px()), 0.5)) is None
    assert reach(np.full(len(offsets_px()), np.nan)) is None
    assert second_step_px(profile((0, -0.15), (2, -0.06)), BLUR, 1.0, 1.0) is None  # other lines on both sides


def found(ghost=None, value=None):
    strip = Strip(np.zeros((4, 4, 3), np.float32), np.linspace(0, 1000, 4), np.arange(4.0), *np.zeros((3, 2)), 0.0, MM)
    shape = np.array([3.0, 1.0, 0.5])
    line = Line(shape, np.zeros(3), 0.2, 50.0, 0.95, 0.9, np.zeros(3), np.zeros(3))
    value = profile((0.0, -0.15), (2.5, -0.06)) if value is None else value
    return FoundSide(strip, [line], np.array([0.9]), 0, unplaced(shape), value, ghost)


def test_the_arris_is_the_outer_step_and_the_line_remains_a_rival():
    sill = with_double_step(found(), (BLUR, BLUR))
    assert sill.ghost.leads
    assert sill.ghost.shape == pytest.approx([3.0 + 2.5 * MM, 1.0, 0.5], abs=0.3 * MM)
    assert sill.ghost.weight == pytest.approx(0.81)
    assert sill.ghost.u_mm == pytest.approx(0.6 * MM)  # 0.6 px, in mm of the sill's plane
    assert sill.weights == pytest.approx([0.09])


def test_what_else_was_held_for_an_unseen_arris_goes_to_the_outer_step():
    before = found(Ghost(np.array([15.0, 0, 0]), 0.08, 2.0, leads=False))
    sill = with_double_step(before, (BLUR, BLUR))
    assert (sill.ghost.weight, sill.weights[0]) == pytest.approx((0.9 * 0.98, 0.1 * 0.98))


def test_a_sill_that_is_known_otherwise_or_shows_one_step_stays_as_it_is():
    known = found(Ghost(np.array([9.0, 0, 0]), 0.9, 1.0, leads=True))
    assert with_double_step(known, (BLUR, BLUR)) is known
    plain = found(value=profile((0.0, -0.15)))
    assert with_double_step(plain, (BLUR, BLUR)) is plain
    assert with_double_step(replace(plain, profile=profile((0, -0.15), (2, -0.06))), None).ghost is None
    failed = FailedSide("sill", "outside")
    assert with_double_step(failed, (BLUR, BLUR)) is failed


@pytest.mark.parametrize(("weight", "leads"), [(0.3, False), (0.001, True)])
def test_an_arris_that_only_may_be_elsewhere_does_not_hide_the_second_step(weight, leads):
    sill = with_double_step(found(Ghost(np.array([15.0, 0, 0]), weight, 2.0, leads=leads)), (BLUR, BLUR))
    assert sill.ghost.shape[0] == pytest.approx(3.0 + 2.5 * MM, abs=0.3 * MM)


def test_a_sills_blur_is_that_of_edges_that_run_across():
    assert with_double_step(found(), (5.0, BLUR)).ghost is not None
    assert with_double_step(found(), (BLUR, 5.0)).ghost is None


def test_one_step_widened_by_the_wander_of_its_arris_is_none_of_two():
    """Independent spreads add by their squares: blur, and what is left of the wander along the side, in px."""
    jitter_mm = 2.0 * BLUR * MM / JITTER_SHARE
    value = profile((0.0, -0.15), blur=np.hypot(BLUR, JITTER_SHARE * jitter_mm / MM))
    plain = found(value=value)
    assert with_double_step(plain, (BLUR, BLUR)).ghost is not None  # else it would be
    wandering = replace(plain, placed=replace(plain.placed, jitter_mm=jitter_mm))
    assert with_double_step(wandering, (BLUR, BLUR)) is wandering


def test_the_wander_of_an_arris_counts_in_pixels_of_its_photo():
    """Drawn with a wander of 0.5 px, at 2 mm a pixel; twice of it would be wider than what is seen."""
    value = profile((0.0, -0.15), (2.5, -0.06), blur=np.hypot(BLUR, 0.5))
    sill = found(value=value)
    for by, tells in ((1, True), (2, False)):
        placed = replace(sill.placed, jitter_mm=by * 0.5 * MM / JITTER_SHARE)
        assert (with_double_step(replace(sill, placed=placed), (BLUR, BLUR)).ghost is not None) == tells
