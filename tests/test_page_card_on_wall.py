"""Cards on walls that they resemble in part, in renderings of the fixtures, apart from the program."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fixtures.calibration import draw_scene
from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.exif import write_photo
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from vision.estimate import estimate_opening
from vision.pages.of_photo import solve_page_photo
from vision.pages.rarity import colours, rarity_outside
from vision.priors import camera_prior
from vision.request import Estimate, OpeningRequest, PhotoRequest, Reference
from vision.solving.solved import Solved

ID1 = (85.60, 53.98)  # ISO/IEC 7810
WHITE, GREY_STRIPE = (0.70, 0.70, 0.68), (0.175, 0.175, 0.17)  # linear; the renderer's stripe is a quarter of its card
RECTANGLE = np.array([[-350.0, -300], [350, -300], [350, 300], [-350, 300]])
SIDING = Wall("siding", (2400.0, 120.0, 4.0), colour=(0.22, 0.28, 0.33), trim_mm=90.0)
BRICK = Wall(colour=(0.14, 0.06, 0.045), mortar=GREY_STRIPE)
WIDTH = 1600


def photo(wall, at_mm):
    r, t = pose(np.array([30.0, -40.0, 1500.0]), 3.0, -2.0, 0.5)
    size = WIDTH, WIDTH * 3 // 4
    f = film_focal_px(26, *size)
    view = Camera(*size, f, (size[0] - 1) / 2, (size[1] - 1) / 2, 0.0, 0.0, r, t)
    card = Sheet(0, at_mm, 1.0, page_mm=ID1, plain="id1", stated_mm=ID1, colour=WHITE)
    rgb, truth = render(Scene("t", view, Opening(smooth_sides(RECTANGLE)), (card,), wall, oversample=1))
    return rgb, np.array(truth["rough_corners_px"]), np.array(truth["references"][0]["corners_px"])


@pytest.mark.parametrize(
    ("wall", "kind", "at_mm"),
    [(SIDING, "siding", (-640.0, -60.0)), (BRICK, "masonry", (-640.0, -128.0)), (BRICK, "masonry", (-640.0, -68.0))],
)
def test_a_white_card_is_found_though_trims_are_as_white_and_joints_as_grey_as_its_stripe(wall, kind, at_mm):
    rgb, opening, true = photo(wall, at_mm)
    prior = camera_prior(film_focal_px(26, WIDTH, WIDTH * 3 // 4) * 1.01, 0.03, (WIDTH, WIDTH * 3 // 4), known=True)
    solved = solve_page_photo(rgb, PhotoRequest(Path("p.jpg"), corners_px=opening), Reference("id1"), prior, kind)
    assert isinstance(solved, Solved), solved
    found = solved.outlines_px[0]
    assert min(np.abs(np.roll(found, k, axis=0) - true).max() for k in range(4)) < 1.0


def patched():
    """Return a grey picture: an opening of 100 px, white boards about it, a white card of 40 x 25 px far off."""
    rgb = np.full((300, 600, 3), 120, np.uint8)
    rgb[80:220, 380:520] = 240
    rgb[100:200, 400:500] = 30
    rgb[150:175, 60:100] = 240
    opening = np.array([[399.5, 99.5], [499.5, 99.5], [499.5, 199.5], [399.5, 199.5]])
    card = np.array([[60.0, 150], [99, 150], [99, 174], [60, 174]])
    return colours(rgb), opening, card


def test_white_boards_about_the_opening_make_a_white_card_far_off_no_less_rare():
    """Oracle: pixels counted by hand. 1000 of the card, 9600 of the boards, 20 px wide, in the surround's 75 px."""
    seen, opening, card = patched()
    apart, together = (rarity_outside(seen, 1.0, opening, size)(card) for size in (ID1, None))
    assert apart == pytest.approx(1.0)
    assert together == pytest.approx(1 / (1 + 0.5 * 9600 / 1000), rel=0.02)


def test_what_lies_in_the_surround_is_as_rare_as_the_surround_makes_it():
    """A piece of the boards is like the boards: 600 px of them, 10 000 as white elsewhere."""
    seen, opening, _ = patched()
    piece = np.array([[382.0, 110], [397, 110], [397, 147], [382, 147]])
    rare = rarity_outside(seen, 1.0, opening, ID1)(piece)
    assert rare < 0.15


def test_an_opening_of_which_a_corner_is_out_of_view_leaves_nothing_out():
    seen, opening, card = patched()
    opening[2] = np.nan
    rare = rarity_outside(seen, 1.0, opening, ID1)(card)
    assert rare == pytest.approx(rarity_outside(seen, 1.0, None)(card))


def test_a_card_is_no_page_because_paper_would_bend_to_its_unsure_foot(tmp_path):
    """It was refused as Letter, which fits its bowed sides better: only a page is given leave to bulge."""
    rgb, truth = render(draw_scene(28, 2479, 1, "brick", reference="id1"))
    rough = (np.array(truth["references"][0]["rough_corners_px"]),)
    corners = np.array(truth["rough_corners_px"])
    pointed = PhotoRequest(write_photo(tmp_path, "p", rgb, truth), corners_px=corners, reference_corners_px=rough)
    answer = estimate_opening(OpeningRequest((pointed,), "masonry", Reference("id1")))
    assert isinstance(answer, Estimate), answer.why
    (_, seen) = answer.photos[0].references_px[0]
    assert np.abs(seen - truth["references"][0]["corners_px"]).max() < 1.5  # drawn where it is, not as it looks alone
