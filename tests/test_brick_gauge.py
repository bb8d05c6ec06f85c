"""The gauge of courses; the oracles are handbook gauges (facts: 3 courses to 8 in, 4 to 300 mm) and least squares."""

import numpy as np
import pytest

from vision.brick_gauge import brick_gauge, with_gauge_hint
from vision.request import Measure, Warning_
from vision.stations import LaidUnits, SideLine

VALUES = np.array([900.0] * 3 + [1200.0] * 3 + [1500.0, 1500, 0])
COV = np.eye(9)
UNVERIFIED = Warning_("scale-unverified", "the printed bars were not measured")
OTHER = Warning_("one-reference", "only one sheet")


def jamb(gauge_mm, count, laid_mm=0.0, seed=0):
    joints = 31.0 + gauge_mm * np.arange(count) + np.random.default_rng(seed).normal(0, laid_mm, count)
    starts, ends = np.concatenate([[0.0], joints + 5]), np.concatenate([joints - 5, [joints[-1] + 40]])
    units = LaidUnits(np.column_stack([starts, ends]), np.zeros(count + 1), np.full(count + 1, 0.1))
    none = np.zeros(0)
    return SideLine("left", np.zeros((2, 2)), 0.0, none, none, np.eye(2), 0.1, 0.1, 0.4, units=units)


def both(left, right):
    return {"left": left, "right": right, "head": left, "sill": left}


def test_courses_laid_three_to_8_in_have_that_gauge():
    gauge = brick_gauge(both(jamb(203.2 / 3, 17), jamb(203.2 / 3, 17)), VALUES, COV)
    assert gauge.value_mm == pytest.approx(67.733, abs=0.001)
    assert gauge.place_mm is None


def test_the_gauge_is_missed_by_as_much_as_stated():
    """Joints laid to 1.5 mm, 400 walls; the scale's part of u is left out by a height that is known."""
    errors, stated = [], []
    for k in range(400):
        gauge = brick_gauge(both(jamb(75.0, 16, 1.5, 2 * k), jamb(75.0, 14, 1.5, 2 * k + 1)), VALUES, 0 * COV)
        errors.append(gauge.value_mm - 75.0)
        stated.append(gauge.u_mm)
    assert np.std(errors) / np.mean(stated) == pytest.approx(1.0, abs=0.15)


def test_a_course_is_as_unsure_of_its_scale_as_the_height():
    gauge = brick_gauge(both(jamb(75.0, 1000), jamb(75.0, 1000)), VALUES, 144.0 * COV)
    assert gauge.u_mm == pytest.approx(0.75, rel=0.01)  # 12 mm of 1200 mm


def test_few_courses_and_jambs_without_any_have_no_gauge():
    bare = SideLine("left", np.zeros((2, 2)), 0.0, np.zeros(0), np.zeros(0), np.eye(2), 0.1, 0.1, 0.4)
    assert brick_gauge(both(bare, bare), VALUES, COV) is None
    assert brick_gauge(both(jamb(75.0, 4), bare), VALUES, COV) is None
    assert brick_gauge(both(jamb(75.0, 9), bare), VALUES, COV).value_mm == pytest.approx(75.0)


@pytest.mark.parametrize(
    ("gauge_mm", "says"),
    [
        (67.7, "as 3 courses to 8 in do: nothing there speaks against 100 %"),
        (75.1, "as 4 courses to 300 mm do"),
        (72.06, "3 courses to 8 in a print at 94 %, 4 courses to 300 mm a print at 104 % would be, though"),
        (60.0, "ten courses of the brick measure 600 mm by this scale"),
    ],
)
def test_a_print_that_was_not_measured_is_held_against_usual_courses(gauge_mm, says):
    """8 in / 3 measured by a sheet printed at 94 % reads 67.73 / 0.94 = 72.06 mm."""
    told, other = with_gauge_hint([UNVERIFIED, OTHER], Measure(gauge_mm, 0.2))
    assert says in told.message
    assert "as a hint only" in told.message
    assert other == OTHER


def test_an_unsure_gauge_speaks_against_nothing():
    (told,) = with_gauge_hint([UNVERIFIED], Measure(69.5, 1.0))
    assert "nothing there speaks against 100 %" in told.message


def test_without_courses_nothing_is_added():
    assert with_gauge_hint([UNVERIFIED], None) == (UNVERIFIED,)


@pytest.mark.parametrize(
    ("gauge_mm", "says"),
    [
        (74.5, "its size would be 91 % with 3 courses to 8 in, 101 % with 4 courses to 300 mm, 109 % with 5"),
        (60.0, "ten courses of the brick measure 600 mm by this scale: its size would be 113 % with 3 courses to 8 in"),
        (90.0, "ten courses of the brick measure 900 mm by this scale: its size would be 90 % with 5 courses"),
        (120.0, "ten courses of the brick measure 1200 mm by this scale"),
    ],
)
def test_beside_a_rectangle_of_given_size_the_courses_are_a_hint_to_its_size(gauge_mm, says):
    """Handbook gauge: 3 courses to 8 in are 67.73 mm each, 91 % of 74.5 mm: a size typed a tenth too large."""
    alone = Warning_("one-reference", "only one")
    (told,) = with_gauge_hint([alone], Measure(gauge_mm, 0.2), "given")
    assert says in told.message
    assert with_gauge_hint([alone], Measure(gauge_mm, 0.2), "letter") == (alone,)
