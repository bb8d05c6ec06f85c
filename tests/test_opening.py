"""Facts about finding the opening without corners, on drawn walls whose edges are known exactly."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from vision.camera import Camera, back_project, project
from vision.finder.arris_snap import snap
from vision.finder.opening import find_openings
from vision.finder.outline import Jambs, find_jambs, square
from vision.finder.side_steps import steps_along
from vision.finder.wall_mask import PITCH_MM, WallView, unlike_wall, view_wall
from vision.finder.wall_pattern import agreement, level_rad, where_courses_stop
from vision.request import Warning_

PRACTICE = Path(__file__).parents[2] / "shared" / "practice"
BRICK, JOINT = (150.0, 85.0, 65.0), (190.0, 185.0, 175.0)
SHADE, GLASS, WHITE = (70.0, 40.0, 32.0), (25.0, 30.0, 38.0), (235.0, 235.0, 230.0)
LOW, HIGH = np.array([-1500.0, -1300.0]), np.array([1500.0, 1200.0])
PER_PX = 2.5  # mm a pixel of the drawn wall
SIDE = np.array([[1100.0, -110.0], [1300.0, -110.0], [1300.0, 150.0], [1100.0, 150.0]])
SHEETS = (SIDE - [2400.0, -60.0], SIDE)
OPENING = np.array([[-500.0, -600.0], [500.0, -600.0], [500.0, 600.0], [-500.0, 600.0]])


def camera(x=100.0, y=0.0, away=2600.0):
    """Return a camera that looks straight at the wall from (x, y): pinhole, 1600 x 1200."""
    return Camera(np.eye(3), np.array([-x, -y, away]), 1200.0, 800.0, 600.0)


def wall():
    """Return bricks in running bond, 225 x 75 mm with joints of 10 mm (UK brick, facts of the trade)."""
    w, h = ((HIGH - LOW) / PER_PX).astype(int)
    x, y = np.meshgrid(LOW[0] + PER_PX * np.arange(w), LOW[1] + PER_PX * np.arange(h))
    course = np.floor(y / 75).astype(int)
    along = x + 112.5 * (course % 2)
    brick = np.floor(along / 225).astype(int)
    shade = np.random.default_rng(3).uniform(0.85, 1.15, (64, 64))[course % 64, brick % 64]
    drawn = np.array(BRICK) * shade[..., None]
    joint = (y % 75 < 10) | (along % 225 < 10)
    drawn[joint] = JOINT
    return drawn


def fill(drawn, corners, colour):
    cv2.fillPoly(drawn, [np.rint((corners - LOW) / PER_PX).astype(np.int32)], colour)


def frame_seen(cam, corners, depth):
    """Return where the corners of a frame `depth` mm behind the edges appear in the plane of the wall."""
    foot, away = cam.centre_mm()[:2], -cam.centre_mm()[2]
    return foot + (corners - foot) * away / (away + depth)


def opening(drawn, cam, corners=OPENING, depth=80.0, reveal=SHADE):
    """Draw an opening: reveal in one colour (None: as the wall), a white frame of 60 mm, glass."""
    seen = frame_seen(cam, corners, depth)
    if reveal is not None:
        fill(drawn, corners, reveal)
    else:  # lit like the wall, a little darker, with joints of its own
        inner = np.array(BRICK) * 0.82
        fill(drawn, corners, inner.tolist())
        for y in np.arange(corners[:, 1].min(), corners[:, 1].max(), 75.0):
            fill(drawn, np.array([[-1, y], [1, y], [1, y + 10], [-1, y + 10]]) * [corners[1, 0], 1.0], JOINT)
    fill(drawn, seen, WHITE)
    inwards = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) * 60.0
    fill(drawn, seen + inwards, GLASS)


def photo(drawn, cam, sheets=SHEETS):
    """Return the photo (1200, 1600, 3) of the drawn wall with its sheets as grey chequers; blur 0.8 px, noise."""
    for sheet in sheets:
        fill(drawn, sheet, WHITE)
        for k in range(3):
            fill(
                drawn,
                sheet * 0 + sheet.mean(0) + (sheet - sheet.mean(0)) * 0.2 + [0, 80.0 * (k - 1)],
                (20.0, 20.0, 20.0),
            )
    v, u = np.mgrid[0:1200, 0:1600]
    x, y, away = cam.centre_mm() * [1, 1, -1]
    at = np.dstack([(u - cam.cx) * away / cam.focal_px + x, (v - cam.cy) * away / cam.focal_px + y])  # looks straight
    at = ((at - LOW) / PER_PX).astype(np.float32)
    seen = cv2.remap(drawn.astype(np.float32), at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    noisy = cv2.GaussianBlur(seen, (0, 0), 0.8) + np.random.default_rng(1).normal(0, 2, seen.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def found(drawn, cam, kind="masonry", sheets=SHEETS):
    patterns = [s.mean(0) + (s - s.mean(0)) * [180 / 200, 240 / 260] for s in sheets]  # the paper has a white rim
    outlines = [project(cam, np.column_stack([s, np.zeros(4)])) for s in patterns]
    return find_openings(photo(drawn, cam, sheets), cam, outlines, kind)


def error_mm(cam, got, corners=OPENING):
    return np.abs(back_project(cam, got, 0.0) - corners).max()


def test_the_opening_between_the_sheets_is_found():
    drawn, cam = wall(), camera()
    opening(drawn, cam)
    got = found(drawn, cam)
    assert not isinstance(got, Warning_), got
    assert error_mm(cam, got) < 12.0  # contract: clicks are off by up to 15 px at 12 MP, here 15 mm


@pytest.mark.parametrize("beside", [35.0, 60.0])
def test_sides_of_sheets_that_hang_in_line_beside_the_jamb_are_no_jamb(beside):
    drawn, cam = wall(), camera()
    opening(drawn, cam)
    x, sheet = 500.0 + beside, np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 260.0], [0.0, 260.0]])
    right = [sheet + np.array([x, y]) for y in (-520.0, -230.0, 60.0)]
    got = found(drawn, cam, sheets=(*right, *(s * [-1, 1] for s in right)))
    assert not isinstance(got, Warning_), got
    assert error_mm(cam, got) < 12.0


def test_the_opening_between_sheets_above_and_below_it_is_found_with_a_soldier_course_over_it():
    """Beside the sheets no courses are seen at the height of the opening: the wall left and right of it shows them."""
    drawn, cam = wall(), camera()
    fill(drawn, np.array([[-600.0, -520], [600, -520], [600, -295], [-600, -295]]), BRICK)
    for x in np.arange(-600.0, 600.0, 75.0):
        fill(drawn, np.array([[x, -520], [x + 10, -520], [x + 10, -295], [x, -295]]), JOINT)
    low = OPENING * [1.0, 0.5]
    opening(drawn, cam, low)
    sheet = np.array([[-100.0, -130.0], [100.0, -130.0], [100.0, 130.0], [-100.0, 130.0]])
    got = found(drawn, cam, sheets=(sheet + np.array([0.0, -680.0]), sheet + np.array([60.0, 480.0])))
    assert not isinstance(got, Warning_), got
    assert error_mm(cam, got, low) < 12.0


def test_a_step_along_a_side_is_told_beside_what_hangs_before_the_wall():
    lab = np.full((200, 160, 3), [40.0, 128.0, 128.0], np.float32)  # the opening
    lab[:, 80:] = [120.0, 140.0, 140.0]  # the wall from column 80 on
    covered = np.zeros(lab.shape[:2], np.uint8)
    for rows in (slice(20, 90), slice(110, 180)):
        lab[rows, 84:130] = [240.0, 128.0, 128.0]  # white paper from column 84 on
        covered[rows, 84:130] = 1
    ends, foot = np.array([[82.0, 10.0], [82.0, 190.0]]), np.array([0.0, 100.0])
    bare = WallView(lab, np.ones_like(covered), np.zeros(2))
    blind = steps_along(bare, ends, foot, "right")
    assert np.abs(blind.at - 7.5).min() < PITCH_MM  # the paper's side, at column 83.5
    seen = steps_along(replace(bare, covered=covered), ends, foot, "right")
    assert seen.at == pytest.approx([(79.5 - 82.0) * PITCH_MM], abs=PITCH_MM / 2)  # the jamb alone


def test_a_reveal_in_the_colour_of_the_wall_is_not_taken_for_wall():
    drawn, cam = wall(), camera()
    opening(drawn, cam, depth=110.0, reveal=None)
    got = found(drawn, cam)
    # the frame is seen 110 / 2710 of its distance from the foot further in: 16 to 24 mm here
    assert isinstance(got, Warning_) or error_mm(cam, got) < 14.0


def test_two_openings_are_listed_and_none_is_chosen():
    drawn, cam = wall(), camera()
    for shift in (-420.0, 420.0):
        opening(drawn, cam, OPENING * [0.6, 0.8] + [shift, 0.0])
    got = found(drawn, cam)
    assert isinstance(got, Warning_)
    assert got.code == "several-openings"
    assert got.message.startswith("2 openings")


@pytest.mark.parametrize("kind", ["masonry", "siding"])
def test_a_blank_wall_has_no_opening(kind):
    got = found(wall(), camera(), kind)
    assert isinstance(got, Warning_)
    assert got.code == "corners-needed"


def test_an_opening_cut_by_the_border_of_the_photo_is_not_measured():
    drawn, cam = wall(), camera(y=-700.0)
    opening(drawn, cam, OPENING * [1.0, 1.0] + [0.0, 100.0])
    got = found(drawn, cam)
    assert isinstance(got, Warning_)


def test_all_sides_move_out_by_the_depth_that_the_jambs_show():
    drawn, cam = wall(), camera()
    opening(drawn, cam, depth=150.0, reveal=(120.0, 68.0, 52.0))
    seen = frame_seen(cam, OPENING, 150.0)
    view = view_wall(photo(drawn, cam), cam, np.concatenate(SHEETS))
    foot = (cam.centre_mm()[:2] - view.origin_mm) / PITCH_MM
    other = np.zeros_like(view.valid)
    border = (seen - view.origin_mm) / PITCH_MM
    cv2.fillConvexPoly(other, np.rint(border).astype(np.int32), 1)
    jambs = [np.polyfit(border[i, 1], border[i, 0] + k, 1) for i, k in (([0, 3], -0.5), ([1, 2], 0.5))]
    moved = snap(view, Jambs(*jambs, (border[0, 1], border[2, 1])), foot, 2600.0, other, trimmed=False)
    assert not isinstance(moved, str), moved
    assert np.abs(moved * PITCH_MM + view.origin_mm - OPENING).max() < 10.0  # two pixels of the view


def test_a_lintel_that_hangs_on_a_region_is_no_part_of_its_jambs():
    mask = np.zeros((300, 400), np.uint8)
    mask[80:230, 120:280] = 1
    mask[60:80, 95:305] = 1
    (got,) = find_jambs(mask, np.ones_like(mask))
    assert np.polyval(got.left, 150) == pytest.approx(119.5, abs=1.5)
    assert np.polyval(got.right, 150) == pytest.approx(279.5, abs=1.5)


@pytest.mark.parametrize("frame", [BRICK, JOINT])
def test_a_frame_in_the_colour_of_the_wall_belongs_to_the_opening(frame):
    drawn, cam = wall(), camera()
    opening(drawn, cam)
    seen = frame_seen(cam, OPENING, 80.0)
    fill(drawn, seen, frame)
    inwards = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) * 60.0
    panes = seen + inwards
    middle = panes[:, 1].mean()
    for top, bottom in ((panes[0, 1], middle - 25), (middle + 25, panes[2, 1])):  # a meeting rail parts them
        fill(drawn, np.column_stack([panes[:, 0], [top, top, bottom, bottom]]), GLASS)
    got = found(drawn, cam)
    assert not isinstance(got, Warning_), got
    assert error_mm(cam, got) < 12.0


def test_a_stone_lintel_and_a_sill_are_no_part_of_the_opening():
    drawn, cam = wall(), camera()
    opening(drawn, cam)
    stone = (175.0, 172.0, 160.0)
    (x0, y0), _, (x1, y1), _ = OPENING
    fill(drawn, np.array([[x0 - 100, y0 - 150], [x1 + 100, y0 - 150], [x1 + 100, y0], [x0 - 100, y0]]), stone)
    fill(drawn, np.array([[x0 - 60, y1], [x1 + 60, y1], [x1 + 60, y1 + 80], [x0 - 60, y1 + 80]]), stone)
    got = found(drawn, cam)
    assert not isinstance(got, Warning_), got
    assert error_mm(cam, got) < 12.0


def test_a_sill_is_looked_for_where_its_front_stands():
    drawn, cam = wall(), camera()
    opening(drawn, cam)
    outlines = [project(cam, np.column_stack([s, np.zeros(4)])) for s in SHEETS]
    rgb = photo(drawn, cam)
    flush, out = (find_openings(rgb, cam, outlines, "masonry", z) for z in (0.0, 40.0))
    a, b = back_project(cam, flush, 0.0), back_project(cam, out, 0.0)
    # similar triangles: 600 mm below the camera, 40 of 2600 mm in front of the wall
    assert (b - a)[2:, 1] == pytest.approx(600 * 40 / 2560, abs=0.3)
    assert np.abs((b - a)[:2]).max() < 0.01


def test_courses_stop_where_the_wall_does_whatever_the_colour():
    drawn, cam = wall(), camera()
    fill(drawn, OPENING, BRICK)
    view = view_wall(photo(drawn, cam), cam, np.concatenate(SHEETS))
    sheets = [(s - view.origin_mm) / PITCH_MM for s in SHEETS]
    other = unlike_wall(view, sheets)
    corners = np.rint((OPENING - view.origin_mm) / PITCH_MM).astype(int)
    inside = np.s_[corners[0, 1] + 30 : corners[2, 1] - 30, corners[0, 0] + 5 : corners[1, 0] - 5]
    assert other[inside].mean() < 0.2
    stopped = where_courses_stop(view, sheets, other)
    assert stopped[inside].mean() > 0.95
    beside = stopped[corners[0, 1] : corners[2, 1], corners[0, 0] - 60 : corners[0, 0] - 5]
    assert beside.mean() < 0.05


def test_a_wall_without_courses_shows_none():
    drawn = np.random.default_rng(5).normal(150, 12, (*wall().shape[:2], 1)) * np.ones(3)
    cam = camera()
    view = view_wall(photo(drawn, cam), cam, np.concatenate(SHEETS))
    sheets = [(s - view.origin_mm) / PITCH_MM for s in SHEETS]
    assert agreement(view, sheets, unlike_wall(view, sheets)) is None


@pytest.mark.parametrize("degrees", [-2.0, 0.0, 1.3])
def test_the_lean_of_the_wall_in_the_view_is_seen(degrees):
    drawn, cam = wall(), camera()
    opening(drawn, cam)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turned = Camera(np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]), cam.translation_mm, 1200.0, 800.0, 600.0)
    outlines = [project(cam, np.column_stack([p, np.zeros(4)])) for p in SHEETS]
    laid = [back_project(turned, o, 0.0) for o in outlines]
    view = view_wall(photo(drawn, cam), turned, np.concatenate(laid))
    lean = level_rad(view, [(p - view.origin_mm) / PITCH_MM for p in laid])
    level = back_project(turned, project(cam, np.array([[-400.0, 0, 0], [400.0, 0, 0]])), 0.0)
    expected = np.degrees(np.arctan2(*(level[1] - level[0])[::-1]))
    assert np.degrees(lean) == pytest.approx(expected, abs=0.3)


def test_a_leaning_outline_is_not_square():
    corners = np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 240.0], [0.0, 240.0]])
    assert square(corners)
    assert not square(corners + np.array([[0, 12], [0, 0], [0, 0], [0, 0]]))


def practice_photos():
    names = ["bulk/b01", "bulk/b12", "bulk/b18"]
    return [PRACTICE / f"{n}.truth.json" for n in names if (PRACTICE / f"{n}.truth.json").exists()]


def test_practice_openings_are_found_within_a_click():
    files = practice_photos()
    if not files:
        pytest.skip("no practice photos beside the repository")
    for file in files:
        t = json.loads(file.read_text())
        c = t["camera"]
        flip = np.diag([1.0, 1.0, -1.0])  # the truth's world has z toward the camera
        cam = Camera(np.array(c["R"]) @ flip, np.array(c["t"]), c["f_px"], c["cx"], c["cy"], c["k1"], c["k2"])
        sheets = []
        for r in t["references"]:
            turn = np.radians(r["angle_deg"])
            axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
            page = np.array([[0, 0], [180, 0], [180, 240], [0, 240.0]]) @ axes + r["origin_mm"][:2]
            sheets.append(project(cam, np.column_stack([page, np.zeros(4)])))
        rgb = np.asarray(Image.open(file.parent / t["photo"]).convert("RGB"))
        kind = "masonry" if t["wall"].startswith("brick") else "siding"
        got = find_openings(rgb, cam, sheets, kind)
        assert isinstance(got, Warning_) or np.abs(got - t["corners_px"]).max() < 15.0, (file.name, got)
