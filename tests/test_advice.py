"""The remedy for a weak measure is for what makes it weak. Oracle: contract, *Result* and *Decision* (1/4 in)."""

import numpy as np
import pytest

from vision.advice import geometry_warnings
from vision.request import PARTS


def said(U95_mm, part, references=2, thing="sheet"):
    budget = np.full((9, len(PARTS)), 0.05)
    budget[:, PARTS.index(part)] = U95_mm / 2
    return [w.message for w in geometry_warnings(np.eye(9) * (U95_mm / 2) ** 2, budget, references, thing)]


@pytest.mark.parametrize(
    ("part", "remedy"),
    [
        ("print_scale", "measure the printed bars on the cards"),
        ("reference_size", "measure the card itself"),
        ("edge_depth", "how far the edges stand out from the surface that the card is on"),
        ("edge_choice", "point more exactly at the sides"),
        ("camera", "keep all cards in view"),
    ],
)
def test_the_remedy_is_for_the_part_that_weighs_most(part, remedy):
    (message,) = said(8.0, part, thing="card")
    assert "8.0 mm" in message
    assert remedy in message


def test_a_part_that_leaves_most_of_the_variance_is_no_remedy():
    """Bars measured would take away 40 % of the variance here: U95 falls from 8.0 to 6.2 mm only."""
    budget = np.zeros((9, len(PARTS)))
    budget[:, PARTS.index("print_scale")], budget[:, PARTS.index("camera")] = 4.0 * 0.4**0.5, 4.0 * 0.6**0.5
    (warned,) = geometry_warnings(np.eye(9) * 4.0**2, budget, 2, "sheet")
    assert "stand squarer to the wall" in warned.message
    assert "bars" not in warned.message


def test_a_single_reference_asks_for_a_second_one_on_the_other_side():
    assert "a second page on the other side" in said(8.0, "camera", 1, "page")[0]


def test_what_is_known_to_a_quarter_inch_is_not_weak():
    assert said(6.3, "camera") == []
