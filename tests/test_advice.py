"""The remedy for a weak measure is for what makes it weak. Oracle: contract, *Result* and *Decision* (1/4 in)."""

from dataclasses import replace

import numpy as np
import pytest

from tests.views import BAR, SHEET, camera_at, photo_of
from vision.advice import corners_in_view, geometry_warnings, reference_warnings, shape_warnings
from vision.request import PARTS, CheckBar, Measure, Reference


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


NINE_MM = np.array([1000.0, 1000, 1000, 1200, 1200, 1200, 1562, 1562, 0])  # a rectangle of 1000 x 1200 mm


def shaped(u_mm=1.0, **by):
    further = {name: Measure(by.get(name, 0.0), u_mm) for name in ("taper_width", "taper_height", "lean")}
    return shape_warnings(NINE_MM, further)


@pytest.mark.parametrize(
    ("by", "words"),
    [
        ({"taper_width": 40.0}, "the top width is 40 mm more than the bottom one"),
        ({"taper_height": -40.0}, "the left height is 40 mm less than the right one"),
        ({"lean": -40.0}, "the head is shifted 40 mm to the left of the sill"),
    ],
)
def test_an_opening_far_from_a_rectangle_is_said_with_figure_and_remedy(by, words):
    """Oracle: contract, *Result*: `not-rectangular`, effect and remedy in the message."""
    (warned,) = shaped(**by)
    assert warned.code == "not-rectangular"
    assert words in warned.message
    assert "known to 2 mm" in warned.message
    assert "see in the picture" in warned.message


def test_openings_as_built_and_what_is_not_known_so_well_are_not_called_out_of_shape():
    assert shaped(taper_width=14.0, taper_height=-14.0, lean=14.0) == []
    assert shaped(u_mm=15.0, taper_width=40.0) == []


def test_a_corner_said_to_be_out_of_view_that_lies_well_inside_is_named():
    """The rim of 1000 px is 20 px broad: a corner in it may not be seen."""
    found = np.array([[100.0, 90.0], [900.0, 90.0], [995.0, 700.0], [100.0, 700.0]])
    asked = found.copy()
    asked[[1, 2]] = np.nan
    (told,) = corners_in_view(asked, found, (1000, 750))
    assert told.code == "corner-in-view"
    assert "the top right one (at 900,90 px)" in told.message
    assert "bottom" not in told.message
    assert corners_in_view(found, found, (1000, 750)) == []


def test_nobody_is_asked_to_point_better_at_sides_that_were_not_traced():
    """Found: corners that stand as clicked were said to be sides 'that no clear line shows'."""
    budget = np.full((9, len(PARTS)), 0.05)
    budget[:, PARTS.index("edge_trace")] = 5.0
    (warned,) = geometry_warnings(np.eye(9) * 25.0, budget, 2, "sheet", clicked=True)
    assert "let the sides be traced" in warned.message
    assert "no clear line" not in warned.message


@pytest.mark.parametrize(("letters", "named"), [("AA", "sheet A is"), ("BBA", "sheet B is"), ("AB", None)])
def test_a_letter_that_is_in_view_twice_is_named(letters, named):
    """Oracle: contract, *Result*: `letter-twice`, effect and remedy in the message."""
    sheets = [(f"sheet {letter}", 800.0 * k - 800.0, 50.0 * k, 0.02) for k, letter in enumerate(letters)]
    photo = photo_of(camera_at(50, 400, 2700), sheets, np.random.default_rng(1))
    found = {w.code: w.message for w in reference_warnings(SHEET, BAR, photo.solved)}
    assert list(found) == (["letter-twice"] if named else [])
    if named:
        assert all(word in found["letter-twice"] for word in (named, "both are used", "print two letters"))


def test_what_the_references_leave_open_is_said_where_it_is_open():
    """Oracle: contract, *Result* and *Sheet*: `one-reference`; `scale-unverified` until bars or the outline tell."""
    sheets = [("sheet A", -800.0, 0.0, 0.02), ("sheet B", 800.0, 50.0, 0.02)]
    alone, both = (photo_of(camera_at(50, 400, 2700), sheets[:n], np.random.default_rng(1)).solved for n in (1, 2))

    def codes(reference, bars, solved):
        return [w.code for w in reference_warnings(reference, bars, solved)]

    assert codes(SHEET, BAR, alone) == ["one-reference"]
    assert codes(SHEET, CheckBar(), both) == ["scale-unverified"]
    assert codes(SHEET, CheckBar(), replace(both, scale_seen=True)) == []
    assert codes(Reference("letter"), CheckBar(), both) == []


def test_the_worst_known_width_or_height_is_named_as_weak():
    u_mm = np.array([2.0, 2, 2, 2, 4, 2, 9, 9, 9])  # diagonals have a tolerance of their own
    (warned,) = geometry_warnings(np.diag(u_mm**2), np.ones((9, len(PARTS))), 2, "sheet")
    assert warned.message.startswith("the middle height is only known to 8.0 mm")
