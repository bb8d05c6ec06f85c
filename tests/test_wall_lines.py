"""The vote for the wall's directions, and lines in the adjustment, on drawn walls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.drawn_walls import SIZE, blocks_of, bricks, camera, drawn, state, with_lines
from vision.adjustment import adjust
from vision.camera import Camera, back_project, project
from vision.solving.solved import Solved
from vision.wall import line_vote
from vision.wall.courses import across_along, course_block, whitening
from vision.wall.kept_out import of_the_wall
from vision.wall.line_noise import line_noise
from vision.wall.line_vote import vote
from vision.wall.lines import _bent, _best_vote, contradicts, lined
from vision.wall.segments import Segments, find_segments


def ends_px(cam, first, last):
    """Return segments between wall points (N, 2) mm, seen by the camera."""
    put = [project(cam, np.column_stack([p, np.zeros(len(p))])) for p in (first, last)]
    return np.stack(put, axis=1)


@pytest.mark.parametrize("turn", [-0.1, 0.0, 0.03])
def test_bricks_vote_for_their_own_direction_whatever_the_sheet_was_taped_like(turn):
    cam = camera()
    voted = vote(Segments(ends_px(cam, *bricks(np.random.default_rng(1), turn))), state(cam), uprights=True)
    assert voted is not None
    assert voted.wall == pytest.approx([turn, 0], abs=3e-3)  # half of what a vote takes for agreement: a start
    assert voted.upright.sum() > 150
    assert (~voted.upright).sum() > 250


def test_a_shadow_a_downpipe_and_a_sloping_sill_do_not_capture_the_vote():
    """Two long shadow edges at 9 degrees, a downpipe leaning 3, a sill falling by 1 in 15, each in many pieces."""
    rng = np.random.default_rng(2)
    first, last = bricks(rng, 0.0)
    odd = []
    for start, angle, length in [
        ((-500, -700), 0.157, 2300),
        ((-500, -660), 0.157, 2300),
        ((1300, -900), np.pi / 2 + 0.05, 1900),
        ((1380, -900), np.pi / 2 + 0.05, 1900),
        ((0, 700), 1 / 15, 1500),
        ((0, 760), 1 / 15, 1500),
    ]:
        d = np.array([np.cos(angle), np.sin(angle)])
        for k in range(10):
            odd.append((start + d * length * k / 10, start + d * length * (k + 0.95) / 10))
    both = [np.concatenate([p, np.array([o[e] for o in odd])]) for e, p in enumerate((first, last))]
    cam = camera()
    voted = vote(Segments(ends_px(cam, *both)), state(cam), uprights=True)
    assert voted is not None
    assert voted.wall == pytest.approx([0, 0], abs=3e-3)


def test_eight_laps_outvote_a_shadow_seen_ten_times_as_long():
    """No place votes with more than half a metre: both edges of a shadow, found over and over, are two places."""
    laps = np.column_stack([np.full(8, -500.0), -600 + 150.0 * np.arange(8)])
    d = np.array([np.cos(0.157), np.sin(0.157)])
    shadow = np.repeat([[-500.0, -700.0], [-500.0, -640.0]], 40, axis=0)
    first = np.concatenate([laps, shadow])
    last = np.concatenate([laps + np.array([1900.0, 0]), shadow + 2300 * d])
    cam = camera()
    voted = vote(Segments(ends_px(cam, first, last)), state(cam), uprights=False)
    assert voted is not None
    assert voted.wall == pytest.approx([0, 0], abs=3e-3)
    assert len(voted.segments) == 8


def test_courses_bent_by_the_lens_vote_once_as_much_distortion_is_tried():
    """Of a known phone's prior (0.03) 2.4 standard deviations: straight courses fan out beyond what agrees."""
    seen_by = replace(camera(), k1=-0.072)
    seen = Segments(ends_px(seen_by, *bricks(np.random.default_rng(3), 0.0, true_mm=0.5)))
    before = state(camera())
    straight = _best_vote(seen, (before,), [], None, "masonry")
    tried = _best_vote(seen, (before, *_bent(before, 0.03)), [], None, "masonry")
    whole = float(seen.length_px().sum())
    assert straight is None or straight[0] < 0.85 * whole
    assert tried is not None
    assert tried[0] > 0.9 * whole
    assert tried[2].camera.k1 < 0


def test_lines_at_random_have_no_direction():
    rng = np.random.default_rng(3)
    first = rng.uniform(-800, 1500, (400, 2))
    angle = rng.uniform(0, 2 * np.pi, 400)
    last = first + 80 * np.column_stack([np.cos(angle), np.sin(angle)])
    cam = camera()
    assert vote(Segments(ends_px(cam, first, last)), state(cam), uprights=True) is None


def test_one_long_line_alone_is_no_vote():
    first = np.column_stack([np.linspace(-800, 1400, 30), np.full(30, 100.0)])
    cam = camera()
    seen = ends_px(cam, first, first + np.array([70.0, 0]))
    assert vote(Segments(seen), state(cam), uprights=True) is None


def test_the_vote_bears_a_reference_whose_plane_is_off_by_three_degrees():
    """One small sheet leaves a few degrees of tilt: the courses then fan, and still agree."""
    true, wrong = camera(), camera((0.06, -0.17, 0.01))
    seen = ends_px(true, *bricks(np.random.default_rng(4), 0.0))
    voted = vote(Segments(seen), state(wrong), uprights=True)
    assert voted is not None
    assert (~voted.upright).sum() > 250


def test_a_photo_turned_by_a_quarter_votes_the_same():
    cam = camera()
    seen = ends_px(cam, *bricks(np.random.default_rng(5), 0.02))
    # the photo turned clockwise: (x, y) -> (H - 1 - y, x); the camera turns about its axis with it
    turned = np.stack([SIZE[1] - 1 - seen[..., 1], seen[..., 0]], axis=-1)
    about = np.array([[0, -1.0, 0], [1, 0, 0], [0, 0, 1]])
    cam90 = Camera(about @ cam.rotation, about @ cam.translation_mm, cam.focal_px, SIZE[1] - 1 - cam.cy, cam.cx)
    one, two = (vote(Segments(s), state(c), uprights=True) for s, c in ((seen, cam), (turned, cam90)))
    assert one is not None
    assert two is not None
    assert two.wall == pytest.approx(one.wall, abs=1e-9)
    assert (two.upright == one.upright).all()


@pytest.fixture(scope="module")
def with_them(one_sheet):
    """Return what `with_lines` makes of it."""
    grey, blocks, alone, outlines, _ = one_sheet
    return with_lines(grey, blocks, alone, outlines, None, "masonry")


@pytest.fixture(scope="module")
def one_sheet():
    """Return picture, blocks, their adjustment, outlines, and the true camera: one sheet at the left of 1.4 m."""
    rng, cam = np.random.default_rng(11), camera()
    grey = drawn(cam, rng, turn=0.02)
    blocks, outlines = blocks_of(cam, rng, np.zeros((1, 2)))
    return grey, blocks, adjust(blocks, state(cam)), outlines, cam


def far(adjusted, cam):
    """Return error and u (mm) of 1400 mm measured on the wall from beside the sheet."""
    px = project(cam, np.array([[120.0, 0, 0], [1520, 0, 0]]))
    from vision.camera import back_project

    def length(s):
        q = back_project(s.camera, px, 0.0)
        return float(np.linalg.norm(q[1] - q[0]))

    u = np.sqrt(np.diag(adjusted.covariance))
    g = np.zeros(len(u))
    for i in range(11):
        d = np.zeros(len(u))
        d[i] = 0.01 * u[i]
        g[i] = (length(adjusted.state.moved(d)) - length(adjusted.state.moved(-d))) / (2 * d[i])
    return length(adjusted.state) - 1400, float(np.sqrt(g @ adjusted.covariance @ g))


def test_lines_make_one_sheet_measure_like_two(one_sheet, with_them):
    """Design's table: 7 mm without, 1.1 mm with lines; the error must stay within what is stated."""
    _, _, alone, _, cam = one_sheet
    result, warned = with_them
    assert warned == ()
    error, u = far(result, cam)
    assert u < 0.4 * far(alone, cam)[1]
    assert abs(error) < 2 * u
    assert result.state.wall[0] == pytest.approx(0.02, abs=1.5e-3)


def test_lines_make_no_unknown_less_certain(one_sheet, with_them):
    """Exact for one linearisation; the two are made a few mrad apart, which moves a covariance by a few per cent."""
    alone, result = one_sheet[2], with_them[0]
    assert (np.diag(result.covariance) <= 1.05 * np.diag(alone.covariance)).all()
    assert sum(result.parts.values()) == pytest.approx(result.covariance, rel=1e-6, abs=1e-9)


def test_what_lies_in_opening_or_reference_is_no_line(one_sheet):
    """An opening that fills the photo leaves no wall, and a sheet is no frame."""
    grey, blocks, alone, outlines, _ = one_sheet
    w, h = SIZE
    corners = np.array([[5.0, 5], [w - 5, 5], [w - 5, h - 5], [5, h - 5]])
    assert not len(of_the_wall(find_segments(grey), alone.state, outlines, corners, "masonry"))
    only_sheet = np.full_like(grey, 120)
    low, high = np.floor(outlines[0].min(0)).astype(int) - 9, np.ceil(outlines[0].max(0)).astype(int) + 10
    only_sheet[low[1] : high[1], low[0] : high[0]] = grey[low[1] : high[1], low[0] : high[0]]
    assert with_lines(only_sheet, blocks, alone, outlines, corners, "masonry") == (alone, ())


def test_the_edge_of_the_paper_about_a_sheets_pattern_is_no_line_of_the_wall(one_sheet):
    """A Letter page reaches 18 mm beyond the pattern of 180 by 240 mm at left and right, 20 mm above and below."""
    _, _, alone, outlines, _ = one_sheet
    cam = alone.state.camera
    x0, y0, x1, y1 = -108.0, -140.0, 108.0, 140.0
    first = np.array([[x0, y0], [x1, y0], [x0, y1], [x0, y0], [x1 + 200, y0]])
    last = np.array([[x1, y0], [x1, y1], [x1, y1], [x0, y1], [x1 + 200, y1]])
    kept = of_the_wall(Segments(ends_px(cam, first, last)), alone.state, outlines, None, "masonry")
    assert back_project(cam, kept.middle_px(), 0.0) == pytest.approx(np.array([[x1 + 200, 0.0]]), abs=1.0)


@pytest.mark.parametrize(("hidden", "kept"), [((), 3), ((1, 2), 2), ((0, 1), 2), ((0, 3), 2), ((2,), 3)])
def test_an_opening_in_part_out_of_view_hides_what_lies_beyond(hidden, kept):
    """Short lines left of, above and right of an opening of 600 by 800 mm; its corners out of view are NaN."""
    cam = camera()
    corners = np.array([[400.0, -400], [1000, -400], [1000, 400], [400, 400]])
    px = project(cam, np.column_stack([corners, np.zeros(4)]))
    px[list(hidden)] = np.nan
    first = np.array([[100.0, 0], [650, -700], [1200, 0], [650, 0]])
    seen = Segments(ends_px(cam, first, first + np.array([100.0, 0])))
    assert len(of_the_wall(seen, state(cam), [], px, "masonry")) == kept


@pytest.mark.parametrize("wall", ["masonry", "siding"])
def test_courses_count_up_to_the_jambs_but_neither_sides_nor_what_runs_on_from_head_and_sill(wall):
    """Lines about an opening of 600 by 800 mm, mm from its corner: what goes with it is no proof of level or plumb."""
    cam = camera()
    corners = np.array([[390.0, -400], [1000, -400], [1000, 400], [390, 400]])
    px = project(cam, np.column_stack([corners, np.zeros(4)]))
    lines = {
        "course at the left": [(305, 0), (355, 0)],
        "course at the right": [(1040, 100), (1200, 100)],
        "course over the head": [(300, -700), (1100, -700)],
        "left jamb": [(385, -350), (385, 350)],
        "right jamb": [(1005, -350), (1005, 350)],
        "lintel beside the head": [(1010, -410), (1090, -410)],
        "horn of the sill": [(310, 440), (385, 440)],
        "head": [(400, -402), (1000, -402)],
        "foot of the sill": [(340, 470), (1060, 470)],
    }
    first, last = (np.array([v[k] for v in lines.values()], float) for k in (0, 1))
    kept = of_the_wall(Segments(ends_px(cam, first, last)), state(cam), [], px, wall)
    assert len(kept) == 3
    y = back_project(cam, kept.middle_px(), 0.0)[:, 1]
    assert sorted(y) == pytest.approx([-700, 0, 100], abs=1)


def test_a_flat_picture_changes_nothing(one_sheet):
    _, blocks, alone, outlines, _ = one_sheet
    assert with_lines(np.full(SIZE[::-1], 120, np.uint8), blocks, alone, outlines, None, "render")[0] is alone


def test_lines_of_another_wall_are_left_out_with_a_warning():
    """Two sheets 1.5 m apart fix the plane to a few mrad; the picture shows a wall turned by four degrees more."""
    rng, cam = np.random.default_rng(12), camera()
    blocks, outlines = blocks_of(cam, rng, np.array([[0.0, 0], [1500, 60]]))
    start = state(cam, references=2)
    start.references[1, :2] = [1500, 60]
    alone = adjust(blocks, start)
    other = camera((0.06, -0.19, 0.01))
    result, warned = with_lines(drawn(other, rng), blocks, alone, outlines, None, "masonry")
    assert [w.code for w in warned] == ["lines-disagree"]
    assert result is alone


def test_a_page_that_the_walls_lines_contradict_carries_how_far_they_would_move_it():
    """Bound: the page alone, and its covariance; the picture shows a wall turned by 12 degrees more."""
    rng, cam = np.random.default_rng(12), camera()
    blocks, outlines = blocks_of(cam, rng, np.array([[0.0, 0]]))
    blocks = [replace(b, part="reference_size") if b.part == "print_scale" else b for b in blocks]
    alone = adjust(blocks, state(cam))
    grey = drawn(camera((0.06, -0.33, 0.01)), rng)
    solved = lined(grey, Solved(alone, ("page 1",), tuple(outlines), (), 0.1, tuple(blocks)), None, "masonry")
    assert [w.code for w in solved.warnings] == ["lines-disagree"]
    wider = solved.adjusted.covariance - alone.covariance
    assert np.diag(wider) == pytest.approx(solved.torn**2, rel=1e-6)
    assert solved.torn[1] == pytest.approx(-0.2, abs=0.1)  # about the upright axis


def test_contradiction_is_rare_when_everything_is_as_assumed():
    """Oracle: a test at 1e-4 must not fire in 8 draws from its own assumptions."""
    cam = camera()
    for seed in range(8):
        rng = np.random.default_rng([7, seed])
        blocks, _ = blocks_of(cam, rng, np.zeros((1, 2)))
        alone = adjust(blocks, state(cam))
        points, course, upright = [], [], []
        for i in range(24):
            up = i >= 16
            along = rng.uniform(-600, 1900, 10) if not up else rng.uniform(-800, 900, 10)
            across = (-900 + 110 * i if not up else -500 + 300 * (i - 16)) + rng.normal(0, 1, 10)
            across = across + rng.normal(0, 1e-3) * along
            points.append(np.column_stack([across, along] if up else [along, across]))
            course += [i] * 10
            upright += [up] * 10
        pixel = project(cam, np.column_stack([np.concatenate(points), np.zeros(240)]))
        up, of = np.array(upright), np.array(course)
        t = whitening(of, across_along(state(cam), pixel, up)[1], np.ones(240), np.full(24, 1e-3))
        result = adjust([*blocks, course_block(state(cam), pixel, up, of, t)], alone.state)
        assert not contradicts(blocks, alone, result)


def test_a_solved_photo_without_blocks_stays_as_it_is(one_sheet):
    grey, _, alone, outlines, _ = one_sheet
    solved = Solved(alone, ("sheet A",), tuple(outlines), (), 0.1)
    assert lined(grey, solved, None, "masonry") is solved


def test_the_fan_that_is_searched_covers_what_a_bad_reference_leaves():
    """Ten degrees of tilt of a wall 2 m away: tan(10 deg) / 2 m = 0.088 rad a metre."""
    assert line_vote.FANS[-1] > 0.088


def test_slopes_of_a_few_head_joints_err_by_what_is_stated():
    """Joints drawn 1.4 mm about their columns (normal), two columns of four: chance has their scatter small."""
    rng, z = np.random.default_rng(4), {0.0: [], 1.4: []}
    label, upright = np.repeat([0, 1], 4), np.ones(8, bool)
    for _ in range(300):
        along = np.tile(rng.uniform(-600, 600, 4), 2)
        across = np.repeat([0.0, 400.0], 4) + rng.normal(0, 1.4, 8)
        for usual, found in z.items():
            u, _, _ = line_noise(across, along, np.full(8, 0.9), label, upright, 1e-3, 20.0, usual)
            for c in (0, 1):
                s = along[label == c] - along[label == c].mean()
                found.append((s @ across[label == c] / (s @ s)) * np.sqrt(s @ s) / u[label == c].mean())
    rms = {usual: float(np.sqrt(np.mean(np.square(found)))) for usual, found in z.items()}
    assert rms[1.4] == pytest.approx(1.0, abs=0.12)
    assert rms[0.0] > 1.3
