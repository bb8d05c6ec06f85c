"""Outlines of even regions, their groups and the rarity of their colours, on drawn pictures of known corners."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.pages.masks import masks
from vision.pages.paper import evenness, evennesses
from vision.pages.quads import fitted, outline_groups
from vision.pages.rarity import beside, colours, rarities, rarity

PAGE = np.array([[301.0, 150], [399, 157], [393, 292], [297, 286]])
INSIDE = np.array(
    [[(1 - a) * (1 - b), a * (1 - b), a * b, (1 - a) * b] for a in (0.2, 0.5, 0.8) for b in (0.2, 0.5, 0.8)]
)


def bricks(seed=1):
    """Return a picture (450, 600, 3) of red bricks of 60 x 20 px, a mortar of 4 px and some grain."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:450, :600]
    row = y // 20
    mortar = (y % 20 < 4) | ((x + 30 * (row % 2)) % 60 < 4)
    tone = rng.uniform(0.8, 1.2, (40, 40))[row, (x + 30 * (row % 2)) // 60]
    rgb = np.where(mortar[..., None], [170.0, 165, 155], tone[..., None] * [140, 70, 50])
    return np.clip(rgb + rng.normal(0, 4, rgb.shape), 0, 255).astype(np.uint8)


def drawn(colour, quad=PAGE):
    """Return the bricks with a quadrilateral of a colour on them, its sides smooth."""
    rgb = bricks()
    inside = np.zeros((450 * 8, 600 * 8), np.uint8)
    cv2.fillPoly(inside, [np.rint((quad + 0.5) * 8).astype(np.int32)], 255)
    share = cv2.resize(inside, (600, 450), interpolation=cv2.INTER_AREA)[..., None] / 255.0
    return np.asarray(np.rint(rgb * (1 - share) + share * np.array(colour, float)), np.uint8)


def every(quads):
    return np.ones(len(quads), bool)


def size(quad):
    return float(np.sqrt(cv2.contourArea(quad.astype(np.float32))))


def of_page(levels, *, coloured=False):
    """Return the groups, and of them the one whose first outline is nearest to the page."""
    groups = outline_groups(drawn((235, 234, 230)), 8.0, every, every, levels, coloured=coloured)
    return groups, min(groups, key=lambda g: float(np.abs(g[0].rough - PAGE).max()))


def test_what_many_masks_show_is_one_group_and_its_lines_are_fitted():
    groups, page = of_page(5)
    assert len(page) >= 4
    assert [len(g) for g in groups] == sorted((len(g) for g in groups), reverse=True)
    assert np.abs(np.median(fitted(page), axis=0) - PAGE).max() < 1.5


def test_a_group_however_large_is_fitted_a_few_times():
    _, page = of_page(40, coloured=True)
    assert len(page) > 20
    assert len(fitted(page)) <= 6


def test_what_is_not_likely_is_left_out_before_it_is_grouped():
    assert outline_groups(drawn((235, 234, 230)), 8.0, lambda q: np.zeros(len(q), bool), every) == []


def test_a_faint_hue_gives_no_mask_twice():
    grey = np.full((60, 80, 3), 128, np.uint8)
    grey[20:40, 20:60] = 131
    seen = [m.tobytes() for m, _ in masks(grey, 10, coloured=True)]
    assert len(seen) < 30  # four channels of ten levels, eight adaptive masks and two of edges would be 50


def test_a_card_has_colours_of_its_own_and_a_brick_those_of_the_wall():
    seen = colours(drawn((20, 90, 40)))
    brick = np.array([[95.0, 105], [148, 105], [148, 119], [95, 119]])
    assert rarity(seen, PAGE) > 0.9
    assert rarity(seen, brick) < 0.2
    quick = rarities(seen, INSIDE @ np.array([PAGE, brick]), np.array([size(PAGE) ** 2, size(brick) ** 2]))
    assert quick[0] > 0.8
    assert quick[1] < 0.3


def test_a_frame_of_the_cards_colour_in_the_opening_does_not_make_the_card_common():
    rgb = drawn((20, 90, 40))
    rgb[200:420, 60:240] = (20, 90, 40)
    opening = np.array([[55.0, 195], [245, 195], [245, 425], [55, 425]])
    assert rarity(beside(colours(rgb), opening), PAGE) > 0.9
    assert rarity(beside(colours(rgb), None), PAGE) < 0.5


@pytest.mark.parametrize("colour", [(235, 234, 230), (140, 70, 50)])
def test_evenness_of_many_tells_the_same_as_that_of_one(colour):
    rgb = drawn(colour)
    assert evennesses(rgb, INSIDE @ PAGE[None])[0] == pytest.approx(evenness(rgb, PAGE), abs=0.3)


def test_half_a_page_in_shadow_is_even_at_first_sight_too():
    rgb = drawn((235, 234, 230))
    rgb[:, 350:] = (rgb[:, 350:] * 0.6).astype(np.uint8)
    assert evennesses(rgb, INSIDE @ PAGE[None])[0] > 0.5
