"""Sides with a rival line. Oracle: contract, *Decision*: no side gives less than 1 % to 'another line'."""

import numpy as np

from sizing.rival_lines import doubtful_sides
from vision.request import Candidate


def line(side, weight, shift_mm=0.0):
    return Candidate(side, weight, shift_mm, np.full(9, shift_mm), "")


def test_the_share_of_another_line_is_no_rival():
    assert doubtful_sides([line("left", 0.99), line("sill", 0.98), line("sill", 0.01, 20.0)]) == ()


def test_the_most_doubtful_side_comes_first_and_only_those_of_the_measure_count():
    found = [line("left", 0.9), line("left", 0.09, -20.0), line("sill", 0.6), line("sill", 0.39, 12.0)]
    assert doubtful_sides(found) == ("sill", "left")
    assert doubtful_sides(found, "width_top") == ("left",)
    assert doubtful_sides(found, "height_left") == ("sill",)


def test_a_traced_line_that_is_not_listed_holds_what_the_others_leave():
    assert doubtful_sides([line("head", 0.02, 9.0)]) == ()
    assert doubtful_sides([line("head", 0.3, 9.0)]) == ("head",)


def test_a_side_pointed_at_with_half_the_weight_unexplained_is_doubtful():
    assert doubtful_sides([line("right", 0.49)]) == ("right",)
