"""Facts about lines of a side that two ways of reading a step tell, each with its own weights."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.sides.averaged_lines import WeighedLines, averaged
from vision.sides.sill_ghosts import Ghost
from vision.strips.strip_line import MERGE_PX, Line

MM_PER_PX = 1.25


def line(offset_mm):
    grey = np.full(3, 0.2)
    return Line(np.array([offset_mm, 0.0, 0.0]), grey, 0.3, 30.0, 1.0, 0.8, grey, grey)


def told(*offsets_and_weights, ghost=None):
    lines = [line(offset) for offset, _ in offsets_and_weights]
    return WeighedLines(lines, np.array([w for _, w in offsets_and_weights]), ghost)


def unseen(offset_mm, weight):
    return Ghost(np.array([offset_mm, 0.0, 0.0]), weight, 1.0, leads=False)


def test_one_way_of_reading_stands_as_it_is():
    only = told((0.0, 0.9), (-6.0, 0.09))
    assert averaged([only], MM_PER_PX) is only


def test_a_line_that_both_ways_tell_has_the_mean_of_their_weights_and_stands_as_the_first_tells_it():
    """The law of total probability over two models that are as likely as each other."""
    both = averaged([told((0.0, 0.9), (-6.0, 0.09)), told((0.5, 0.6), (-6.2, 0.39))], MM_PER_PX)
    assert [x.shape[0] for x in both.lines] == [0.0, -6.0]
    assert_allclose(both.weights, [(0.9 + 0.6) / 2, (0.09 + 0.39) / 2], rtol=1e-12)
    assert both.ghost is None


def test_where_the_two_ways_are_each_sure_of_another_line_neither_is():
    both = averaged([told((0.0, 0.99)), told((5.0, 0.99))], MM_PER_PX)
    assert [x.shape[0] for x in both.lines] == [5.0, 0.0]  # from outside to inside
    assert_allclose(both.weights, [0.495, 0.495], rtol=1e-12)


@pytest.mark.parametrize(("apart_px", "lines"), [(0.99 * MERGE_PX, 1), (1.01 * MERGE_PX, 2)])
def test_lines_are_one_up_to_the_distance_at_which_a_search_merges_them(apart_px, lines):
    both = averaged([told((0.0, 0.9)), told((apart_px * MM_PER_PX, 0.9))], MM_PER_PX)
    assert len(both.lines) == lines


def test_what_the_second_way_alone_holds_for_improbable_is_left_out():
    both = averaged([told((0.0, 0.99)), told((0.0, 0.98), (9.0, 0.009))], MM_PER_PX)
    assert len(both.lines) == 1


def test_an_unseen_arris_that_one_way_tells_counts_half_and_leads_only_over_all_lines():
    both = averaged([told((0.0, 0.01), ghost=unseen(8.0, 0.98)), told((-1.0, 0.99))], MM_PER_PX)
    assert_allclose(both.ghost.weight, 0.49, rtol=1e-12)
    assert not both.ghost.leads  # the line has (0.01 + 0.99) / 2
    both = averaged([told((0.0, 0.01), ghost=unseen(8.0, 0.98)), told((-1.0, 0.9))], MM_PER_PX)
    assert both.ghost.leads


def test_unseen_arrises_at_one_place_are_one_and_of_others_the_likelier_stands():
    near = averaged([told((0.0, 0.1), ghost=unseen(8.0, 0.6)), told((0.0, 0.1), ghost=unseen(9.0, 0.8))], MM_PER_PX)
    assert_allclose([near.ghost.shape[0], near.ghost.weight], [9.0, 0.7], rtol=1e-12)
    apart = averaged([told((0.0, 0.1), ghost=unseen(8.0, 0.6)), told((0.0, 0.1), ghost=unseen(19.0, 0.8))], MM_PER_PX)
    assert_allclose([apart.ghost.shape[0], apart.ghost.weight], [19.0, 0.4], rtol=1e-12)
