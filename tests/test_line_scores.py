"""Which of the lines found along a side are real, and which of them are one."""

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from vision.sides.finding import one_ragged_side
from vision.sides.line_scores import scores, thin
from vision.sides.search import Search
from vision.strips.strip_line import Line


def faint(offset_mm, step):
    step = np.array(step) * np.ones(3)
    size = float(np.linalg.norm(step))
    return Line(np.array([offset_mm, 0, 0]), step, size, 30.0, 0.98, 1.0, step + 0.9, np.full(3, 0.9))


def test_colour_that_rings_beside_a_strong_edge_is_no_line_and_a_faint_grey_one_is():
    """JPEG, ITU-T T.81: colour is coded in blocks at half resolution and ripples beside an edge, without lightness."""
    search = Search("left", np.array([[0.0, 0], [0, 2000]]), 12.0, 12.0)
    ripple, shade = faint(9.0, [0.0001, -0.0066, 0.0049]), faint(9.0, [0.005, 0.0046, 0.0043])
    for rival, changed in ((ripple, True), (shade, False)):
        beside, apart = (scores([rival, faint(a, [0.5, 0.5, 0.47])], 1.7, search, 2.5)[0] for a in (0.0, 200.0))
        assert (beside < apart - 3) == changed


def test_a_faint_line_that_crosses_the_run_of_a_clear_one_counts_less():
    """Parallel lines of a wall are parallel in a strip true to scale (central projection); a branch's shadow is not."""
    search = Search("sill", np.array([[0.0, 0], [1000, 0]]), 20.0, 20.0)
    arris = faint(0.0, [0.05, 0.06, 0.07])
    along, across = faint(9.0, [0.01, 0.01, 0.01]), faint(9.0, [0.01, 0.01, 0.01])
    across = replace(across, shape=np.array([9.0, 7.0, 0.0]))
    parallel, crossing = (scores([x, arris], 1.0, search, 2.5) for x in (along, across))
    assert crossing[0] < parallel[0] - 4
    assert crossing[1] == parallel[1]
    alone = [scores([x], 1.0, search, 2.5)[0] for x in (along, across)]
    assert_allclose(alone[0], alone[1])


def test_of_two_lines_that_cross_the_clearer_one_stays_and_parallel_ones_both():
    search = Search("sill", np.array([[0.0, 0], [1000, 0]]), 20.0, 20.0)
    clear, along = faint(4.0, [0.05, 0.06, 0.07]), faint(0.0, [0.01, 0.01, 0.01])
    across = replace(along, shape=np.array([4.0, 7.0, 0.0]))  # from -3 to 11 mm: it meets the clear one in the middle
    assert thin([clear, across], 1.0, search, 2.5) == [clear]
    assert thin([across, clear], 1.0, search, 2.5) == [clear]
    assert thin([clear, along], 1.0, search, 2.5) == [clear, along]


def test_two_readings_of_ragged_bricks_are_one_side_and_a_frame_behind_stays_apart():
    lines = [faint(0.0, 0.2), faint(-2.6, 0.15), faint(-8.0, 0.3)]  # mm, within and beyond a brick's raggedness
    kept, weights = one_ragged_side(lines, np.array([0.58, 0.39, 0.02]))
    assert kept == [lines[0], lines[2]]
    assert_allclose(weights, [0.97, 0.02])


def test_ragged_bricks_are_placed_from_the_line_that_more_of_them_show():
    """Of two lines through one ragged side the outer one, of a few proud bricks, may weigh more; it is no start."""
    proud, most, far = replace(faint(2.6, 0.15), t_value=6.0), replace(faint(0.0, 0.24), t_value=12.0), faint(-8.0, 0.3)
    kept, weights = one_ragged_side([proud, most, far], np.array([0.63, 0.35, 0.01]))
    assert kept == [most, far]
    assert_allclose(weights, [0.98, 0.01])


def test_a_frame_right_behind_a_dark_reveal_is_no_ragged_brick():
    """Light falls at the arris of a dark reveal and rises at the frame: the sign of the step tells them apart."""
    arris, frame = replace(faint(0.6, [0.08, 0.05, 0.04]), t_value=19.0), faint(-2.3, [-0.1, -0.14, -0.16])
    kept, weights = one_ragged_side([arris, frame], np.array([0.98, 0.01]))
    assert kept == [arris, frame]
    assert_allclose(weights, [0.98, 0.01])


def test_a_side_without_any_edge_has_no_lines_and_no_weights():
    assert scores([], 1.0, Search("head", np.array([[0.0, 0], [1000, 0]]), 10.0, 10.0), 3.0).shape == (0,)


def test_a_line_no_stronger_than_the_texture_beside_it_loses_credit():
    search = Search("left", np.array([[0.0, 0], [0, 2000]]), 12.0, 12.0, over_texture=10.0)
    odds = [scores([replace(faint(0.0, [0.01] * 3), over_texture=z)], 2.0, search, 2.5)[0] for z in (2, 10, 50, np.inf)]
    assert odds[0] < odds[1] - 4
    assert odds[1] == odds[2] == odds[3]
