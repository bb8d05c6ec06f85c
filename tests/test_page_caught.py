"""Corners of a page pointed out too roughly to be traced, in a rendering of known corners."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.test_page_find import PAGES, asked, photo, prior
from vision.pages.caught import caught
from vision.pages.find import find_quads
from vision.pages.of_photo import solve_page_photo
from vision.pages.plane import likeness
from vision.request import Reference, Warning_

LETTER = Reference("letter")


@pytest.fixture(scope="module")
def one():
    return photo(PAGES[:1])


def dragged(quad, corner, mm):
    """Return the page's corners, one of them dragged inward along the page's top by mm of its 216."""
    moved = quad.copy()
    across = (quad[1] - quad[0]) / 215.9
    moved[corner] = moved[corner] + mm * across
    return moved


@pytest.mark.parametrize(("corner", "mm"), [(0, 30), (2, -30), (1, 60)])
def test_a_corner_dragged_some_centimetres_off_is_caught(one, corner, mm):
    rgb, truth, true = one
    request = asked(truth, reference_corners_px=(dragged(true[0], corner, mm),))
    solved = solve_page_photo(rgb, request, LETTER, prior(), "masonry")
    assert not isinstance(solved, Warning_)
    assert np.abs(solved.outlines_px[0] - true[0]).max() < 1.0


def test_good_corners_stand_and_nothing_is_searched(one):
    rgb, _, true = one

    def find():
        raise AssertionError("searched")

    given = true[0] + [[0.5, -0.5], [0.3, 0.4], [-0.5, 0.2], [0.1, 0.5]]
    assert caught(rgb, given, LETTER, prior(), 3.0, "page", find, lambda _: 1.0) is given


def test_corners_on_a_bare_wall_are_refused_with_what_to_do():
    rgb, truth, true = photo(())[0], photo(PAGES[:1])[1], photo(PAGES[:1])[2]
    request = asked(truth, reference_corners_px=(dragged(true[0], 1, -70),))
    said = solve_page_photo(rgb, request, LETTER, prior(), "masonry")
    assert isinstance(said, Warning_)
    assert said.code == "no-reference"
    assert "drag" in said.message


def test_a_page_that_the_openings_corners_contradict_is_named_by_its_place(one):
    rgb, truth, true = one
    corners = np.array(truth["rough_corners_px"], float)
    corners[1] += [-80, 90]
    said = solve_page_photo(rgb, asked({"rough_corners_px": corners}), LETTER, prior(), "masonry")
    assert isinstance(said, Warning_)
    x, y = true[0].mean(0)
    assert f"at {x:.0f},{y:.0f} px" in said.message
    assert "opening's corners" in said.message


def test_corners_of_the_right_proportions_stand_as_clicked_where_no_side_is_seen(one):
    rgb, _, true = one
    bare = np.full_like(rgb, 120)

    def of(like):
        return caught(bare, true[0], LETTER, prior(), 3.0, "page", lambda: [], lambda _: like)

    assert of(1.0) is true[0]
    assert isinstance(of(0.0), Warning_)  # on the wall it is another thing
    assert "drag each of them onto its corner" in of(0.0).message


def test_the_corner_that_both_unseen_sides_share_is_named_with_its_place(one):
    rgb, _, true = one
    given = true[0].copy()
    given[1] += (60.0, -50.0)
    x, y = given[1]
    said = caught(rgb, given, LETTER, prior(), 3.0, "page", lambda: [], lambda _: 0.0)
    assert isinstance(said, Warning_)
    assert f"drag the top right one (at {x:.0f},{y:.0f} px) onto its corner" in said.message


def test_an_outline_of_other_proportions_on_the_wall_does_not_catch_corners_beside_it(one):
    """A card's dark stripe is found as its head: three sides and the stripe are no card on the wall."""
    rgb, truth, true = one
    bare = np.full_like(rgb, 120)
    stripe = true[0].copy()
    stripe[:2] += 0.2 * (stripe[[3, 2]] - stripe[:2])
    page = find_quads(rgb, (215.9, 279.4), prior(), plain=True, corner_mm=20)[0]
    wall = np.array(truth["rough_corners_px"], float)
    found = [replace(page, corners_px=stripe)]

    def like(quad):
        return likeness(quad, (215.9, 279.4), wall, prior(), 1.0)

    assert caught(bare, true[0], LETTER, prior(), 3.0, "page", lambda: found, like) is true[0]


@pytest.mark.parametrize("said", [Reference("id1"), Reference("given", 150.0, 80.0), Reference("given", 200.0, 180.0)])
def test_a_page_pointed_out_as_something_of_other_proportions_is_not_measured_by(one, said):
    rgb, truth, true = one
    found = solve_page_photo(rgb, asked(truth, reference_corners_px=(true[0],)), said, prior(), "masonry")
    assert isinstance(found, Warning_)
    assert found.code == "reference-size"
    assert "nothing was measured" in found.message


def test_two_pages_pointed_out_as_something_of_other_proportions_are_not_measured_by():
    rgb, truth, true = photo()
    request = asked(truth, reference_corners_px=tuple(true))
    said = solve_page_photo(rgb, request, Reference("given", 200.0, 180.0), prior(), "masonry")
    assert isinstance(said, Warning_)
    assert said.code == "reference-size"
