"""Measures of known figures against plain geometry, their covariance against closed forms and Monte Carlo."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.camera import Camera, project
from vision.depths import edge_depths
from vision.measures import assembled, candidate_effects, measure
from vision.request import NINE, PARTS, SIDES, OpeningRequest, Quantity
from vision.stations import ENDS, clicked_sides, lines_of, local_edges, nine_of

W, H = 914.4, 1524.0  # 36 x 60 in
NONE = np.zeros(0)
RECTANGLE = np.array([[0, 0], [W, 0], [W, H], [0, H]]) - [W / 2, H / 2]
NO_DEPTH = np.zeros((4, 4))


def camera(turn=(0.15, -0.2, 0.05), k1=0.03, k2=-0.008):
    rotation = np.asarray(cv2.Rodrigues(np.array(turn, float))[0], float)
    return Camera(rotation, np.array([40.0, -60.0, 3000.0]), 2795.7, 2013.3, 1508.2, k1, k2)


SQUARE_ON = camera((0, 0, 0), 0.0, 0.0)


def opening(corners, c=SQUARE_ON, z=0.0, **local):
    """Return the sides through corners (4, 2) mm as seen; `local` holds (s, outward) by side."""
    px = project(c, np.column_stack([corners, np.full(4, z)]))
    sides = clicked_sides(px, dict.fromkeys(SIDES, z))
    for side, (s, outward) in local.items():
        sides[side] = replace(sides[side], s_mm=np.asarray(s, float), local_mm=np.asarray(outward, float))
    return sides


def measured(corners, c=SQUARE_ON, z=0.0, parts=None, depth=NO_DEPTH, clicks=None, **local):
    return measure(c, parts or {}, opening(corners, c, z, **local), depth, clicks)


def of(result, *names):
    return [float(result.values_mm[NINE.index(n)]) for n in names]


def u_of(result, name):
    return float(np.sqrt(result.cov_mm2[NINE.index(name), NINE.index(name)]))


def sheared(lean_mm, height=H):
    """Return the rectangle with its head pushed to the right."""
    y = height / 2
    return np.array([[lean_mm - W / 2, -y], [lean_mm + W / 2, -y], [W / 2, y], [-W / 2, y]])


@pytest.mark.parametrize("z", [0.0, -40.0])
def test_a_rectangle_measures_as_its_sides_in_a_slanting_view(z):
    r = measured(RECTANGLE, camera(), z)
    d = np.hypot(W, H)
    assert r.values_mm == pytest.approx([W, W, W, H, H, H, d, d, 0], abs=1e-6)
    assert r.further["lean"].value_mm == pytest.approx(0, abs=1e-6)
    assert r.further["taper_width"].value_mm == pytest.approx(0, abs=1e-6)


def test_an_opening_leaning_by_half_a_degree_has_the_diagonals_of_the_law_of_cosines():
    """Derived: 914.4 x 1524 mm, side length kept, 0.5 degrees: 1784.103, 1770.419, difference 13.685 mm."""
    angle = np.radians(0.5)
    figure = sheared(H * np.sin(angle), H * np.cos(angle))
    r = measured(figure, camera())
    assert sorted(of(r, "diagonal_down", "diagonal_up")) == pytest.approx([1770.419, 1784.103], abs=1e-3)
    assert of(r, "out_of_square") == pytest.approx([-13.685], abs=1e-3)  # the head leans right: up is longer
    d1, d2 = of(r, "diagonal_up", "diagonal_down")
    assert d1**2 - d2**2 == pytest.approx(4 * W * H * np.sin(angle), rel=1e-9)


def test_diagonals_a_quarter_inch_apart_mean_a_quarter_inch_of_lean():
    """Derived: 36 x 60 in, difference 1/4 in: 0.2320 degrees, 0.2430 in over 60 in (0.0005)."""
    r = measured(sheared(0.2430 * 25.4), camera())
    assert of(r, "out_of_square") == pytest.approx([-6.35], abs=0.0005 * 25.4)
    assert r.further["lean"].value_mm / 25.4 == pytest.approx(0.2430, abs=5e-4)


def test_a_tapering_opening_shows_its_taper_at_2_inches_inside_the_corners():
    figure = RECTANGLE + np.array([[-5.0, 0], [5.0, 0], [0, 0], [0, 0]])
    r = measured(figure)
    at = 50.8 / np.hypot(H, 5)  # share of the jamb, which is a hair longer than the opening is high
    assert of(r, "width_top", "width_middle", "width_bottom") == pytest.approx(
        [W + 10 * (1 - at), W + 5, W + 10 * at], abs=0.01
    )
    assert r.further["taper_width"].value_mm == pytest.approx(10 * (1 - 2 * at), abs=0.01)


def test_a_bowed_side_narrows_the_middle_and_not_the_corners():
    s = np.arange(0, H + 1, 5.0)
    bow = -4.0 * (1 - (2 * s / H - 1) ** 2)  # 4 mm into the opening at mid-height
    r = measured(RECTANGLE, camera(), left=(s, bow))
    at_station = 4.0 * (1 - (2 * 50.8 / H - 1) ** 2)
    assert of(r, "width_middle") == pytest.approx([W - 4], abs=0.02)
    assert of(r, "width_top", "width_bottom") == pytest.approx([W - at_station] * 2, abs=0.1)
    d = np.hypot(W, H)
    assert of(r, "diagonal_down", "diagonal_up") == pytest.approx([d, d], abs=1e-6)


def test_the_narrowest_place_is_found_where_the_side_bulges():
    s = np.arange(0, H + 1, 5.0)
    r = measured(RECTANGLE, camera(), left=(s, -6.0 * np.exp(-(((s - 1000) / 120) ** 2))))
    narrow, wide = r.further["narrowest_width"], r.further["widest_width"]
    assert narrow.place_mm == pytest.approx(1000, abs=25)
    assert narrow.value_mm == pytest.approx(W - 6, abs=0.3)  # the median over 80 mm flattens the top
    assert wide.value_mm == pytest.approx(W, abs=0.05)
    assert r.further["narrowest_height"].value_mm == pytest.approx(H, abs=1e-6)


def some_camera_parts(rng):
    a = rng.normal(size=(11, 11)) * (0.2 * np.array([1e-4] * 3 + [0.3] * 3 + [1e-3, 4, 4, 4e-3, 2e-3]))
    b = np.diag(np.array([0] * 9 + [5e-3, 2e-3]) ** 2)
    return {"camera": a.T @ a, "distortion": b, "gauge": np.eye(11)}


def all_uncertain(c):
    sides = opening(RECTANGLE, c, -20.0)
    cov = np.array([[0.09, 2e-5], [2e-5, 4e-8]])
    return {
        s: replace(x, cov_offset_slope=cov, u_local_mm=0.2, scatter_mm=0.5, u_choice_mm=0.3) for s, x in sides.items()
    }


def test_the_covariance_is_symmetric_of_rank_8_and_its_last_row_is_the_diagonals_difference():
    c = camera()
    parts = some_camera_parts(np.random.default_rng(4))
    r = measure(c, parts, all_uncertain(c), 4.0 + np.eye(4))
    cov = r.cov_mm2
    assert (cov == cov.T).all() or np.abs(cov - cov.T).max() < 1e-12
    assert np.linalg.matrix_rank(cov, tol=1e-9) == 8
    assert np.linalg.eigvalsh(cov).min() > -1e-9
    assert cov[8] == pytest.approx(cov[6] - cov[7], abs=1e-9)
    assert r.values_mm[8] == pytest.approx(r.values_mm[6] - r.values_mm[7], abs=1e-12)


def test_the_budget_adds_up_to_the_whole():
    c = camera()
    r = measure(c, some_camera_parts(np.random.default_rng(4)), all_uncertain(c), 4.0 + np.eye(4))
    assert r.budget_mm.shape == (9, len(PARTS))
    assert np.hypot.reduce(r.budget_mm, axis=1) == pytest.approx(np.sqrt(np.diag(r.cov_mm2)), rel=1e-6)


def independent_nine(c, ends_px, z):
    """Return the nine of straight sides: OpenCV's undistortion, rays on planes, homogeneous crossings."""
    k = np.array([[c.focal_px, 0, c.cx], [0, c.focal_px, c.cy], [0, 0, 1.0]])
    centre = -c.rotation.T @ c.translation_mm
    end = (cv2.TERM_CRITERIA_MAX_ITER | cv2.TERM_CRITERIA_EPS, 50, 1e-13)
    lens = np.array([c.k1, c.k2, 0, 0])
    line = {}
    for s in SIDES:
        xy = np.asarray(cv2.undistortPoints(ends_px[s][:, None], k, lens, criteria=end)).reshape(2, 2)
        ray = np.column_stack([xy, np.ones(2)]) @ c.rotation
        p = centre[:2] + ((z[s] - centre[2]) / ray[:, 2])[:, None] * ray[:, :2]
        line[s] = np.cross([*p[0], 1], [*p[1], 1])
    meet = [
        np.cross(line[a], line[b])
        for a, b in (("head", "left"), ("head", "right"), ("sill", "right"), ("sill", "left"))
    ]
    tl, tr, br, bl = (m[:2] / m[2] for m in meet)

    def places(a, b):
        d = (b - a) / np.linalg.norm(b - a) * 50.8
        return a + d, (a + b) / 2, b - d

    widths = [np.linalg.norm(q - p) for p, q in zip(places(tl, bl), places(tr, br), strict=True)]
    heights = [np.linalg.norm(q - p) for p, q in zip(places(tl, tr), places(bl, br), strict=True)]
    down, up = np.linalg.norm(br - tl), np.linalg.norm(tr - bl)
    return np.array([*widths, *heights, down, up, down - up])


def test_the_linear_uncertainty_agrees_with_monte_carlo_over_camera_and_depths():
    """Oracle: 800 draws through an independent geometry; the sd of a sample sd is 2.5 % then."""
    c, rng, trials = camera(), np.random.default_rng(5), 800
    parts = {k: v for k, v in some_camera_parts(rng).items() if k != "gauge"}
    sides = opening(sheared(8.0), c, -20.0)
    r = measure(c, parts, sides, 4.0 + np.eye(4))
    assert r.values_mm == pytest.approx(
        independent_nine(c, {s: x.ends_px for s, x in sides.items()}, dict.fromkeys(SIDES, -20.0)), abs=1e-6
    )
    moves = rng.multivariate_normal(np.zeros(11), parts["camera"] + parts["distortion"], trials, method="eigh")
    common, own = rng.normal(0, 2, trials), rng.normal(0, 1, (trials, 4))
    drawn = np.array(
        [
            independent_nine(
                c.moved(m),
                {s: x.ends_px for s, x in sides.items()},
                {s: -20 + a + e for s, e in zip(SIDES, b, strict=True)},
            )
            for m, a, b in zip(moves, common, own, strict=True)
        ]
    )
    linear = np.sqrt(np.diag(r.cov_mm2) - r.station_u_mm**2)  # the tape's place is no part of this draw
    assert drawn.std(0)[:8] / linear[:8] == pytest.approx(np.ones(8), abs=0.08)
    assert drawn.std(0)[8] / linear[8] == pytest.approx(1, abs=0.08)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_photo_turned_by_quarters_gives_the_same_measures(turns):
    c, size = camera(), (4032, 3024)
    sides, parts = all_uncertain(c), {"camera": some_camera_parts(np.random.default_rng(6))["camera"]}
    before = measure(c, parts, sides, np.full((4, 4), 4.0))
    quarter = np.array([[0, -1.0, 0], [1, 0, 0], [0, 0, 1]])
    into = np.eye(11)
    for _ in range(turns):  # clockwise: (u, v) becomes (height - 1 - v, u)
        turned = {
            s: replace(x, ends_px=np.column_stack([size[1] - 1 - x.ends_px[:, 1], x.ends_px[:, 0]]))
            for s, x in sides.items()
        }
        sides, c = (
            turned,
            replace(
                c,
                rotation=quarter @ c.rotation,
                translation_mm=quarter @ c.translation_mm,
                cx=size[1] - 1 - c.cy,
                cy=c.cx,
            ),
        )
        size = size[::-1]
        step = np.eye(11)
        step[:3, :3] = step[3:6, 3:6] = quarter
        step[7:9, 7:9] = quarter[:2, :2]
        into = step @ into
    after = measure(c, {"camera": into @ parts["camera"] @ into.T}, sides, np.full((4, 4), 4.0))
    assert after.values_mm == pytest.approx(before.values_mm, abs=1e-6)
    assert after.cov_mm2 == pytest.approx(before.cov_mm2, rel=1e-4, abs=1e-5)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(st.lists(st.floats(-30, 30), min_size=8, max_size=8), st.floats(-0.35, 0.35), st.floats(-0.35, 0.35))
def test_any_quadrilateral_seen_from_anywhere_has_its_own_corners(shifts, pitch, yaw):
    figure = RECTANGLE + np.reshape(shifts, (4, 2))
    c = camera((pitch, yaw, 0.1))
    r = measured(figure, c)
    assert r.corners_px == pytest.approx(project(c, np.column_stack([figure, np.zeros(4)])), abs=1e-5)
    down, up = np.linalg.norm(figure[2] - figure[0]), np.linalg.norm(figure[1] - figure[3])
    assert r.values_mm[6:] == pytest.approx([down, up, down - up], abs=1e-6)


def test_a_depth_known_to_2_mm_moves_a_width_by_similar_triangles():
    """Derived: u = W u_z / Z."""
    r = measured(RECTANGLE, depth=np.full((4, 4), 4.0))
    assert r.budget_mm[1, PARTS.index("edge_depth")] == pytest.approx(W * 2 / 3000, rel=1e-6)


def test_depths_known_to_2_mm_each_move_a_width_less_than_one_error_of_both_jambs():
    """Derived: by each jamb x u_z / Z, as far as it lies from the camera's foot (40 mm left of the middle)."""
    r = measured(RECTANGLE, depth=4.0 * np.eye(4))
    assert r.budget_mm[1, PARTS.index("edge_depth")] == pytest.approx(
        np.hypot(W / 2 - 40, W / 2 + 40) * 2 / 3000, rel=1e-6
    )


@pytest.mark.parametrize(("wall", "u_mm"), [("masonry", 2.0), ("siding", 10.0)])
def test_to_know_the_sills_depth_alone_makes_no_width_surer(wall, u_mm):
    """Derived: of the jambs nothing more is known, so u = W u_z / Z as where nothing was given at all."""
    for offset in (None, {"sill": Quantity(45.0, 1.0)}):
        known = edge_depths(OpeningRequest((), wall, edge_offset=offset))
        r = measured(RECTANGLE, depth=known.cov_mm2)
        assert r.budget_mm[1, PARTS.index("edge_depth")] == pytest.approx(W * u_mm / 3000, rel=1e-6)


def test_arrises_that_are_off_together_make_a_width_less_sure_than_each_by_itself():
    """Derived: var(left + right) = u1^2 + u2^2 + 2 cov; a cov that only one side tells of does not count."""
    sides = {s: replace(x, u_choice_mm=0.5) for s, x in opening(RECTANGLE).items()}

    def u_of_width(left, right):
        each = {"left": {"right": left}, "right": {"left": right}}
        told = {s: replace(x, choice_with_mm2=each.get(s, {})) for s, x in sides.items()}
        return measure(SQUARE_ON, {}, told, NO_DEPTH).budget_mm[1, PARTS.index("edge_choice")]

    assert u_of_width(0.1, 0.1) == pytest.approx(np.sqrt(2 * 0.5**2 + 2 * 0.1), rel=1e-6)
    assert u_of_width(0.2, 0.1) == pytest.approx(np.sqrt(2 * 0.5**2 + 2 * 0.1), rel=1e-6)
    assert u_of_width(0.1, 0.0) == u_of_width(0.1, -0.1) == pytest.approx(0.5 * 2**0.5, rel=1e-6)
    assert u_of_width(-0.2, -0.1) == u_of_width(-0.1, -0.2) == pytest.approx(np.sqrt(2 * 0.5**2 - 2 * 0.1), rel=1e-6)


def test_another_answer_as_likely_counts_as_far_as_it_lies_away():
    """JCGM 100, 5.2.2: a choice of standard deviation d along (9,) has the covariance d d'; out of square follows."""
    away = np.array([2.0, 2, 2, 1, 1, 1, 3, -3, 6])
    sides = {s: replace(x, u_choice_mm=0.3) for s, x in opening(RECTANGLE).items()}
    alone, with_it = (measure(SQUARE_ON, {}, sides, NO_DEPTH, None, apart) for apart in ((), (away,)))
    assert with_it.cov_mm2 - alone.cov_mm2 == pytest.approx(np.outer(away, away), abs=1e-9)
    at = PARTS.index("edge_choice")
    assert with_it.budget_mm[:, at] == pytest.approx(np.hypot(alone.budget_mm[:, at], np.abs(away)), abs=1e-9)


def test_a_measure_or_an_uncertainty_that_is_no_number_is_never_given():
    sides = opening(RECTANGLE)
    lines = lines_of(SQUARE_ON, sides, dict.fromkeys(SIDES, 0.0))
    local, u = local_edges(lines, sides)
    values, cov = nine_of(lines, local), np.eye(9)
    one_bad, unsure = values.copy(), cov.copy()
    one_bad[4] = unsure[2, 2] = np.nan
    for nine, part in ((one_bad, cov), (values, unsure)):
        with pytest.raises(FloatingPointError, match="not a number"):
            assembled(SQUARE_ON, lines, sides, local, nine, {"camera": part}, u)
    assert assembled(SQUARE_ON, lines, sides, local, values, {"camera": cov}, u).budget_mm[2].sum() == 1.0


def test_a_focal_length_known_to_a_percent_moves_a_width_by_a_percent():
    cov = np.zeros((11, 11))
    cov[6, 6] = 0.01**2
    r = measured(RECTANGLE, parts={"camera": cov})
    assert r.budget_mm[:8, PARTS.index("camera")] == pytest.approx(0.01 * r.values_mm[:8], rel=1e-5)


def test_two_rounded_arrises_count_twice_in_a_width():
    sides = {s: replace(x, u_choice_mm=0.3) for s, x in opening(RECTANGLE).items()}
    r = measure(SQUARE_ON, {}, sides, NO_DEPTH)
    assert r.budget_mm[1, PARTS.index("edge_choice")] == pytest.approx(0.3 * 2**0.5, rel=1e-6)


@pytest.mark.parametrize("click_px", [1.0, 3.0])
def test_a_click_spreads_over_both_corners_of_a_jamb(click_px):
    """Derived: the middle of a jamb is the mean of two clicks, u / sqrt 2; two jambs, times sqrt 2."""
    c = SQUARE_ON
    px = project(c, np.column_stack([RECTANGLE, np.zeros(4)]))
    r = measured(RECTANGLE, clicks=(px, click_px))
    mm = 3000 / c.focal_px * click_px
    assert r.budget_mm[1, PARTS.index("edge_trace")] == pytest.approx(mm, rel=1e-5)
    assert r.budget_mm[6, PARTS.index("edge_trace")] == pytest.approx(mm * 2**0.5, rel=1e-5)


def test_lean_and_taper_carry_the_uncertainty_of_their_difference():
    c = camera()
    r = measure(c, {}, all_uncertain(c), NO_DEPTH)
    cov = r.cov_mm2
    assert r.further["taper_width"].u_mm == pytest.approx(np.sqrt(cov[0, 0] + cov[2, 2] - 2 * cov[0, 2]))
    assert r.further["lean"].u_mm == pytest.approx(np.hypot(W, H) / (2 * W) * np.sqrt(cov[8, 8]), rel=1e-6)


def test_stations_are_drawn_where_the_tape_would_touch():
    c = camera()
    r = measured(RECTANGLE, c)
    y = -H / 2 + 50.8
    expected = project(c, np.array([[-W / 2, y, 0], [W / 2, y, 0]]))
    assert r.stations_px["width_top"] == pytest.approx(expected, abs=1e-6)
    assert set(r.stations_px) == set(NINE[:8])
    deeper = opening(RECTANGLE, c)
    deeper["sill"] = replace(deeper["sill"], depth_mm=-60.0)  # a sill that stands out
    r = measure(c, {}, deeper, NO_DEPTH)
    assert r.stations_px["diagonal_down"] == pytest.approx(r.corners_px[[0, 2]], abs=1e-9)
    assert r.stations_px["diagonal_up"] == pytest.approx(r.corners_px[[3, 1]], abs=1e-9)


def test_a_candidate_5_mm_outside_the_left_jamb_makes_every_width_5_mm_more():
    c = camera()
    (found,) = candidate_effects(c, opening(RECTANGLE, c), {"left": ((0.3, 5.0, "frame"),)})
    assert (found.side, found.weight, found.shift_mm, found.name) == ("left", 0.3, 5.0, "frame")
    assert found.shift_nine_mm[:6] == pytest.approx([5, 5, 5, 0, 0, 0], abs=1e-6)
    d = np.hypot(W + 5, H) - np.hypot(W, H)
    assert found.shift_nine_mm[6:] == pytest.approx([d, d, 0], abs=1e-6)


@pytest.mark.parametrize(("name", "index"), [("head", 4), ("sill", 4), ("right", 1), ("left", 1)])
def test_outward_is_outward_on_every_side(name, index):
    (found,) = candidate_effects(SQUARE_ON, opening(RECTANGLE), {name: ((1.0, 2.0, ""),)})
    assert found.shift_nine_mm[index] == pytest.approx(2.0, abs=1e-6)


def test_the_sides_run_between_the_corners_clicked():
    px = np.array([[10.0, 20], [110, 20], [110, 220], [10, 220]])
    sides = clicked_sides(px, dict.fromkeys(SIDES, 0.0))
    assert set(sides) == set(ENDS)
    assert sides["sill"].ends_px == pytest.approx(px[[3, 2]])
