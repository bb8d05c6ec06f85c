"""Facts about outlines nested in and about an opening. Oracle: the renderer in `fixtures`, which shares no code."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.exif import exif_block
from fixtures.renderer.render import render
from fixtures.renderer.scene import Light, Opening, Scene, Sheet, Wall, smooth_sides
from sizing.check import check_job
from sizing.messages.slips import slip_says
from sizing.result.document import job_document
from vision.estimate import estimate_opening
from vision.faces.lines import FaceLine
from vision.faces.measures import faces_of_outlines
from vision.faces.outlines import Outline, SideAt, nested_outlines, trim_outline
from vision.faces.reveal import Beside, reveal_of
from vision.measures import measure
from vision.request import NINE, SIDES, CheckBar, OpeningRequest, PhotoRequest, Quantity
from vision.stations import clicked_sides

WIDTH, HEIGHT = 1152, 864
FRAME_MM, REVEAL_MM, TRIM_MM, TRIM_OUT = 55.0, 90.0, 89.0, 19.0
CORNERS = np.array([[-402.0, -500], [400, -501], [401, 500], [-400, 502]])
SHEETS = (Sheet(0, (-720.0, -130.0), 1.2), Sheet(1, (530.0, -90.0), -0.7))


def scene(trimmed=False):
    R, t = pose(np.array([60.0, -90.0, 1750.0]), 5.0, -4.0, 1.0)
    camera = Camera(WIDTH, HEIGHT, film_focal_px(26, WIDTH, HEIGHT), WIDTH / 2 + 5, HEIGHT / 2 - 3, 0.01, 0.0, R, t, 26)
    wall, z = Wall("render"), {}
    if trimmed:
        wall = Wall("siding", (0.0, 150.0, 0.0), colour=(0.16, 0.24, 0.30), trim_mm=TRIM_MM)
        z = dict.fromkeys(SIDES, TRIM_OUT)
    opening = Opening(smooth_sides(CORNERS, z), reveal_mm=REVEAL_MM, sill_height_mm=0.0, frame_mm=FRAME_MM)
    return Scene("faces", camera, opening, SHEETS, wall, Light(direct=0.2), oversample=1)


def saved(folder, trimmed=False):
    rgb, truth = render(scene(trimmed))
    Image.fromarray(rgb).save(folder / "a.jpg", "JPEG", quality=94, exif=exif_block(26, 1))
    return truth


def asked(folder, truth, wall, offset):
    bar = Quantity(150.0, 0.1), Quantity(200.0, 0.1)
    corners = np.add(truth["corners_px"], [[3, -2], [-2, 3], [2, 2], [-3, -2.0]])
    photo = PhotoRequest(folder / "a.jpg", corners_px=corners)
    return OpeningRequest((photo,), wall, check_bar=CheckBar(*bar), edge_offset=dict.fromkeys(SIDES, offset))


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """Return folder, truth and estimate of a frame in a render wall."""
    folder = tmp_path_factory.mktemp("plain")
    truth = saved(folder)
    return folder, truth, estimate_opening(asked(folder, truth, "render", Quantity(0.0, 0.3)))


@pytest.fixture(scope="module")
def trimmed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("trim")
    truth = saved(folder, trimmed=True)
    return estimate_opening(asked(folder, truth, "siding", Quantity(TRIM_OUT, 0.3))), truth


def rectangle(inward):
    """Return widths and heights of the window's outline `inward` of the box about the opening, as it is painted."""
    size = np.ptp(CORNERS, axis=0) - 2 * inward
    return dict.fromkeys(NINE[:3], size[0]) | dict.fromkeys(NINE[3:6], size[1])


def nearest(faces, truth):
    whole = [f for f in faces if f.kind == "outline" and set(truth) <= set(f.measures_mm)]
    return min(whole, key=lambda f: sum(abs(f.measures_mm[n] - v) for n, v in truth.items()))


def test_the_outline_where_a_frame_meets_its_glass_is_measured_within_its_uncertainty(plain):
    glass = rectangle(FRAME_MM)
    face = nearest(plain[2].faces, glass)
    for name, value in glass.items():
        assert abs(face.measures_mm[name] - value) < 2 * face.u_by_mm[name]
        assert 2 * face.u_by_mm[name] < 25


def test_the_depth_of_the_frame_is_found_by_parallax(plain):
    face = nearest(plain[2].faces, rectangle(FRAME_MM))
    assert face.depth_by == "parallax"
    assert abs(-face.depth_mm - REVEAL_MM) < 2 * face.u_depth_mm
    assert face.u_depth_mm < 30


def test_the_lines_of_a_face_lie_where_it_is_seen(plain):
    face = nearest(plain[2].faces, rectangle(FRAME_MM))
    low, high = CORNERS.min(0) + FRAME_MM, CORNERS.max(0) - FRAME_MM
    for side, x, y in (("left", low[0], 0.0), ("right", high[0], 0.0), ("head", 0.0, low[1])):
        there = scene().camera.project(np.array([[x, y, -REVEAL_MM]]))[0]
        a, b = face.lines_px[side]
        along = (b - a) / np.linalg.norm(b - a)
        assert abs(np.array([-along[1], along[0]]) @ (there - a)) < 2.0


def test_the_outer_edge_of_a_trim_is_measured_in_the_plane_of_the_edges(trimmed):
    estimate, truth = trimmed
    face = next(f for f in estimate.faces if f.name.startswith("trim"))
    assert face.depth_by == "edge"
    for name in NINE[:3]:
        assert abs(face.measures_mm[name] - truth["measures_mm"][name] - 2 * TRIM_MM) < 2 * face.u_by_mm[name] + 0.5


def test_the_foot_of_a_reveal_is_seen_where_central_projection_puts_it():
    # a camera 1500 before the edge and 300 inward of it; the foot 100 behind: similar triangles
    b = Beside("left", (), 1.0, 300.0, 1500.0, 0.0)
    assert b.foot_mm(100.0) == pytest.approx(300 * 100 / 1600)
    assert b.behind_mm(300 * 100 / 1600, 100.0) == pytest.approx(0.0)
    assert b.seen_mm(b.behind_mm(41.0, 70.0), 70.0) == pytest.approx(41.0)


def seen_from(x, y, distance, depth=30.0, joint=8.0):
    """Return what a camera at x, y mm sees of a frame where reveal and joint are of one colour: its own lines only."""
    views = {}
    for side, inward in (("head", 500 + y), ("left", 400 + x), ("right", 400 - x), ("sill", 500 - y)):
        b = Beside(side, (), 1.0, inward, distance, 0.0)
        views[side] = replace(b, lines=(FaceLine(b.seen_mm(joint, depth), 0.0, 0.3, 1.0),))
    return views


def test_two_places_to_stand_tell_the_depth_that_one_leaves_to_the_width_of_a_joint():
    one, other = seen_from(0.0, 0.0, 1500.0), seen_from(350.0, 150.0, 1400.0)
    alone, both = reveal_of((one,), "siding"), reveal_of((one, other), "siding")
    assert abs(alone.z_mm - 30.0) < 2 * alone.u_z_mm
    assert abs(both.z_mm - 30.0) < 2 * both.u_z_mm
    assert both.u_z_mm < alone.u_z_mm / 2


def test_lines_that_fit_no_common_depth_give_no_frame():
    seen = seen_from(0.0, 0.0, 1500.0)
    lines = {"head": 130.0, "left": 6.0, "right": 75.0, "sill": 200.0}
    odd = {s: replace(b, lines=(FaceLine(lines[s], 0.0, 0.3, 1.0),)) for s, b in seen.items()}
    assert not any(f.name == "frame" and f.weight > 0.5 for f in nested_outlines((odd,), "siding"))
    assert nested_outlines(({s: replace(b, lines=()) for s, b in seen.items()},), "siding") == ()


def test_an_outline_as_far_in_on_all_sides_is_smaller_by_twice_that():
    from tests.views import CORNERS as OPENING
    from tests.views import camera_at
    from vision.camera import project

    camera = camera_at(100.0, 50.0, 2000.0)
    px = project(camera, np.column_stack([OPENING, np.zeros(4)]))
    sides = clicked_sides(px, dict.fromkeys(SIDES, 0.0))
    own = measure(camera, {"camera": np.eye(11) * 1e-12}, sides, np.zeros((4, 4)))
    outline = Outline("x", dict.fromkeys(SIDES, SideAt(30.0, 0.0, 1.0)), 0.0, 0.0, "edge", 1.0)
    (face,) = faces_of_outlines((outline,), camera, sides, own)
    assert face.measures_mm["width_middle"] == pytest.approx(own.values_mm[1] - 60, abs=0.01)
    assert face.measures_mm["height_left"] == pytest.approx(own.values_mm[3] - 60, abs=0.01)
    assert face.u_by_mm["width_middle"] == pytest.approx(2**0.5, rel=0.01)  # one mm at each jamb
    # half as deep again behind the edges as the camera stands before them: half as large again
    (deep,) = faces_of_outlines((replace(outline, z_mm=1000.0),), camera, sides, own)
    assert deep.measures_mm["width_middle"] == pytest.approx(1.5 * (own.values_mm[1] - 60), abs=0.02)


def test_a_tape_from_the_heads_board_to_the_sill_reads_the_height_and_one_board():
    from tests.views import CORNERS as OPENING
    from tests.views import camera_at
    from vision.camera import project

    camera = camera_at(100.0, 50.0, 2000.0)
    sides = clicked_sides(project(camera, np.column_stack([OPENING, np.zeros(4)])), dict.fromkeys(SIDES, 0.0))
    own = measure(camera, {"camera": np.eye(11) * 1e-12}, sides, np.zeros((4, 4)))
    board = dict.fromkeys(("left", "right", "head"), SideAt(-90.0, 0.0, 1.0))
    outline = Outline("x", board, 0.0, 0.0, "edge", 1.0, frozenset({"sill"}))
    (face,) = faces_of_outlines((outline,), camera, sides, own)
    assert face.measures_mm["height_middle"] == pytest.approx(own.values_mm[4] + 90, abs=0.01)
    assert face.measures_mm["width_middle"] == pytest.approx(own.values_mm[1] + 180, abs=0.01)
    (widths,) = faces_of_outlines((replace(outline, to_edge=frozenset()),), camera, sides, own)
    assert set(widths.measures_mm) == set(NINE[:3])


@pytest.mark.parametrize("side", SIDES)
def test_opposite_sides_of_a_frame_are_parallel_and_as_far_apart_as_seen(side):
    """A frame is a rectangle (common practice, no source); one side read 10 mrad askew is 4 to 5 mm off at its ends."""
    from tests.views import CORNERS as OPENING
    from tests.views import camera_at
    from vision.camera import project

    camera = camera_at(100.0, 50.0, 2000.0)
    sides = clicked_sides(project(camera, np.column_stack([OPENING, np.zeros(4)])), dict.fromkeys(SIDES, 0.0))
    own = measure(camera, {"camera": np.eye(11) * 1e-12}, sides, np.zeros((4, 4)))
    askew = dict.fromkeys(SIDES, SideAt(30.0, 0.0, 1.0)) | {side: SideAt(30.0, 0.01, 1.0)}
    frame, trim = faces_of_outlines(
        (Outline("x", askew, 0.0, 0.0, "parallax", 1.0), Outline("x", askew, 0.0, 0.0, "edge", 1.0)), camera, sides, own
    )
    a, middle, b = NINE[:3] if side in ("left", "right") else NINE[3:6]
    assert frame.measures_mm[a] == pytest.approx(frame.measures_mm[b], abs=0.1)
    assert abs(trim.measures_mm[a] - trim.measures_mm[b]) > 5.0
    assert frame.measures_mm[middle] == pytest.approx(trim.measures_mm[middle], abs=0.1)


JOB = """[job]
id = "demo"
units = "mm"
tape = "class-2"
graduation = "1 mm"
[[opening]]
label = "W1"
wall = "render"
photos = ["a.jpg"]
edge_offset = 0
check_bar = "150 mm"
width = {{ top = {0:.0f}, middle = {1:.0f}, bottom = {2:.0f} }}
height = {{ left = {3:.0f}, middle = {4:.0f}, right = {5:.0f} }}
diagonal = {{ down = {6:.0f}, up = {7:.0f} }}
"""


@pytest.mark.parametrize("taken", ["widths", "all", "height_middle"])
def test_a_tape_that_went_to_the_frame_is_explained_by_it_first(plain, tmp_path, taken):
    folder, truth, estimate = plain
    sound = [truth["measures_mm"][n] for n in NINE[:8]]
    frame = [rectangle(FRAME_MM)[n] for n in NINE[:6]]
    to_frame = {"widths": {0, 1, 2}, "all": set(range(6)), "height_middle": {4}}[taken]
    (tmp_path / "a.jpg").write_bytes((folder / "a.jpg").read_bytes())
    read = [frame[i] if i in to_frame else sound[i] for i in range(8)]  # diagonals were taken from edge to edge
    (tmp_path / "job.toml").write_text(JOB.format(*read), encoding="utf-8")
    result = check_job(tmp_path, estimator=lambda request, progress: estimate)
    readings = {r["name"]: r for r in job_document(result)["openings"][0]["readings"]}
    for i in to_frame:
        first = readings[NINE[i]]["likely"][0]
        assert (readings[NINE[i]]["verdict"], first["slip"]) == ("differs", "another-line")
        assert "frame" in first["says"]
        assert first["corrected_mm"] == pytest.approx(sound[i], abs=12)


def test_the_result_says_what_a_face_rests_on(plain, tmp_path):
    folder, truth, estimate = plain
    (tmp_path / "a.jpg").write_bytes((folder / "a.jpg").read_bytes())
    (tmp_path / "job.toml").write_text(JOB.format(*(truth["measures_mm"][n] for n in NINE[:8])), encoding="utf-8")
    document = job_document(check_job(tmp_path, estimator=lambda request, progress: estimate))
    frame = next(f for f in document["openings"][0]["faces"] if f["kind"] == "outline")
    assert {"name", "measures_mm", "u_mm", "depth_mm"} <= set(frame)  # as before
    assert set(frame["U95_mm"]) == set(frame["measures_mm"]) == set(NINE)
    assert (frame["depth_by"], set(frame["lines_px"])) == ("parallax", set(SIDES))
    assert 0 < frame["weight"] <= 1
    assert frame["u_depth_mm"] > 0


def test_the_lines_of_a_slip_are_named_in_the_units_of_the_job():
    # 70 mm = 2.756 in, to the next 1/16 in: 2 3/4
    facts = {"lines": "frame, 70 mm further in"}
    assert "frame, 2 3/4 in further in" in slip_says("another-line", -70.0, 1000.0, facts, "in")
    assert "frame, 70 mm further in" in slip_says("another-line", -70.0, 1000.0, facts, "mm")


def beside(side, *lines):
    return Beside(side, tuple(FaceLine(-out, 0.0, contrast, 1.0) for out, contrast in lines), 1.0, 300.0, 1500.0, 0.0)


def trim_of(**lines):
    (found,) = trim_outline({s: beside(s, *lines.get(s, ())) for s in ("head", "right", "sill", "left")})
    return found


def test_a_broader_board_over_the_head_is_told_by_how_it_parts_from_the_wall():
    """Head boards are broader than those of the jambs (common practice, no source); a lap's shadow is no board."""
    jambs = {"left": [(114.0, 0.18)], "right": [(114.2, 0.17)]}
    outline = trim_of(**jambs, head=[(180.0, 0.50), (150.0, 0.20), (131.0, 0.009)], sill=[(114.1, 0.19)])
    assert {s: -a.inward_mm for s, a in outline.sides.items()} == {
        "left": 114.0,
        "right": 114.2,
        "head": 150.0,
        "sill": 114.1,
    }
    assert outline.to_edge == frozenset()


def test_boards_of_one_breadth_are_one_trim_however_the_light_falls_on_them():
    outline = trim_of(left=[(108.0, 0.24)], right=[(108.0, 0.73)], head=[(150.0, 0.70), (107.9, 0.1)])
    assert -outline.sides["head"].inward_mm == 107.9


def test_without_a_board_below_a_tape_goes_down_to_the_sill():
    outline = trim_of(left=[(94.0, 0.6)], right=[(94.3, 0.6)], head=[(94.1, 0.6)], sill=[(50.0, 0.6)])
    assert set(outline.sides) == {"left", "right", "head"}
    assert outline.to_edge == {"sill"}
    assert outline.name.endswith("down to the sill")


def test_a_trim_whose_head_does_not_show_has_widths_only():
    outline = trim_of(left=[(94.0, 0.6)], right=[(94.3, 0.6)], head=[(160.0, 0.02)])
    assert set(outline.sides) == {"left", "right"}
    assert outline.to_edge == frozenset()
