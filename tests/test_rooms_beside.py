"""The room that a tape found beside the opening, against sums by hand. Probabilities: the normal law (scipy)."""

import numpy as np
import pytest
from scipy import stats

from sizing.jobs.job import Opening, Reading
from sizing.orders.obstacles import Rectangle, place_u_mm, rooms_beside
from sizing.tape import u_reading_mm
from sizing.units import parse_length
from vision.request import PARTS, Estimate

HOLE = Rectangle(1000.0, 2000.0, 2500.0, 3200.0)  # 1500 by 1200
STANDS_OVER = {"above": 30.0, "below": 40.0, "left": 20.0, "right": 50.0}
VALUES = np.array([1500.0] * 3 + [1200.0] * 3 + [np.hypot(1500, 1200)] * 2 + [0.0])
U_WIDTH, U_HEIGHT = 5.0, 3.0


def estimate(traced_mm=0.0):
    budget = np.zeros((9, len(PARTS)))
    budget[:, PARTS.index("edge_trace")] = traced_mm
    cov = np.diag([U_WIDTH**2] * 3 + [U_HEIGHT**2] * 3 + [1.0] * 3)
    return Estimate(VALUES, cov, budget, np.zeros(9), {}, (), (), (), (), "corners")


def mm(value):
    return parse_length(f"{value} mm", "mm")


def opening(clearances, *readings):
    return Opening("W1", readings=readings, clearances={edge: mm(v) for edge, v in clearances.items()})


@pytest.mark.parametrize("edge", STANDS_OVER)
@pytest.mark.parametrize(("more_mm", "verdict"), [(20.0, "free"), (1.0, "unproven"), (-20.0, "in-the-way")])
def test_room_is_enough_where_it_is_more_than_the_product_takes_by_more_than_is_unsure(edge, more_mm, verdict):
    needed = STANDS_OVER[edge]
    reading = Reading("width_top", mm(1500), "width_top", tape="class-2", graduation_mm=1.0)
    beside = opening({edge: needed + more_mm}, reading)
    (room,) = rooms_beside(beside, estimate(), HOLE, HOLE.grown(**STANDS_OVER))
    # A blade read like one of 1 m (guess), and half the opening by the photo: u / 2.
    by_photo = (U_WIDTH if edge in ("left", "right") else U_HEIGHT) / 2
    u = np.hypot(u_reading_mm(1000.0, "class-2", 1.0, "masonry"), by_photo)
    assert (room.edge, room.needed_mm, room.there_mm) == (edge, needed, pytest.approx(needed + more_mm))
    assert room.u_mm == pytest.approx(u)
    assert room.p_free == pytest.approx(stats.norm.cdf(more_mm / u))
    assert room.verdict == verdict


def test_room_beside_an_edge_over_which_nothing_stands_is_not_asked_about():
    inside = Rectangle(HOLE.x0 + 5.0, HOLE.y0, HOLE.x1, HOLE.y1)
    assert rooms_beside(opening(dict.fromkeys(STANDS_OVER, 1)), estimate(), HOLE, inside) == ()
    assert rooms_beside(opening({}), estimate(), HOLE, HOLE.grown(**STANDS_OVER)) == ()


def test_room_longer_than_a_metre_is_as_unsure_as_a_blade_of_its_length_and_any_tape():
    beside = opening({"left": 4000})
    (room,) = rooms_beside(beside, estimate(), HOLE, HOLE.grown(**STANDS_OVER))
    assert room.u_mm == pytest.approx(np.hypot(u_reading_mm(4000.0, "unknown", 25.4 / 16, "masonry"), U_WIDTH / 2))


def test_what_the_sides_are_traced_to_moves_the_middle_by_half_and_the_rest_grows_with_the_distance():
    # u 5 of which 3 is traced: 4 of scale over 1500 mm.
    assert place_u_mm(estimate(3.0), "width", 375.0) == (pytest.approx(4.0 / 1500 * 375), pytest.approx(1.5))
    assert place_u_mm(estimate(9.0), "height", 600.0) == (0.0, pytest.approx(U_HEIGHT / 2))
