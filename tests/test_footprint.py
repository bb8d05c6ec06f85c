"""Facts about the footprint. Oracles: plain geometry on a wall seen square on, 3 mm a pixel; contract.md."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from sizing.check import check_job
from sizing.cli import run
from sizing.exits import Exit
from sizing.footprint.pictures import footprint_pictures, footprint_shapes
from sizing.footprint.result import footprint_document, footprint_exit, footprint_lines, job_footprints
from sizing.json_values import as_text
from sizing.orders.footprint import NotDrawn, footprint_notes, footprint_of
from sizing.orders.obstacles import Rectangle, gap_to
from vision.pictures.footprint_view import Shape, footprint_on_wall, mm_per_px, standing_out_shift, wall_points
from vision.pictures.labels import placed
from vision.request import PARTS, Estimate, PhotoReport

SIZE = (1000, 900)
WIDTH, HEIGHT = 1500.0, 1200.0
MM_PER_PX, ORIGIN = 3.0, 250.0
RULE = """
[rule]
id = "over"
title = "invented"
units = "mm"
[width]
reading = "largest"
add = { left = 30, right = 50 }
[height]
reading = "largest"
add = { head = 0, sill = 20 }
hardware = 100
hardware_least = 100
[free]
below = 160
[panels]
widest = 1000
gap = 10
splits = [[1], [1, 1]]
"""


def to_photo(points):
    return np.asarray(points) / MM_PER_PX + ORIGIN


def px(x_mm, y_mm):
    return [float(v) for v in to_photo(np.array([x_mm, y_mm]))]


def box(x0, y0, x1, y1):
    return str([*px(x0, y0), *px(x1, y1)])


def measured(request, progress):
    corners = to_photo(np.array([[0.0, 0.0], [WIDTH, 0.0], [WIDTH, HEIGHT], [0.0, HEIGHT]]))
    report = PhotoReport(
        request.photos[0].path,
        "ab" * 32,
        SIZE,
        corners,
        wall_to_photo=to_photo,
        extent_mm=(-300.0, -300.0, 1800.0, 1500.0),
    )
    values = np.array([WIDTH] * 3 + [HEIGHT] * 3 + [np.hypot(WIDTH, HEIGHT)] * 2 + [0.0])
    return Estimate(values, np.eye(9), np.zeros((9, len(PARTS))), np.zeros(9), {}, (), (), (report,), (), "corners")


def job(more, rule='rule = "over"'):
    return f"""
[job]
id = "harbor-114"
units = "mm"
tape = "class-2"
[[opening]]
label = "W1"
wall = "masonry"
photos = ["w1.jpg"]
{rule}
{more}
width = {{ top = 1500, middle = 1500, bottom = 1500 }}
height = {{ left = 1200, middle = 1200, right = 1200 }}
"""


@pytest.fixture
def checked(tmp_path):
    Image.new("RGB", SIZE, (150, 120, 100)).save(tmp_path / "w1.jpg")
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "over.toml").write_text(RULE, encoding="utf-8")

    def check(more="", **rule):
        (tmp_path / "job.toml").write_text(job(more, **rule), encoding="utf-8")
        return check_job(tmp_path, estimator=measured)

    return check


def drawn(result):
    (opening,) = result.openings
    return footprint_of(opening.opening, opening.order, opening.answer)


def test_additions_stand_on_the_sides_that_the_rule_gives_them_and_hardware_above_the_head(checked):
    found = drawn(checked())
    # 1500 + 30 + 50 wide, 1200 + 20 + 100 high; by the rule's own sides.
    assert found.ordered.corners()[[0, 2]].ravel() == pytest.approx([-30.0, -100.0, 1550.0, 1220.0], abs=0.01)
    assert found.hardware is not None
    assert (found.hardware.y0, found.hardware.y1) == pytest.approx((-100.0, 0.0), abs=0.01)
    assert found.size_from == "rule"
    # A size that nobody ordered is not drawn as ordered: common practice, no source.
    (label,) = [shape.label for shape in footprint_shapes(found, "mm") if shape.kind == "ordered"]
    assert label == "by the rule|1580 mm x 1320 mm"


def test_panels_and_gap_fill_the_width(checked):
    left, right = drawn(checked()).panels
    # (1580 - 10) / 2 each, the second after the gap.
    assert (left.x0, left.x1, right.x0, right.x1) == pytest.approx((-30.0, 755.0, 765.0, 1550.0), abs=0.01)


def test_what_a_size_ordered_larger_has_over_is_shared_evenly(checked):
    found = drawn(checked("ordered = { width = 1600, height = 1320 }"))
    assert (found.ordered.x0, found.ordered.x1) == pytest.approx((-40.0, 1560.0), abs=0.01)
    assert found.size_from == "ordered"


def test_without_a_rule_the_size_is_centred(checked):
    found = drawn(checked("ordered = { width = 1600, height = 1300 }", rule=""))
    assert found.ordered.corners()[[0, 2]].ravel() == pytest.approx([-50.0, -50.0, 1550.0, 1250.0], abs=0.01)


def test_a_thing_inside_the_ordered_size_holds_the_opening(checked):
    thing = f'obstacles = [{{ what = "lamp", photo = "w1.jpg", box = {box(1500, 500, 1700, 600)} }}]'
    result = checked(thing)
    (opening,) = result.openings
    assert result.verdict == "hold"
    assert "obstacle-in-the-way" in [p.code for p in opening.order.problems]
    (seen,) = drawn(result).obstacles
    # 50 mm of it lie inside the right side at 1550.
    assert (seen.edge, seen.gap_mm) == ("right", pytest.approx(-50.0, abs=0.01))
    assert drawn(result).verdict == "in-the-way"
    assert footprint_exit(result, job_footprints(result)) == Exit.HOLD


def test_a_thing_far_away_holds_nothing(checked):
    result = checked(f'obstacles = [{{ what = "lamp", photo = "w1.jpg", box = {box(-700, 500, -500, 600)} }}]')
    assert result.verdict == "send"
    (seen,) = drawn(result).obstacles
    assert (seen.verdict, seen.gap_mm) == ("free", pytest.approx(470.0, abs=0.01))
    assert footprint_exit(result, job_footprints(result)) == Exit.DONE


def test_what_is_too_close_to_tell_is_a_remark_and_no_hold(checked):
    result = checked(f'obstacles = [{{ what = "bell", photo = "w1.jpg", box = {box(1551, 500, 1600, 600)} }}]')
    assert result.verdict == "send"
    assert [n.code for n in result.openings[0].order.notes] == ["obstacle-unsure"]
    assert footprint_exit(result, job_footprints(result)) == Exit.UNPROVEN


def test_the_room_that_the_rule_asks_for_below_must_be_free_too(checked):
    # The product ends at 1220, but 160 mm below the opening must be free: 1360.
    result = checked(f'obstacles = [{{ what = "tap", photo = "w1.jpg", box = {box(500, 1240, 900, 1300)} }}]')
    (seen,) = drawn(result).obstacles
    assert (seen.edge, seen.gap_mm) == ("below", pytest.approx(-120.0, abs=0.01))
    assert seen.verdict == "in-the-way"


def test_less_room_by_tape_than_the_size_takes_is_a_problem(checked):
    result = checked("clearances = { left = 20, right = 60 }")
    found = {room.edge: room.verdict for room in drawn(result).rooms}
    assert found == {"left": "in-the-way", "right": "free"}
    assert result.verdict == "hold"


def test_room_by_tape_that_is_too_near_to_tell_is_a_remark_and_no_hold(checked):
    # The product ends 50 mm right of the opening: half a millimetre is within what photo and tape are unsure of.
    result = checked("clearances = { left = 90, right = 50.5 }")
    assert {room.edge: room.verdict for room in drawn(result).rooms} == {"left": "free", "right": "unproven"}
    assert (drawn(result).verdict, result.verdict) == ("unproven", "send")
    assert [n.code for n in result.openings[0].order.notes] == ["clearance-unsure"]


def test_one_panel_is_drawn_as_the_product_alone(checked):
    found = drawn(checked("ordered = { width = 990, height = 1320 }"))  # the rule's widest panel is 1000 mm
    assert found.panels == ()


def slanted(points):
    """Return pixels of a wall seen at 63 degrees: of what lies behind the camera there are none, as of any camera."""
    x, y = np.asarray(points).T
    depth = np.where(1 + x / 2000 > 1e-3, 1 + x / 2000, np.nan)
    return np.column_stack([x / depth, y / depth]) / MM_PER_PX + ORIGIN


def slanted_view(result, corners_px):
    """Return what is drawn of an opening seen so, with its corners (4, 2) px."""
    (opening,) = result.openings
    report = replace(opening.answer.photos[0], wall_to_photo=slanted, corners_px=corners_px)
    return footprint_of(opening.opening, opening.order, replace(opening.answer, photos=(report,)))


def test_what_is_outlined_beyond_the_horizon_of_the_wall_has_no_place_on_it(checked):
    """Projective geometry: x / (1 + x / 2000) stays under 2000 mm, or 917 px, however far off the wall is seen."""
    result = checked('obstacles = [{ what = "lamp", photo = "w1.jpg", box = [930, 300, 990, 350] }]')
    corners = slanted(np.array([[0.0, 0.0], [WIDTH, 0.0], [WIDTH, HEIGHT], [0.0, HEIGHT]]))
    found = slanted_view(result, corners)
    assert [note.code for note in footprint_notes(found)[1]] == ["obstacle-not-placed"]
    assert found.verdict == "unproven"
    beyond = np.array([[0.0, 0.0], [500.0, 0.0], [500.0, 0.0], [0.0, 0.0]])  # px
    assert slanted_view(result, corners + beyond) == NotDrawn("not-measured")


def test_an_obstacle_seen_from_the_side_is_less_sure_than_one_before_the_camera(checked):
    things = f"""obstacles = [
    {{ what = "near", photo = "w1.jpg", box = {box(700, -200, 800, -150)} }},
    {{ what = "far", photo = "w1.jpg", box = {box(-740, 500, -600, 600)} }}]"""
    near, far = drawn(checked(things)).obstacles
    assert far.u_mm > near.u_mm > 0


def test_without_a_size_nothing_is_drawn(checked):
    result = checked(rule="")
    assert drawn(result) == NotDrawn("no-size")
    assert footprint_exit(result, job_footprints(result)) == Exit.UNPROVEN


def test_an_obstacle_in_a_photo_that_was_not_measured_is_said(checked):
    result = checked(f'obstacles = [{{ what = "lamp", photo = "w1.jpg", box = {box(0, 0, 9, 9)} }}]')
    (opening,) = result.openings
    other = replace(opening.answer.photos[0], path=opening.opening.photos[0].path.with_name("other.jpg"))
    answer = replace(opening.answer, photos=(other,))
    assert [o.what for o in footprint_of(opening.opening, opening.order, answer).unplaced] == ["lamp"]


@pytest.mark.parametrize("box", [[1000, 100, 1200, 200], [-9, 1, -1, 5], [9, 900, 20, 950]])
def test_an_obstacle_outlined_outside_its_photo_is_said_and_never_free(checked, box):
    """Found: a box in pixels of a larger copy of the photo lay far off on the wall, and the room counted as free."""
    result = checked(f'obstacles = [{{ what = "lamp", photo = "w1.jpg", box = {box} }}]')
    (found,) = job_footprints(result)
    says = "lamp is outlined outside of w1.jpg, which has 1000 x 900 px: its place is not known. Outline it"
    assert [line for line in footprint_lines(found, "mm") if says in line]
    assert footprint_exit(result, (found,)) == Exit.UNPROVEN
    assert footprint_document(found, "mm")["not_placed"] == [{"what": "lamp", "photo": "w1.jpg"}]
    assert [n.code for n in result.openings[0].order.notes] == ["obstacle-outside-photo"]


def test_an_obstacle_that_the_edge_of_the_photo_cuts_is_placed(checked):
    found = drawn(checked('obstacles = [{ what = "lamp", photo = "w1.jpg", box = [999, 100, 1200, 200] }]'))
    assert ([o.what for o in found.obstacles], found.unplaced) == (["lamp"], ())


def test_lines_and_document_say_the_same_and_every_figure_its_uncertainty(checked):
    result = checked(f'obstacles = [{{ what = "lamp", photo = "w1.jpg", box = {box(1500, 500, 1700, 600)} }}]')
    (one,) = job_footprints(result)
    document = json.loads(as_text(footprint_document(one, "mm")))
    assert document["says"] == footprint_lines(one, "mm")
    assert document["obstacles"][0]["U95_mm"] > 0
    assert "give or take" in next(line for line in document["says"] if "lamp" in line)


def test_the_drawing_is_true_to_scale_and_the_photo_shows_it_in_place(checked):
    result = checked()
    on_wall, in_photo = footprint_pictures(result.openings[0], drawn(result), "mm")
    pitch, origin = on_wall.info["mm_per_px"], np.array(on_wall.info["origin_mm"])
    at = (np.array([-30.0, 600.0]) - origin) / pitch  # left side of the product
    assert _orange(np.asarray(on_wall), at)
    scale = max(in_photo.size) / SIZE[0]
    assert _orange(np.asarray(in_photo), (to_photo(np.array([-30.0, 600.0])) + 0.5) * scale - 0.5)


def test_each_label_stands_at_its_own_box(checked, monkeypatch):
    seen = []

    def watched(*arguments, **named):
        seen.append(placed(*arguments, **named))
        return seen[-1]

    monkeypatch.setattr("vision.pictures.drawn_labels.placed", watched)
    result = checked("ordered = { width = 1580, height = 1260 }")  # 60 mm less than the rule's, 30 mm at each end
    found = drawn(result)
    on_wall, in_photo = footprint_pictures(result.openings[0], found, "mm")
    pitch, origin = on_wall.info["mm_per_px"], np.array(on_wall.info["origin_mm"])
    scale = max(in_photo.size) / SIZE[0]
    for boxes, wall_px in (
        (seen[0], lambda x, y: (np.array([x, y]) - origin) / pitch),
        (seen[1], lambda x, y: (to_photo(np.array([x, y])) + 0.5) * scale - 0.5),
    ):
        room, hardware, _ = boxes  # in the order of the shapes
        # the free room is 160 mm below the opening, the hardware 100 mm at the top of the product
        below, end = (wall_px(0.0, y)[1] for y in (found.ordered.y1, found.zone.y1))
        assert below < (room[1] + room[3]) / 2 < end + 2 * (room[3] - room[1])
        top, bottom = (wall_px(0.0, y)[1] for y in (found.hardware.y0, found.hardware.y1))
        assert top < (hardware[1] + hardware[3]) / 2 < bottom


def _orange(pixels, at):
    x, y = (round(float(v)) for v in at)
    near = pixels[y - 2 : y + 3, x - 3 : x + 4].reshape(-1, 3).astype(int)
    return bool((np.abs(near - np.array([230, 159, 0])).max(axis=1) < 12).any())


def test_a_pixel_found_on_the_wall_maps_back_to_itself_in_a_slanted_view():
    # A plane turned by 35 degrees, f 1500 px: the map itself is the oracle of its inverse.
    c, s = np.cos(0.6), np.sin(0.6)

    def slanted(points):
        x, y = np.asarray(points).T
        depth = 3000.0 + s * x
        return np.column_stack([700 + 1500 * c * x / depth, 500 + 1500 * y / depth])

    pixels = np.array([[100.0, 100.0], [1350.0, 820.0], [700.0, 500.0]])
    assert slanted(wall_points(slanted, pixels)) == pytest.approx(pixels, abs=0.01)
    assert mm_per_px(slanted, np.zeros(2)) == pytest.approx(3000 / 1500 / c, rel=1e-3)


def test_a_thing_that_stands_out_is_seen_shifted_by_its_offset_over_the_distance():
    # Similar triangles: camera 2000 mm before (300, 400) with the focal length that is assumed.
    focal = 26.0 / 43.27 * np.hypot(*SIZE)

    def square(points):
        return (np.asarray(points) - np.array([300.0, 400.0])) * focal / 2000.0 + (np.array(SIZE) - 1) / 2

    report = PhotoReport(None, "", SIZE, wall_to_photo=square, extent_mm=(-500.0, -500.0, 1200.0, 1300.0))
    assert standing_out_shift(report, np.array([1300.0, 400.0])) == pytest.approx([0.5, 0.0], abs=1e-3)


finite = st.floats(-2000, 2000)


@given(x=finite, y=finite, w=st.floats(1, 500), h=st.floats(1, 500))
def test_the_gap_is_negative_just_where_the_boxes_overlap(x, y, w, h):
    zone = Rectangle(0.0, 0.0, 1000.0, 800.0)
    gap, _ = gap_to(zone, Rectangle(x, y, x + w, y + h).corners())
    overlap = x < 1000 and x + w > 0 and y < 800 and y + h > 0
    assert (gap < 0) == overlap


def test_a_far_obstacle_does_not_blow_up_the_picture():
    report = PhotoReport(None, "", SIZE, wall_to_photo=to_photo, extent_mm=(0.0, 0.0, 1500.0, 1200.0))
    far = Shape("differs", Rectangle(9e5, 9e5, 1e6, 1e6).corners(), "far")
    view = footprint_on_wall(np.zeros((SIZE[1], SIZE[0], 3), np.uint8), report, [far])
    assert view.width * view.height <= 6_000_000


def test_the_command_names_an_unknown_opening_and_an_unreadable_job(tmp_path, capsys):
    (tmp_path / "job.toml").write_text("[job]\n", encoding="utf-8")
    assert run(["footprint", str(tmp_path)]) == Exit.UNREADABLE
    assert "job.toml" in capsys.readouterr().err
