"""A card of which its own stripe was taken for a side, drawn with known corners."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.page_sides.coded import with_line
from vision.page_sides.traced import trace_quad
from vision.pages.of_photo import solve_page_photo
from vision.pages.one_side import mended
from vision.pages.plane import likeness
from vision.priors import camera_prior
from vision.request import PhotoRequest, Reference, Warning_

ID1 = (85.60, 53.98)  # ISO/IEC 7810
SIZE = (960, 720)
LEFT_OUT = (0.05, 0.08)
PX = 1.2  # a mm
OPENING = np.array([[420.0, 120], [880, 120], [880, 640], [420, 640]])
CARD = np.array([[150.0, 300], [150 + 85.6 * PX, 300], [150 + 85.6 * PX, 300 + 53.98 * PX], [150, 300 + 53.98 * PX]])
STRIPE = (6.0, 14.0)  # px under its head
WALL_COLOUR = (150, 140, 118)


def drawn(stripe=True, colour=(60, 60, 80), to=STRIPE[1]):
    """Return a photo square on: a card of 103 x 65 px on a wall, drawn four times finer."""
    fine = 4
    picture = np.full((SIZE[1] * fine, SIZE[0] * fine, 3), WALL_COLOUR, np.float32)

    def fill(left, top, right, bottom, colour):
        a, b, c, d = (round((v + 0.5) * fine) for v in (left, top, right, bottom))
        picture[b:d, a:c] = colour

    fill(*CARD[0], *CARD[2], (120, 122, 175))
    if stripe:
        fill(CARD[0, 0], CARD[0, 1] + STRIPE[0], CARD[2, 0], CARD[0, 1] + to, colour)
    small = cv2.resize(picture, SIZE, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 0.7) + np.random.default_rng(1).normal(0, 1.0, small.shape)
    return np.clip(np.rint(small), 0, 255).astype(np.uint8)


def prior():
    return camera_prior(800.0, 0.03, SIZE, known=True)


def like(quad):
    return likeness(quad, ID1, OPENING, prior(), 1.0)


def with_side(i, off):
    """Return the card's corners with one side moved inward."""
    a, b = CARD[i], CARD[(i + 1) % 4]
    normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
    return with_line(CARD, i, np.array([*normal, normal @ a - off]))


def test_the_head_is_found_where_the_stripe_was_taken_for_it():
    rgb = drawn()
    traced = trace_quad(rgb, with_side(0, STRIPE[1]), 2.0, LEFT_OUT)
    assert traced is not None
    assert np.abs(traced.corners_px - with_side(0, STRIPE[1])).max() < 1  # the stripe's lower edge
    assert like(traced.corners_px) < 0.05
    other = mended(rgb, traced, LEFT_OUT, ID1, OPENING, prior(), like)
    assert other is not None
    assert np.abs(other.corners_px - CARD).max() < 0.5
    assert like(other.corners_px) > 0.9


@pytest.mark.parametrize("i", [1, 3])
def test_no_side_is_supposed_where_the_photo_shows_no_line(i):
    rgb = drawn(stripe=False)
    traced = trace_quad(rgb, CARD, 2.0, LEFT_OUT)
    assert traced is not None
    bare = np.full_like(rgb, 140)
    cut = with_side(i, 16.0)
    moved = type(traced)(cut, traced.sides, traced.blur_px)
    assert mended(bare, moved, LEFT_OUT, ID1, OPENING, prior(), like) is None


@pytest.mark.parametrize("to", [12.0, 16.0])
def test_a_card_whose_stripe_looks_like_the_wall_is_measured_by_its_head(to):
    rgb = drawn(colour=WALL_COLOUR, to=to)
    asked = PhotoRequest(Path("p.jpg"), corners_px=OPENING)
    solved = solve_page_photo(rgb, asked, Reference("id1"), prior(), "masonry")
    assert not isinstance(solved, Warning_), solved.message
    assert np.abs(solved.outlines_px[0] - CARD).max() < 0.5


def test_what_ends_below_a_cards_head_and_has_none_is_named_and_not_guessed():
    pane = with_side(0, 16.0)
    rgb = drawn(stripe=False)
    rgb[: round(pane[0, 1])] = np.random.default_rng(2).normal(WALL_COLOUR, 1.0, rgb[: round(pane[0, 1])].shape)
    asked = PhotoRequest(Path("p.jpg"), corners_px=OPENING)
    said = solve_page_photo(rgb, asked, Reference("id1"), prior(), "masonry")
    assert isinstance(said, Warning_)
    x, y = pane.mean(0)
    assert f"what looks like a card in p.jpg, at {x:.0f},{y:.0f} px, has other proportions" in said.message


def pointed(colour, quad):
    """Return what is made of a photo whose card has a stripe of that colour, its corners pointed out at `quad` px."""
    rgb = drawn(colour=colour, to=12.0)
    asked = PhotoRequest(Path("p.jpg"), corners_px=OPENING, reference_corners_px=(quad,), click_px=8.0)
    return solve_page_photo(rgb, asked, Reference("id1"), prior(), "masonry")


@pytest.mark.parametrize("moved", [0.0, 2.0, -2.0])
def test_a_card_pointed_out_is_measured_by_its_head_where_its_stripe_is_the_stronger_line(moved):
    solved = pointed((20, 20, 30), CARD + moved)
    assert not isinstance(solved, Warning_), solved.message
    assert np.abs(solved.outlines_px[0] - CARD).max() < 0.5


def test_of_two_sides_that_would_fit_the_one_a_person_pointed_at_is_taken():
    """A card cut by its stripe, and a second line as far beyond its foot as the head lies off: which is the card?"""
    rgb = drawn()
    beyond = round(CARD[2, 1] + STRIPE[1])
    rgb[beyond : beyond + 2, 140:265] = (100, 95, 80)
    traced = trace_quad(rgb, with_side(0, STRIPE[1]), 2.0, LEFT_OUT)
    assert traced is not None
    other = mended(rgb, traced, LEFT_OUT, ID1, OPENING, prior(), like, (CARD + 1.0, 2.0))
    assert other is not None
    assert np.abs(other.corners_px - CARD).max() < 0.5
    assert mended(rgb, traced, LEFT_OUT, ID1, OPENING, prior(), like, (CARD + 60.0, 2.0)) is None
