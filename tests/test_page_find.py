"""Pages and cards found by themselves in renderings of the fixtures, apart from the program."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from vision.pages.find import _among_the_wall, apart, find_quads
from vision.pages.of_photo import _clear, solve_page_photo
from vision.pages.paper import BOTH, alike_all_round, evenness
from vision.priors import camera_prior
from vision.request import PhotoRequest, Reference, Warning_

LETTER = (215.9, 279.4)
X, Y = (20, 120, 220, 320, 420), (40, 140, 240, 540, 640)  # of white bricks, px
RECTANGLE = np.array([[-350.0, -300], [350, -300], [350, 300], [-350, 300]])
PAGES = (
    Sheet(0, (-640.0, -130.0), 1.5, stand_off_mm=0.5, plain="letter", stated_mm=LETTER),
    Sheet(1, (450.0, -90.0), -2.0, stand_off_mm=0.5, plain="letter", stated_mm=LETTER),
)


def camera(width=1024):
    r, t = pose(np.array([30.0, -40.0, 1500.0]), 3.0, -2.0, 0.5)
    f = film_focal_px(26, width, width * 3 // 4)
    return Camera(width, width * 3 // 4, f, (width - 1) / 2, (width * 3 / 4 - 1) / 2, 0.0, 0.0, r, t)


def photo(pages=PAGES, wall=None, width=1024):
    wall = wall or Wall()
    scene = Scene("t", camera(width), Opening(smooth_sides(RECTANGLE)), pages, wall, oversample=1)
    rgb, truth = render(scene)
    return rgb, truth, [np.array(r["corners_px"]) for r in truth["references"]]


def prior(width=1024):
    return camera_prior(camera(width).f_px * 1.02, 0.03, (width, width * 3 // 4), known=True)


def asked(truth, **more):
    return PhotoRequest(Path("p.jpg"), corners_px=np.array(truth["rough_corners_px"]), **more)


@pytest.fixture(scope="module")
def two():
    return photo()


def test_both_pages_on_brick_are_found_and_nothing_else_looks_as_much_like_one(two):
    rgb, truth, true = two
    found = find_quads(rgb, LETTER, prior(), plain=True, corner_mm=20, opening_px=np.array(truth["rough_corners_px"]))
    for q in true:
        assert min(np.abs(f.corners_px - q).max() for f in found[:2]) < 0.5


def test_of_two_outlines_in_one_place_that_with_less_wall_or_better_shape_stays(two):
    """A card with a joint beside it on two sides has its proportions too, and is as clear: seen on a rendered wall."""
    rgb, truth, _true = two
    page = find_quads(rgb, LETTER, prior(), plain=True, corner_mm=20, opening_px=np.array(truth["rough_corners_px"]))[0]
    card = replace(page, rating=0.52, rare=0.93)
    with_joints = replace(
        page, corners_px=np.add(page.corners_px, [[-8, 0], [0, 0], [0, 8], [-8, 8]]), rating=0.57, rare=0.77
    )
    assert apart([with_joints, card], lambda _: 1.0) == [card]
    clearer = replace(with_joints, rating=0.9)
    assert apart([clearer, card], lambda _: 1.0) == [clearer]
    assert apart([clearer, card], lambda q: float(q is card.corners_px)) == [card]


def test_one_brick_of_many_is_no_card_however_much_it_has_its_shape(two):
    rgb, truth, _true = two
    page = find_quads(rgb, LETTER, prior(), plain=True, corner_mm=20, opening_px=np.array(truth["rough_corners_px"]))[0]
    brick, card = replace(page, rating=0.9, rare=0.3), replace(page, rating=0.5, rare=0.95)
    assert _clear([brick, card], Reference("id1"), prior(), "photo.jpg") is card
    said = _clear([brick], Reference("id1"), prior(), "photo.jpg")
    assert isinstance(said, Warning_)
    assert "point out its corners" in said.message


def test_white_bricks_that_look_like_pages_one_after_the_other_are_not_measured_by(two):
    rgb, _, _ = two
    page = find_quads(rgb, LETTER, prior(), plain=True, corner_mm=20)[0]
    drawn = np.full((768, 1024, 3), 150, np.uint8)
    spots = [np.array([[x, y], [x + 40, y], [x + 40, y + 52], [x, y + 52]], float) for x, y in product(X, Y)]
    for q in spots:
        (x0, y0), (x1, y1) = q.min(0).astype(int), q.max(0).astype(int)
        drawn[y0 : y1 + 1, x0 : x1 + 1] = 215
    drawn[300:420, 600:700] = 240
    sheet = np.array([[600.0, 300], [699, 300], [699, 419], [600, 419]])
    told = _among_the_wall(drawn, [replace(page, corners_px=q) for q in (*spots[:3], sheet)], None)
    assert [f.common for f in told] == [True, True, True, False]
    said = _clear(list(told[:3]), Reference("letter"), prior(), "photo.jpg")
    assert isinstance(said, Warning_)
    assert "several things" in said.message
    assert _clear([told[3], told[0]], Reference("letter"), prior(), "photo.jpg") is not told[0]


def test_a_card_on_brick_is_found_by_itself_and_no_brick_is():
    """ISO/IEC 7810: an ID-1 card is 85.60 x 53.98 mm and 0.76 mm thick."""
    size = (85.6, 53.98)
    green = Sheet(0, (-520.0, -30.0), 1.5, page_mm=size, plain="id1", stated_mm=size, colour=(0.05, 0.28, 0.12))
    rgb, truth, (true,) = photo((replace(green, thick_mm=0.76),), width=1280)
    opening = np.array(truth["rough_corners_px"])
    candidates = find_quads(rgb, size, prior(1280), plain=False, corner_mm=5, opening_px=opening)
    (found,) = apart(candidates, lambda _: 1.0)
    assert np.abs(found.corners_px - true).max() < 1.0
    assert found.rare > 0.9


def test_without_any_click_two_pages_are_solved_together(two):
    rgb, truth, _true = two
    solved = solve_page_photo(rgb, asked(truth), Reference("letter"), prior(), "masonry")
    assert len(solved.names) == 2
    assert solved.warnings == ()


def test_a_second_page_joins_the_one_that_was_pointed_out(two):
    rgb, truth, true = two
    request = asked(truth, reference_corners_px=(true[1] + [[2, -3], [1, 3], [-3, 2], [0, -2]],))
    solved = solve_page_photo(rgb, request, Reference("letter"), prior(), "masonry")
    assert len(solved.names) == 2
    assert np.abs(solved.outlines_px[0] - true[1]).max() < 1.0


def test_two_pages_that_were_pointed_out_are_traced_and_no_third_is_looked_for():
    third = Sheet(2, (-640.0, 250.0), 1.0, stand_off_mm=0.5, plain="letter", stated_mm=LETTER)
    rgb, truth, true = photo((*PAGES, third))
    off = np.array([[2.0, -3], [1, 3], [-3, 2], [0, -2]])
    request = asked(truth, reference_corners_px=tuple(quad + off for quad in true[:2]))
    solved = solve_page_photo(rgb, request, Reference("letter"), prior(), "masonry")
    assert len(solved.names) == 2
    for outline, quad in zip(solved.outlines_px, true[:2], strict=True):
        assert np.abs(outline - quad).max() < 1.0


def test_corners_as_clicked_are_not_traced(two):
    rgb, truth, true = two
    request = asked(truth, trace=False, reference_corners_px=(true[0],))
    solved = solve_page_photo(rgb, request, Reference("letter"), prior(), "masonry")
    assert solved.noise_px == request.click_px


def test_a_white_page_on_a_white_wall_is_found():
    pages = tuple(replace(p, colour=(0.82, 0.82, 0.81)) for p in PAGES)
    rgb, truth, _true = photo(pages, Wall("stucco", colour=(0.66, 0.65, 0.63)))
    solved = solve_page_photo(rgb, asked(truth), Reference("letter"), prior(), "render")
    assert not isinstance(solved, Warning_)
    assert len(solved.names) == 2


def test_a_wall_without_a_page_is_said_to_have_none():
    rgb, truth, _ = photo(())
    said = solve_page_photo(rgb, asked(truth), Reference("letter"), prior(), "masonry")
    assert isinstance(said, Warning_)
    assert said.code == "no-reference"
    assert "point out its corners" in said.message


def test_a_page_half_in_shadow_is_as_even_as_a_lit_one():
    pages = tuple(replace(p, shade_from_mm=20.0) for p in PAGES)
    rgb, _, true = photo(pages)
    assert evenness(rgb, true[0]) > 0.5


def test_a_board_between_page_and_trim_is_brighter_and_darker_than_what_lies_beside_it():
    wall = np.full((300, 400, 3), 140, np.uint8)
    quad = np.array([[150.0, 80], [250, 80], [250, 210], [150, 210]])
    page, board = wall.copy(), wall.copy()
    page[80:211, 150:251] = 225
    board[:, :150], board[:, 251:], board[60:80], board[211:230] = 230, 225, 90, 90
    assert alike_all_round(page, quad) == 1
    assert alike_all_round(255 - page, quad) == 1
    assert alike_all_round(board, quad) == BOTH
