"""Facts about finding an opening with trim, or with rows that mislead, on drawn walls whose edges are known exactly."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.test_opening import (
    BRICK,
    GLASS,
    HIGH,
    LOW,
    OPENING,
    PER_PX,
    SHADE,
    SHEETS,
    WHITE,
    camera,
    fill,
    found,
    frame_seen,
    opening,
    photo,
    wall,
)
from vision.camera import back_project
from vision.finder.arris_snap import snap
from vision.finder.found import doubt
from vision.finder.outline import Jambs, find_jambs
from vision.finder.side_steps import Steps
from vision.finder.trim_steps import NOT_ALIKE, trim_jambs
from vision.finder.wall_mask import PITCH_MM, view_wall
from vision.request import Warning_
from vision.sides.tracing import trace_sides

BOARD, LAP = (110.0, 135.0, 150.0), (60.0, 75.0, 85.0)
TRIM_MM = 100.0


def siding():
    """Boards of 150 mm, a shadow of 10 mm under each lap."""
    w, h = ((HIGH - LOW) / PER_PX).astype(int)
    y = LOW[1] + PER_PX * np.arange(h)
    drawn = np.empty((h, w, 3))
    drawn[:] = np.where((y % 150 < 10)[:, None], LAP, BOARD)[:, None]
    return drawn


def trimmed(drawn, cam, left_reveal=SHADE):
    """Draw an opening with trim; its left reveal in one colour, the others in shade."""
    around = OPENING + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * TRIM_MM
    fill(drawn, around, WHITE)
    opening(drawn, cam)
    seen = frame_seen(cam, OPENING, 80.0)
    fill(drawn, np.array([OPENING[0], seen[0], seen[3], OPENING[3]]), left_reveal)


def jambs_off_mm(cam, got):
    return np.abs(back_project(cam, got, 0.0) - OPENING)[:, 0].max()


def test_the_inner_edge_of_a_trim_is_found():
    drawn, cam = siding(), camera()
    trimmed(drawn, cam)
    got = found(drawn, cam, "siding")
    assert not isinstance(got, Warning_), got
    assert jambs_off_mm(cam, got) < 12.0


def test_an_edge_that_the_sun_wipes_out_is_taken_at_the_other_sides_width():
    """White trim, white reveal in the sun: the first step behind the trim's outer side is the frame's."""
    drawn, cam = siding(), camera(x=300.0)
    trimmed(drawn, cam, left_reveal=WHITE)
    fill(drawn, frame_seen(cam, OPENING, 80.0), (120.0, 60.0, 50.0))
    inner = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) * 60.0
    fill(drawn, frame_seen(cam, OPENING, 80.0) + inner, GLASS)
    got = found(drawn, cam, "siding")
    assert not isinstance(got, Warning_), got
    assert jambs_off_mm(cam, got) < 12.0  # the frame is seen 24 mm further in


@pytest.mark.parametrize(("left", "right", "groove"), [(85, 110, 0), (110, 85, 0), (100, 100, 60), (100, 100, 50)])
def test_trims_of_two_widths_or_with_a_groove_are_asked_about_if_not_found(left, right, groove):
    drawn, cam = siding(), camera()
    around = OPENING + np.array([[-left, -100.0], [right, -100.0], [right, 100.0], [-left, 100.0]])
    fill(drawn, around, WHITE)
    if groove:
        (x0, y0), x1, y1 = around[0], OPENING[0, 0], around[2, 1]
        fill(drawn, np.array([[x0 + groove, y0], [x1, y0], [x1, y1], [x0 + groove, y1]]), (188.0, 188.0, 184.0))
    opening(drawn, cam)
    got = found(drawn, cam, "siding")
    if not isinstance(got, Warning_) and jambs_off_mm(cam, got) > 12.0:
        depth = dict.fromkeys(("head", "right", "sill", "left"), 0.0)
        traces = trace_sides(photo(drawn, cam), cam, got, 3.0, depth, "siding", "front")
        assert doubt(cam, got, traces) is not None


def test_courses_that_seem_to_stop_above_a_trim_do_not_hide_its_edge():
    """Boards without laps over the trim's head: the region unlike the wall is twice as high as the trim there."""
    drawn, cam = siding(), camera()
    x0, x1 = OPENING[0, 0] - TRIM_MM, OPENING[1, 0] + TRIM_MM
    fill(drawn, np.array([[x0, -1200.0], [x1, -1200.0], [x1, -700.0], [x0, -700.0]]), (90.0, 140.0, 110.0))
    trimmed(drawn, cam)
    got = found(drawn, cam, "siding")
    assert not isinstance(got, Warning_), got
    assert jambs_off_mm(cam, got) < 12.0


def steps(*places):
    """Steps (mm outward, size in Lab) along one side."""
    at, size = np.array(places, float).T
    n = len(at)
    return Steps(at, np.zeros(n), size, np.zeros((n, 3)), 500.0)


def test_widths_alike_left_and_right_are_a_trim():
    lines = {"left": steps((0, 40), (-90, 30), (-130, 50)), "right": steps((2, 40), (-92, 35), (-110, 50))}
    assert trim_jambs(lines) == {"left": (-90.0, 0.0), "right": (-92.0, 0.0)}


def test_the_narrower_clear_width_leads_where_the_other_side_shows_only_its_frame():
    lines = {"left": steps((1, 40), (-140, 50)), "right": steps((0, 40), (-105, 60))}
    assert trim_jambs(lines) == {"right": (-105.0, 0.0), "left": (pytest.approx(-104.0), 0.0)}


def test_a_region_that_ends_without_a_step_of_colour_ends_there_all_the_same():
    lines = {"left": steps((1, 40), (-140, 50)), "right": steps((-105, 60), (-170, 30))}
    assert trim_jambs(lines) == {"right": (-105.0, 0.0), "left": (pytest.approx(-104.0), 0.0)}


def test_widths_are_told_from_the_same_outer_edge_on_both_sides():
    """The trim's shadow beside its outer edge made it 20 mm narrower, and the other jamb 20 mm off."""
    lines = {"left": steps((0, 40), (-140, 50)), "right": steps((0, 40), (-20, 30), (-105, 60))}
    assert trim_jambs(lines) == {"right": (-105.0, 0.0), "left": (-105.0, 0.0)}


def test_frames_alike_behind_an_edge_seen_on_one_side_only_are_not_the_trim():
    lines = {"left": steps((1, 40), (-150, 50)), "right": steps((0, 40), (-105, 60), (-152, 50))}
    assert trim_jambs(lines) == {"right": (-105.0, 0.0), "left": (pytest.approx(-104.0), 0.0)}


def test_without_an_edge_on_the_other_side_nothing_is_taken():
    bare = steps((0, 40))
    assert trim_jambs({"left": steps((1, 40), (-100, 50)), "right": bare}) == NOT_ALIKE
    assert trim_jambs({"left": steps((1, 40)), "right": bare}) == NOT_ALIKE


def test_a_region_fills_more_rows_than_its_border_is_straight_in():
    mask = np.zeros((300, 400), np.uint8)
    mask[40:260, 120:280] = 1
    ragged = np.random.default_rng(2).integers(20, 90, (140, 2))
    for row, (left, right) in enumerate(ragged):  # something unlike the wall beside both jambs
        mask[120 + row, 120 - left : 280 + right] = 1
    (got,) = find_jambs(mask, np.ones_like(mask))
    assert got.rows[1] < 130
    assert got.filled == pytest.approx((39.5, 259.5), abs=1)


def view_of(drawn, cam):
    view = view_wall(photo(drawn, cam), cam, np.concatenate(SHEETS))
    return view, (cam.centre_mm()[:2] - view.origin_mm) / PITCH_MM


def jambs_at(border, rows):
    lines = [np.polyfit(border[i, 1], border[i, 0] + k, 1) for i, k in (([0, 3], -0.5), ([1, 2], 0.5))]
    return Jambs(*lines, rows)


def test_where_the_first_rows_show_no_jamb_those_that_are_filled_are_tried():
    drawn, cam = wall(), camera()
    opening(drawn, cam)
    view, foot = view_of(drawn, cam)
    border = (OPENING - view.origin_mm) / PITCH_MM
    other = np.zeros_like(view.valid)
    cv2.fillConvexPoly(other, np.rint(border).astype(np.int32), 1)
    above = jambs_at(border, (border[0, 1] - 70, border[0, 1] - 10))
    assert isinstance(snap(view, above, foot, 2600.0, other, trimmed=False), str)
    whole = replace(above, filled=(border[0, 1], border[2, 1]))
    got = snap(view, whole, foot, 2600.0, other, trimmed=False)
    assert np.abs(got * PITCH_MM + view.origin_mm - OPENING).max() < 10.0


@pytest.mark.parametrize(("depth", "taken"), [(200.0, True), (300.0, False)])
def test_an_arris_is_led_as_far_out_as_a_reveal_can_be_seen(depth, taken):
    """71 mm of a reveal of 200 mm are seen from a metre beside it; one of 300 mm is deeper than reveals are."""
    drawn, cam = wall(), camera(x=-495.0)
    opening(drawn, cam, depth=depth, reveal=(120.0, 68.0, 52.0))
    view, foot = view_of(drawn, cam)
    border = (frame_seen(cam, OPENING, depth) - view.origin_mm) / PITCH_MM
    other = np.zeros_like(view.valid)
    cv2.fillConvexPoly(other, np.rint(border).astype(np.int32), 1)
    got = snap(view, jambs_at(border, (border[0, 1], border[2, 1])), foot, 2600.0, other, trimmed=False)
    right = not isinstance(got, str) and np.abs(got * PITCH_MM + view.origin_mm - OPENING).max() < 12.0
    assert right == taken


def test_nor_is_it_led_further_by_a_step_within_the_reveal():
    drawn, cam = wall(), camera(x=-495.0)
    opening(drawn, cam, depth=300.0, reveal=(120.0, 68.0, 52.0))
    fill(drawn, np.array([[450.0, -600.0], [500.0, -600.0], [500.0, 600.0], [450.0, 600.0]]), (95.0, 95.0, 52.0))
    view, foot = view_of(drawn, cam)
    border = (frame_seen(cam, OPENING, 300.0) - view.origin_mm) / PITCH_MM
    other = np.zeros_like(view.valid)
    cv2.fillConvexPoly(other, np.rint(border).astype(np.int32), 1)
    got = snap(view, jambs_at(border, (border[0, 1], border[2, 1])), foot, 2600.0, other, trimmed=False)
    assert got == "its jambs lie far outside of where the wall seems to end"


def test_the_rows_of_a_trim_are_told_by_its_own_step():
    """Of the rows where the region's border was straight 20 lie above the trim, 20 beside its head, 30 below."""
    drawn, cam = siding(), camera()
    trimmed(drawn, cam)
    view, foot = view_of(drawn, cam)
    border = (OPENING + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * TRIM_MM - view.origin_mm) / PITCH_MM
    top = border[0, 1] + TRIM_MM / PITCH_MM
    got = snap(view, jambs_at(border, (top - 40, top + 30)), foot, 2600.0, np.zeros_like(view.valid), trimmed=True)
    assert not isinstance(got, str), got
    assert np.abs(got * PITCH_MM + view.origin_mm - OPENING)[:, 0].max() < 12.0


@pytest.mark.parametrize(("kind", "answered"), [("masonry", True), ("siding", False)])
def test_where_courses_stop_beside_the_jambs_colour_alone_finds_them(kind, answered):
    """Plain patches in the colour of the bricks at both jambs; with trim that colour may be the frame's only."""
    drawn, cam = wall(), camera()
    rng = np.random.default_rng(4)
    for y in np.arange(-700.0, 700.0, 90.0):
        left, right = rng.uniform(60, 420, 2)
        fill(drawn, np.array([[-500 - left, y], [500 + right, y], [500 + right, y + 90], [-500 - left, y + 90]]), BRICK)
    opening(drawn, cam)
    got = found(drawn, cam, kind)
    assert isinstance(got, Warning_) != answered
    if answered:
        assert jambs_off_mm(cam, got) < 12.0
