"""The fixtures' renderer against OpenCV's projection and detector, Pillow's Exif and plain geometry."""

from __future__ import annotations

import ast
import json
import tomllib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

import fixtures
from fixtures.calibration import draw_scene
from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.exif import write_photo
from fixtures.renderer.light import line_kernel, lit, on_round
from fixtures.renderer.paint import set_out
from fixtures.renderer.render import radiance, render
from fixtures.renderer.scene import Light, Opening, Scene, Sheet, Side, Wall, brick_sides, smooth_sides
from fixtures.renderer.truth import fitted, measures, station
from fixtures.renderer.truth import truth as truth_of

RECTANGLE = np.array([[-300.0, -400], [300, -400], [300, 400], [-300, 400]])


def camera(width=1024, yaw=4.0, pitch=-3.0, roll=1.5, distance=1500.0, k1=0.03, k2=-0.008):
    R, t = pose(np.array([40.0, -60.0, distance]), yaw, pitch, roll)
    f = film_focal_px(26, width, width * 3 // 4)
    return Camera(width, width * 3 // 4, f, width / 2 + 5.3, width * 3 / 8 - 3.1, k1, k2, R, t)


def scene(**changes):
    parts = {
        "name": "test",
        "camera": camera(),
        "opening": Opening(smooth_sides(RECTANGLE)),
        "sheets": (
            Sheet(0, (-560.0, -130.0), 1.2, (1.002, 0.998), 0.5, 1.5, (0.003, -0.002), (0.6, -0.5)),
            Sheet(1, (370.0, -90.0), -0.7, (1.002, 0.998), 0.4, -1.0, (-0.004, 0.001), (-0.4, 0.7)),
        ),
    }
    return Scene(**(parts | changes))


def test_the_renderer_imports_nothing_of_the_program_that_it_judges():
    files = list(Path(fixtures.__file__).parent.rglob("*.py"))
    trees = [ast.walk(ast.parse(f.read_text(encoding="utf-8"))) for f in files]
    names = {a.name for t in trees for n in t if isinstance(n, ast.Import) for a in n.names}
    trees = [ast.walk(ast.parse(f.read_text(encoding="utf-8"))) for f in files]
    names |= {n.module or "" for t in trees for n in t if isinstance(n, ast.ImportFrom)}
    assert len(files) > 5
    assert not {n.split(".")[0] for n in names} & {"vision", "sizing"}


def test_the_demo_job_names_photos_that_are_there():
    folder = Path(fixtures.__file__).parent / "demo"
    job = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    photos = [p["file"] for o in job["opening"] for p in o["photos"]]
    assert photos == ["w1.jpg", "w2.jpg", "w3.jpg", "w4.jpg"]
    assert sum((folder / p).stat().st_size for p in photos) < 3_000_000


def test_projection_agrees_with_opencv():
    """Oracle: cv2.projectPoints; its world is right-handed, so z changes its sign on the way in."""
    cam = camera()
    points = np.random.default_rng(1).uniform([-500, -400, -100], [500, 400, 60], (50, 3))
    flip = np.diag([1.0, 1.0, -1.0])
    assert np.linalg.det(cam.R) == pytest.approx(-1)
    K = np.array([[cam.f_px, 0, cam.cx], [0, cam.f_px, cam.cy], [0, 0, 1.0]])
    turn = cv2.Rodrigues(cam.R @ flip)[0]
    lens = np.array([cam.k1, cam.k2, 0, 0])
    seen = cv2.projectPoints(points @ flip, turn, cam.t, K, lens)[0].reshape(-1, 2)
    assert np.allclose(cam.project(points), seen, rtol=0, atol=1e-7)


def test_rays_go_back_through_the_points_that_projection_takes():
    cam = camera()
    xs, ys = np.array([0.0, 333.3, 1023.0]), np.array([0.0, 500.5, 767.0])
    d = cam.rays(xs, ys)
    points = cam.centre_mm[:, None] + 1700.0 * d
    grid = np.stack(np.meshgrid(xs, ys), -1).reshape(-1, 2)
    assert np.allclose(cam.project(points.T), grid, rtol=0, atol=1e-5)


@pytest.mark.parametrize("oversample", [1, 2])
def test_saddles_are_found_within_a_tenth_of_a_pixel_of_the_truth(oversample):
    """Oracle: OpenCV's ChArUco detector, on bulged, tilted, unevenly printed sheets."""
    s = scene(camera=camera(width=1024, distance=1250.0), oversample=oversample)
    grey = cv2.cvtColor(render(s)[0], cv2.COLOR_RGB2GRAY)
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for sheet in s.sheets:
        board = cv2.aruco.CharucoBoard((3, 4), 60, 45, words, np.arange(6) + 6 * sheet.letter)
        found, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(grey)
        assert len(ids) == 6
        nominal = np.asarray(board.getChessboardCorners(), float)[ids.ravel(), :2]
        error = found.reshape(-1, 2) - s.camera.project(sheet.place(nominal))
        assert np.abs(error).max() < 0.15  # the detector's own noise is 0.05 px rms here
        assert np.sqrt(np.mean(error**2)) < 0.1


@pytest.mark.parametrize("oversample", [1, 2])
def test_edges_of_the_opening_lie_where_the_truth_says(oversample):
    """Equal areas: the light summed across a step places it, whatever the blur."""
    straight = camera(width=512, yaw=0, pitch=0, roll=0, k1=0, k2=0)
    plain = Wall("stucco", colour=(0.5, 0.5, 0.5))
    deep = Opening(smooth_sides(RECTANGLE), reveal_mm=900.0)  # so deep that its face is even beside the edge
    light = radiance(scene(camera=straight, opening=deep, sheets=(), wall=plain, oversample=oversample))
    across = light[150:220, :, 0].mean(0).astype(float)
    for x in straight.project(np.array([[-300.0, 0, 0], [300.0, 0, 0]]))[:, 0]:
        i = round(x)
        a, b = across[i - 2], across[i + 2]
        assert abs(a - b) > 0.05
        place = i - 1.5 + ((across[i - 1 : i + 2] - b) / (a - b)).sum()
        assert place == pytest.approx(x, abs=0.08)


def test_the_steepest_step_of_each_side_lies_on_the_bricks_of_the_truth():
    """Common practice, no source: the steepest place of a blurred step, here without noise, to 0.1 px."""
    s = draw_scene(1, 11, width=1200)  # a sill that stands 39 mm out
    sharp = tuple(replace(side, arris_mm=0.0) for side in s.opening.sides)
    s = replace(s, opening=replace(s.opening, sides=sharp))
    light = cv2.GaussianBlur(radiance(s), (0, 0), 0.7).sum(2)
    at = np.arange(-4, 4.01, 0.1)
    for side in s.opening.sides:
        along = np.arange(40, side.length_mm - 40, 3.0)
        along = along[~side.joint(along) & ~side.joint(along - 8) & ~side.joint(along + 8)]
        edge = side.p0 + np.outer(along, side.along) + np.outer(side.deviation(along), side.inward)
        depth = np.full(along.size, side.z_mm)
        p = s.camera.project(np.column_stack([edge, depth]))
        n = s.camera.project(np.column_stack([edge + side.inward, depth])) - p
        n /= np.hypot(*n.T)[:, None]
        x = (p[:, None] + at[None, :, None] * n[:, None]).astype(np.float32)
        step = cv2.remap(light, x[..., 0], x[..., 1], cv2.INTER_CUBIC).mean(0)
        slope = np.abs(np.gradient(step))
        slope[np.abs(at) > 1.5] = 0
        assert at[slope.argmax()] == pytest.approx(0, abs=0.11)


def test_a_perfect_rectangle_measures_as_its_sides():
    m = measures(scene())
    expected = dict.fromkeys(["width_top", "width_middle", "width_bottom"], 600.0)
    expected |= dict.fromkeys(["height_left", "height_middle", "height_right"], 800.0)
    expected |= {"diagonal_down": 1000.0, "diagonal_up": 1000.0, "out_of_square": 0.0}
    assert m == pytest.approx(expected, abs=1e-9)


def test_a_tape_touches_the_innermost_brick_within_its_blade():
    """Bricks of 65 mm and joints of 10 mm: 5 mm from a joint both neighbours are under a blade of 16 mm."""
    units = np.array([1.0, -1.0, 2.0])
    side = Side(np.array([0.0, 0.0]), np.array([225.0, 0.0]), pitch_mm=75.0, units_mm=units)
    assert station(side, np.array([30.0, 0.0])) == pytest.approx([30.0, 1.0])
    assert station(side, np.array([72.0, 0.0])) == pytest.approx([72.0, 1.0])
    assert station(side, np.array([76.0, 0.0])) == pytest.approx([76.0, -1.0])


def test_a_bow_lifts_the_fitted_line_by_two_thirds():
    """Plain integral: the mean of 1 - x^2 over (-1, 1) is 2/3."""
    side = Side(np.array([0.0, 0.0]), np.array([1000.0, 0.0]), bow_mm=6.0)
    point, direction = fitted(side)
    assert point[1] == pytest.approx(4.0, abs=0.01)
    assert direction == pytest.approx([1.0, 0.0], abs=1e-6)


def test_joints_of_the_jambs_run_on_from_the_courses_of_the_wall():
    s = draw_scene(3, 5)
    wall, sides = s.wall, s.opening.sides
    pitch, height = wall.unit_mm[1] + wall.unit_mm[2], wall.unit_mm[1]
    for side in (sides[1], sides[3]):
        along = np.arange(1.0, side.length_mm, 1.0)
        y = side.p0[1] + along * side.along[1]
        of_wall = np.mod(y - wall.phase_mm[1], pitch) > height
        assert np.mean(side.joint(along) == of_wall) > 0.97


def test_exif_and_orientation_are_read_back(tmp_path):
    """Oracle: Pillow's reader and its exif_transpose."""
    s = scene(camera=camera(width=320))
    rgb, truth = render(s)
    for orientation in (1, 3, 6, 8):
        truth["camera"]["exif_orientation"] = orientation
        path = write_photo(tmp_path, f"o{orientation}", rgb, truth, quality=95)
        with Image.open(path) as photo:
            ifd = photo.getexif().get_ifd(0x8769)
            assert (photo.getexif()[0x0112], ifd[0xA405], photo.getexif()[0x010F]) == (
                orientation,
                26,
                "Examplar",
            )
            upright = np.asarray(ImageOps.exif_transpose(photo), float)
        assert upright.shape == rgb.shape
        assert np.abs(upright - rgb).mean() < 6
        assert json.loads((tmp_path / f"o{orientation}.truth.json").read_text())["photo"] == path.name


def test_the_same_scene_gives_the_same_picture_and_truth():
    s = draw_scene(2, 9, width=320)
    assert np.array_equal(render(s)[0], render(draw_scene(2, 9, width=320))[0])
    assert truth_of(s) == truth_of(draw_scene(2, 9, width=320))


def test_calibration_scenes_follow_the_priors_of_the_budget():
    """Means and standard deviations of 400 sheets against the budget of the contract and the design."""
    scenes = [draw_scene(i, 1, width=640) for i in range(200)]
    sheets = [x for s in scenes for x in s.sheets]
    n = len(sheets)
    for values, sd in (
        ([x.wall_depth_mm for x in sheets], 1.5),
        ([x.bulge_mm[0] for x in sheets], 0.5),
        ([x.tilt_rad[1] for x in sheets], 0.003),
        ([s.camera.k1 for s in scenes], 0.03),
        ([s.opening.sides[1].z_mm - s.declared_offset_mm["right"] for s in scenes], 1.0),
        ([s.sheets[0].scale[0] - 1 for s in scenes], 0.002),
    ):
        assert np.std(values) == pytest.approx(sd, rel=4 / np.sqrt(2 * len(values)))
    assert np.mean([x.stand_off_mm for x in sheets]) == pytest.approx(0.5, abs=4 * 0.3 / np.sqrt(n))
    for s in scenes:
        for q in [s.camera.project(x.place(np.array([[0.0, 0], [180, 240]]))) for x in s.sheets]:
            assert (q > 0).all()
            assert (q < [640, 480]).all()


def test_brick_roughness_has_the_spread_that_was_asked_for():
    sides = brick_sides(RECTANGLE, draw_scene(0, 1).wall, np.random.default_rng(2), roughness_mm=0.7)
    assert np.std([s.units_mm for s in sides]) == pytest.approx(0.7, rel=0.15)


def test_bloom_moves_each_imaged_side_of_a_page_by_its_pixels_and_nothing_of_the_truth():
    """Equal areas, as above: on a dark wall the light summed across a side places it."""
    straight = camera(width=512, yaw=0, pitch=0, roll=0, k1=0, k2=0)
    page = Sheet(0, (-560.0, -130.0), plain="letter", page_mm=(215.9, 279.4), stated_mm=(215.9, 279.4))
    dark = Wall("stucco", colour=(0.0, 0.0, 0.0))
    at = {"camera": straight, "wall": dark, "oversample": 1, "light": Light(direct=0.0)}
    plain, grown = (scene(sheets=(replace(page, bloom_px=b),), **at) for b in (0.0, 0.4))
    corners = straight.project(page.place(page.page_corners()))
    rows, columns = int(corners[:, 1].mean()) + np.array([8, 24]), int(corners[:, 0].mean())
    a, b = (radiance(s)[..., 0].astype(float) for s in (plain, grown))
    paper = a[rows[0], columns]
    beside = slice(int(corners[0, 0]) - 8, int(corners[1, 0]) + 9)
    across = [x[rows[0] : rows[1], beside].sum(1).mean() / paper for x in (a, b)]
    assert across[1] - across[0] == pytest.approx(0.8, abs=0.03)
    assert across[0] == pytest.approx(corners[1, 0] - corners[0, 0], abs=0.3)
    both = truth_of(plain)["references"][0], truth_of(grown)["references"][0]
    assert both[0]["actual_mm"] == both[1]["actual_mm"]
    assert both[0]["corners_px"] == both[1]["corners_px"]


def test_a_round_arris_is_lit_from_front_to_inner_face():
    """Lambert (1760): at its ends a round takes the light of the faces it joins."""
    s = scene(light=Light(sun=(0.5, -0.6, 0.7), direct=0.6))
    left = replace(s.opening.sides[3], arris_mm=3.0)
    out, face = np.array([-1.0, 1e-6, 1.5, 3.0, 9.0]), np.ones((5, 3))
    on_round(s, left, out, np.full(5, 1e-9), face)
    front, inner = (float(lit(s, n)[0, 0]) for n in ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0)))
    assert face[[0, 3, 4], 0] == pytest.approx(1.0)
    assert face[1, 0] == pytest.approx(inner / front, abs=2e-3)
    middle = np.deg2rad(60)  # half a radius out of the inner face the normal still leans by 30 degrees to it
    sun = np.array(s.light.sun) / np.linalg.norm(s.light.sun)
    direct = 0.6 * (np.cos(middle) * sun[0] + np.sin(middle) * sun[2]) / sun[2]
    assert face[2, 0] * front == pytest.approx(direct + 0.4 * (0.55 + 0.3 * np.sin(middle)), rel=1e-6)


@pytest.mark.parametrize("moved", [(4.0, 0.0), (-3.0, 2.0)])
def test_a_moved_camera_spreads_light_along_its_way(moved):
    """An even movement of length d has the variance d^2 / 12 along it; interpolation adds at most 1/4 px2."""
    kernel = line_kernel(moved)
    y, x = np.indices(kernel.shape) - len(kernel) // 2
    assert kernel.sum() == pytest.approx(1)
    assert (kernel * x).sum() == pytest.approx(0, abs=1e-12)
    for at, d in ((x, moved[0]), (y, moved[1])):
        assert d**2 / 12 - 1e-3 <= (kernel * at**2).sum() <= d**2 / 12 + 0.25
    assert np.sign((kernel * x * y).sum()) == np.sign(moved[0] * moved[1])


@pytest.mark.parametrize("opens", [1.0, -1.0])
def test_courses_are_set_out_so_that_no_sliver_of_brick_stands_at_a_jamb(opens):
    """A quarter brick at least, and no joint at the arris (common practice, no source)."""
    unit = (215.0, 65.0, 10.0)
    edge = np.linspace(-700, 700, 5001)
    at = np.mod(edge + set_out(edge, np.full(edge.shape, opens), unit, 45.0), 225.0)
    piece = at if opens > 0 else 215.0 - at
    assert piece.min() >= 45.0 - 1e-9
    assert piece.max() <= 215.0 + 1e-9
    assert np.abs(set_out(edge, np.full(edge.shape, opens), unit, 45.0)).max() < 30.0
