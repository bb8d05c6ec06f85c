"""Job files. Oracle: contract, *Job file*, *Limits* and *Decision*; facts.md section 2 for graduations."""

import hashlib
import os
from datetime import date

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sizing.errors import InputError, SizingError
from sizing.jobs.file import load_job
from sizing.jobs.job import READINGS, Tolerance, opening_request
from vision.request import NINE, SIDES, CheckBar, Quantity, Reference

# The contract's example, word for word (its comments left out).
EXAMPLE = """
[job]
id = "harbor-114"
units = "in"
measured_by = "crew 2"
measured_on = 2026-05-04
tape = "class-2"
graduation = "1/16"
seen_from = "outside"
tolerance = "1/4"

[[opening]]
label = "W1"
wall = "masonry"
photos = ["w1-a.jpg", { file = "w1-b.jpg", corners = [[812, 640], [3120, 655], [3105, 2410], [820, 2398]] }]
reference = "sheet"
check_bar = "149.5 mm"
edge_offset = "3/4"
sill_at = "front"
shape = "rectangle"
rule = "louvered-outside"
quantity = 1
note = ""
[opening.width]
top = "54 3/8"
middle = "54 1/4"
bottom = "54 3/8"
[opening.height]
left = "60"
middle = "60 1/8"
right = "60 1/8"
[opening.diagonal]
down = "81 1/4"
up = "81"
[[opening.visit]]
by = "crew 5"
on = 2026-05-11
width = { middle = "54 3/8" }
[opening.ordered]
width = "55 3/8"
height = "62 1/8"
[opening.delivered]
width = "55 3/8"
height = "61 1/8"
"""
SMALL = """
[job]
id = "quay-7"
units = "{units}"
{job}

[[opening]]
label = "W1"
wall = "masonry"
{opening}
"""


@pytest.fixture
def folder(tmp_path):
    job = tmp_path / "job"
    job.mkdir()
    for name in ("w1-a.jpg", "w1-b.jpg", "paper.pdf", "phone.toml"):
        (job / name).write_bytes(b"x")
    return job


@pytest.fixture
def load(folder):
    def write_and_load(text, **options):
        data = text if isinstance(text, bytes) else text.encode()
        (folder / "job.toml").write_bytes(data)
        return load_job(folder, **options)

    return write_and_load


@pytest.fixture
def small(load):
    def write_and_load(opening="", job="", units="in", **options):
        return load(SMALL.format(units=units, job=job, opening=opening), **options)

    return write_and_load


@pytest.fixture
def refused(load, folder):
    def problems_of(text, code="job-invalid"):
        with pytest.raises(InputError) as refusal:
            load(text)
        assert refusal.value.code == code
        said = [str(problem).replace(f"{folder}{os.sep}", "") for problem in refusal.value.problems]
        assert all("\n" not in one and one.startswith("job.toml: ") for one in said)
        return said

    return problems_of


def changed(*replacements):
    text = EXAMPLE
    for old, new in replacements:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    return text


def mm_by_name(readings):
    return {reading.name: reading.length.mm for reading in readings}


def test_the_contracts_example_is_read_whole(load, folder):
    job = load(EXAMPLE)
    opening = job.openings[0]
    assert (job.id, job.units, job.tape, job.measured_on) == ("harbor-114", "in", "class-2", date(2026, 5, 4))
    assert job.sha256 == hashlib.sha256(EXAMPLE.encode()).hexdigest()
    assert (job.file, job.folder) == (folder / "job.toml", folder.resolve())
    assert job.graduation_mm == 1.5875
    assert [photo.path for photo in opening.photos] == [folder / "w1-a.jpg", folder / "w1-b.jpg"]
    assert [photo.error for photo in opening.photos] == [None, None]
    assert opening.photos[0].corners_px is None
    np.testing.assert_array_equal(opening.photos[1].corners_px, [[812, 640], [3120, 655], [3105, 2410], [820, 2398]])
    assert opening.reference == Reference("sheet")
    assert opening.edge_offset == dict.fromkeys(SIDES, Quantity(19.05, 1.0))
    assert opening.rule == "louvered-outside"
    assert mm_by_name(opening.readings)["height_left"] == 1524.0
    assert (opening.ordered.width.mm, opening.delivered.height.mm) == (1406.525, 1552.575)


def test_a_job_is_loaded_from_its_folder_or_its_file(load, folder):
    job = load(EXAMPLE)
    assert load_job(folder / "job.toml").sha256 == job.sha256


def test_readings_are_eight_of_the_nine_measures():
    assert NINE[:8] == READINGS


def test_what_is_not_written_takes_the_contracts_defaults(small):
    job = small()
    opening = job.openings[0]
    assert (job.tape, job.seen_from, job.graduation_mm) == ("unknown", "outside", 1.5875)
    assert job.tolerance == Tolerance(6.35, 6.35, 6.35, 6.35, 12.7)
    assert (opening.photos, opening.readings, opening.visits[0].readings) == ((), (), ())
    assert (opening.reference, opening.check_bar, opening.edge_offset) == (
        Reference("sheet"),
        CheckBar(),
        None,
    )
    assert (opening.sill_at, opening.shape, opening.quantity, opening.rule) == ("front", "rectangle", 1, None)


def test_bare_numbers_are_in_the_jobs_unit_and_metric_tapes_read_to_1_mm(small):
    job = small("width = { top = 1381, middle = 1381.5, bottom = '138.1 cm' }", units="mm")
    assert mm_by_name(job.openings[0].readings) == {
        "width_top": 1381.0,
        "width_middle": 1381.5,
        "width_bottom": 1381.0,
    }
    assert job.openings[0].readings[0].graduation_mm == 1.0


def test_strong_is_a_quarter_of_the_graduation_of_its_own_visit(small):
    opening = small(
        'width = { top = "54 strong", middle = "54 strong" }\n[[opening.visit]]\ngraduation = "1/32"\n'
        'width = { middle = "54 strong" }',
        job='graduation = "1/8"',
    ).openings[0]
    shifts = {name: (mm - 54 * 25.4) / 25.4 for name, mm in mm_by_name(opening.readings).items()}
    assert shifts == pytest.approx({"width_top": 1 / 32, "width_middle": 1 / 128})
    assert [reading.length.strong for reading in opening.readings] == [1, 1]


def test_a_visit_replaces_only_the_boxes_that_it_fills(load):
    opening = load(EXAMPLE).openings[0]
    middle = opening.readings[1]
    assert (middle.name, middle.length.as_written, middle.by, middle.on, middle.visit) == (
        "width_middle", "54 3/8", "crew 5", date(2026, 5, 11), 1,
    )  # fmt: skip
    assert [(r.name, r.length.as_written, r.by) for r in opening.superseded] == [("width_middle", "54 1/4", "crew 2")]
    assert {reading.visit for reading in opening.readings} == {0, 1}
    assert [visit.number for visit in opening.visits] == [0, 1]


def test_readings_from_inside_are_named_as_seen_from_outside(load):
    opening = load(changed(('seen_from = "outside"', 'seen_from = "inside"'))).openings[0]
    outside = load(EXAMPLE).openings[0]
    inside, plain = mm_by_name(opening.readings), mm_by_name(outside.readings)
    assert inside["height_right"] == plain["height_left"]
    assert inside["height_left"] == plain["height_right"]
    assert inside["diagonal_down"] == plain["diagonal_up"]
    assert inside["diagonal_up"] == plain["diagonal_down"]
    assert [inside[name] for name in READINGS[:3]] == [plain[name] for name in READINGS[:3]]
    assert {r.name: r.as_named for r in opening.readings}["height_right"] == "height_left"


def test_a_visit_from_inside_replaces_the_box_on_the_other_side(load):
    text = changed(("width = { middle", 'seen_from = "inside"\nheight = { left = "61" }\nwidth = { middle'))
    opening = load(text).openings[0]
    assert mm_by_name(opening.readings)["height_right"] == 1549.4
    assert {reading.name for reading in opening.superseded} == {"width_middle", "height_right"}


@pytest.mark.parametrize(
    ("text", "suspicious"),
    [("3 7/8", True), ("4", False), ("8000 mm", False), ("8001 mm", True), ("54.375 m", True)],
)
def test_a_reading_over_8_m_or_under_100_mm_is_kept_and_marked(small, text, suspicious):
    assert small(f'width = {{ top = "{text}" }}').openings[0].readings[0].suspicious_unit is suspicious


def test_a_tolerance_may_differ_by_direction(small):
    job = small(job='tolerance = { width_under = "1/8", width_over = 0.5, diagonal = "10 mm" }')
    assert job.tolerance == Tolerance(3.175, 12.7, 6.35, 6.35, 10.0)
    assert job.tolerance.of("width_top") == (3.175, 12.7)
    assert job.tolerance.of("height_left") == (6.35, 6.35)
    assert job.tolerance.of("diagonal_up") == (10.0, 10.0)


def test_one_tolerance_is_that_of_widths_and_heights(small):
    assert small(job='tolerance = "1/8"').tolerance == Tolerance(3.175, 3.175, 3.175, 3.175, 12.7)


# Rectangular over one step of the last digit: step / sqrt 12 (JCGM 100, 4.3.7; facts.md section 2, rounding).
@pytest.mark.parametrize(
    ("written", "across", "along"),
    [
        ('"149.5 mm"', Quantity(149.5, 0.1 / 12**0.5), None),
        ('"5 7/8"', Quantity(149.225, 3.175 / 12**0.5), None),
        (
            '{ across = "149.5 mm", along = "199 mm" }',
            Quantity(149.5, 0.1 / 12**0.5),
            Quantity(199.0, 1 / 12**0.5),
        ),
        ('{ along = "199.4 mm", u = "0.2 mm" }', None, Quantity(199.4, 0.2)),
    ],
)
def test_a_check_bar_has_the_uncertainty_of_its_last_digit_unless_given(small, written, across, along):
    bar = small(f"check_bar = {written}").openings[0].check_bar
    for found, expected in ((bar.across, across), (bar.along, along)):
        assert (found is None) == (expected is None)
        if found and expected:
            assert found.value_mm == expected.value_mm
            assert found.u_mm == pytest.approx(expected.u_mm, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "offsets"),
    [
        ('"-3/4"', dict.fromkeys(SIDES, Quantity(-19.05, 1.0))),
        ("0", dict.fromkeys(SIDES, Quantity(0.0, 1.0))),
        ('{ head = 0, sill = "1 1/2" }', {"head": Quantity(0.0, 1.0), "sill": Quantity(38.1, 1.0)}),
        ('{ value = "19 mm", u = "3 mm" }', dict.fromkeys(SIDES, Quantity(19.0, 3.0))),
        ('{ value = "19 mm" }', dict.fromkeys(SIDES, Quantity(19.0, 1.0))),
        ('{ sill = { value = "38 mm", u = "4 mm" } }', {"sill": Quantity(38.0, 4.0)}),
    ],
)
def test_an_edge_offset_that_is_given_is_good_to_1_mm_unless_said(small, written, offsets):
    assert small(f"edge_offset = {written}").openings[0].edge_offset == offsets


def test_a_rectangle_of_given_size_is_a_reference(small):
    opening = small('reference = { width = "4 3/4", height = "3 1/8" }').openings[0]
    assert opening.reference == Reference("given", 120.65, 79.375)


def test_a_photo_table_carries_all_that_is_told_of_it(small, folder):
    quad = "[[0, 0], [9, 0], [9, 9], [0, 9]]"
    opening = small(
        f"photos = [{{ file = 'w1-a.jpg', turn = 90, trace = false, click_px = 5, reference = 'a4', "
        f"reference_corners = [{quad}, {quad}], lens = 'phone.toml', focal35 = 26, when = 'before' }}, "
        f"{{ file = 'w1-b.jpg', reference_corners = {quad} }}]"
    ).openings[0]
    photo = opening.photos[0]
    assert (photo.turn, photo.trace, photo.click_px, photo.focal35_mm, photo.when) == (
        90,
        False,
        5.0,
        26.0,
        "before",
    )
    assert (photo.reference, photo.lens) == (Reference("a4"), folder / "phone.toml")
    assert [quad.shape for quad in photo.reference_corners_px] == [(4, 2), (4, 2)]
    assert len(opening.photos[1].reference_corners_px) == 1
    with pytest.raises(ValueError, match="read-only"):
        photo.reference_corners_px[0][0] = 1.0


def test_obstacles_clearances_documents_and_extra_are_kept(small, folder):
    opening = small(
        'photos = ["w1-a.jpg"]\n'
        'obstacles = [{ what = "lamp", photo = "w1-a.jpg", box = [1, 2, 3, 4] }, '
        '{ what = "pipe", photo = "w1-a.jpg", polygon = [[0, 0], [1, 0], [1, 1]] }]\n'
        'clearances = { above = "6", left = "100 mm" }\n'
        'documents = [{ file = "paper.pdf", kind = "order" }, { file = "gone.pdf", kind = "field-sheet" }]\n'
        "extra = { room = 3, nested = { deep = [1, 2] } }"
    ).openings[0]
    assert [thing.outline_px for thing in opening.obstacles] == [
        ((1, 2), (3, 2), (3, 4), (1, 4)),
        ((0, 0), (1, 0), (1, 1)),
    ]
    assert {side: length.mm for side, length in opening.clearances.items()} == {"above": 152.4, "left": 100.0}
    assert (opening.documents[0].path, opening.documents[0].error) == (folder / "paper.pdf", None)
    assert "does not exist" in opening.documents[1].error.says
    assert opening.extra == {"room": 3, "nested": {"deep": [1, 2]}}


@pytest.mark.parametrize("shape", ["arched", "other"])
def test_a_shape_that_is_not_measured_is_no_error_of_the_job(small, shape):
    assert small(f'shape = "{shape}"').openings[0].shape == shape


def test_what_vision_is_asked_leaves_out_photos_that_cannot_be_used(small, folder):
    opening = small('photos = ["w1-a.jpg", "gone.jpg"]').openings[0]
    request = opening_request(opening)
    assert [photo.path for photo in request.photos] == [folder / "w1-a.jpg"]
    assert (request.wall, request.reference, request.check_bar) == ("masonry", Reference(), CheckBar())


# One bad photo never stops the others (contract, *Commands*).
@pytest.mark.parametrize(
    ("photo", "says"),
    [
        ("'gone.jpg'", "'gone.jpg' does not exist"),
        ("'.'", "is a folder"),
        ("'pipe'", "is no regular file"),
        ("'../outside.jpg'", "lies outside the job's folder"),
        ("'link.jpg'", "lies outside the job's folder"),
        ("'loop.jpg'", "cannot be used"),
        ("'/etc/hostname'", "lies outside the job's folder"),
        ('"a\\u0000b.jpg"', "cannot be used"),
        ("'" + "n" * 300 + ".jpg'", "cannot be used"),
        ("{ file = 'w1-b.jpg', lens = 'gone.toml' }", "'gone.toml' does not exist"),
        ("{ file = 'w1-b.jpg', corners = [[0, 0], [9, 0], [9, 9]] }", "3 points: give the 4 corners"),
        ("{ file = 'w1-b.jpg', corners = [[0, 0], [9, 0], [0, 9], [9, 9]] }", "not convex"),
        ("{ file = 'w1-b.jpg', corners = [[0, 0], [5, 0], [9, 0], [0, 9]] }", "not convex"),
        ("{ file = 'w1-b.jpg', corners = [[0, 0], [0, 9], [9, 9], [9, 0]] }", "counter-clockwise"),
        ("{ file = 'w1-b.jpg', corners = [[9, 0], [9, 9], [0, 9], [0, 0]] }", "not the top left"),
        ("{ file = 'w1-b.jpg', corners = [[9, 9], [0, 9], [0, 0], [9, 0]] }", "not the top left"),
        ("{ file = 'w1-b.jpg', corners = ['-', [9, 0], [9, 9], [10, 9]] }", "out of order"),
        ("{ file = 'w1-b.jpg', corners = ['-', '-', '-', '-'] }", "no corner is in view"),
        ("{ file = 'w1-b.jpg', reference_corners = [[0, 0], [0, 9], [9, 9], [9, 0]] }", "counter-clockwise"),
    ],
    ids=lambda value: str(value).replace("n" * 300, "long"),
)
def test_a_photo_that_cannot_be_used_is_its_own_error_and_stops_no_other(small, folder, photo, says):
    (folder.parent / "outside.jpg").write_bytes(b"x")
    (folder / "link.jpg").symlink_to("../outside.jpg")
    (folder / "loop.jpg").symlink_to("loop.jpg")
    os.mkfifo(folder / "pipe")
    good, bad = small(f"photos = ['w1-a.jpg', {photo}]").openings[0].photos
    assert good.error is None
    assert says in bad.error.says
    assert bad.error.where.startswith(f'{folder / "job.toml"}: opening[0] "W1".photos[1]')
    assert "\n" not in str(bad.error)


def test_a_reference_lying_on_its_side_may_start_at_any_corner(small):
    quad = "[[9, 0], [9, 9], [0, 9], [0, 0]]"
    photo = small(f"photos = [{{ file = 'w1-a.jpg', reference_corners = {quad} }}]").openings[0].photos[0]
    assert photo.error is None


def test_files_outside_the_folder_are_used_only_when_allowed(small, folder):
    outside = folder.parent / "outside.jpg"
    outside.write_bytes(b"x")
    photos = small(f"photos = ['../outside.jpg', '{outside}']", allow_outside=True).openings[0].photos
    assert [(photo.error, photo.path) for photo in photos] == [(None, outside.resolve())] * 2


def test_a_link_that_stays_inside_is_followed(small, folder):
    (folder / "link.jpg").symlink_to("w1-a.jpg")
    photo = small("photos = ['link.jpg']").openings[0].photos[0]
    assert (photo.error, photo.path) == (None, folder / "w1-a.jpg")


def test_all_problems_are_said_at_once_with_their_places(refused):
    text = changed(
        ("units = ", "unit = "),
        ('top = "54 3/8"', 'topp = "54 3/8"'),
        ('left = "60"', 'left = "-60"'),
        ('wall = "masonry"', 'wall = "brick"'),
        ("on = 2026-05-11", "on = 2026-05-01"),
        ("quantity = 1", 'quantity = "1"'),
    )
    said = refused(text + EXAMPLE[EXAMPLE.index("[[opening]]") :])
    starts = [
        "job.units: is missing",
        "job.unit: unknown key; did you mean 'units'?",
        "opening[0] \"W1\".width.topp: unknown key; did you mean 'top'?",
        "opening[0] \"W1\".height.left: '-60' is negative",
        "opening[0] \"W1\".wall: must be 'masonry', 'render', 'siding' or 'panel'; found 'brick'",
        "opening[0] \"W1\".quantity: must be a whole number; found '1'",
        'opening[0] "W1".visit[0].on: 2026-05-01 is before',
        "opening 'W1': 2 openings have this label",
    ]
    missing = [start for start in starts if not any(one.startswith(f"job.toml: {start}") for one in said)]
    assert (missing, len(said)) == ([], len(starts))


SLIPS = [
    ('units = "in"', 'units = "inch"', "job.units: must be 'in' or 'mm'; found 'inch'; did you mean 'in'?"),
    ('units = "in"', "", 'job.units: is missing: say units = "in"'),
    ('top = "54 3/8"', 'top = "54 38"', "width.top: '54 38' can be read as 54 3/8 or as 5438"),
    ('top = "54 3/8"', 'top = "54 3/8 furlong"', "width.top: '54 3/8 furlong' is not a length"),
    ('top = "54 3/8"', "top = nan", "width.top: 'nan' is not a length"),
    ('top = "54 3/8"', "top = -inf", "width.top: '-inf' is not a length"),
    ('top = "54 3/8"', "top = true", "width.top: 'bool' is not a length"),
    ('top = "54 3/8"', "top = 54380", "width.top: '54380' is over 100 m"),
    ('top = "54 3/8"', "top = ['54']", "width.top: 'list' is not a length"),
    ("[opening.width]", "[opening.widht]", "\"W1\".widht: unknown key; did you mean 'width'?"),
    ('by = "crew 5"', 'buy = "crew 5"', "visit[0].buy: unknown key; did you mean 'by'?"),
    ('reference = "sheet"', 'reference = "sheets"', "reference: must be 'sheet', 'letter', 'a4' or 'id1'"),
    ('reference = "sheet"', "reference = { width = 5 }", "reference.height: is missing"),
    ('reference = "sheet"', "reference = { width = 5, hight = 5, height = 5 }", "did you mean 'height'?"),
    ('reference = "sheet"', "reference = { width = 0, height = 5 }", "the side of a reference is"),
    ('check_bar = "149.5 mm"', "check_bar = 149.5", "check_bar: '149.5' is 149 1/2 in"),
    ('check_bar = "149.5 mm"', 'check_bar = { u = "1 mm" }', "check_bar: names no bar"),
    ('check_bar = "149.5 mm"', 'check_bar = { along = "149.5 mm" }', "check_bar.along: '149.5 mm' is"),
    (
        'edge_offset = "3/4"',
        "edge_offset = 19",
        "edge_offset: '19' is 19 in: an edge offset is -11 13/16 in to",
    ),
    ('edge_offset = "3/4"', "edge_offset = { }", "edge_offset: names no side"),
    (
        'edge_offset = "3/4"',
        "edge_offset = { sil = 1 }",
        "edge_offset.sil: unknown key; did you mean 'sill'?",
    ),
    (
        'edge_offset = "3/4"',
        "edge_offset = { value = 1, u = 0 }",
        "edge_offset.u: '0' is 0 in: an uncertainty",
    ),
    ('tolerance = "1/4"', 'tolerance = "1381 mm"', "job.tolerance: '1381 mm' is 54 3/8 in: a tolerance is"),
    ('tolerance = "1/4"', 'tolerance = "0"', "job.tolerance: '0' is 0 in: a tolerance is"),
    ('tolerance = "1/4"', "tolerance = { widht_under = 1 }", "did you mean 'width_under'?"),
    ('graduation = "1/16"', 'graduation = "0"', "job.graduation: '0' is 0 in: a graduation is"),
    ('tape = "class-2"', 'tape = "class-4"', "job.tape: must be 'class-1'"),
    ('seen_from = "outside"', 'seen_from = "back"', "job.seen_from: must be 'outside' or 'inside'"),
    ("2026-05-04", '"2026-05-04"', "job.measured_on: must be a date without quotes"),
    ("2026-05-04", "2026-05-04T08:00:00", "job.measured_on: must be a date without quotes"),
    (
        "2026-05-11",
        "2026-05-03",
        "visit[0].on: 2026-05-03 is before the readings that it replaces (2026-05-04)",
    ),
    ('id = "harbor-114"', "id = 114", "job.id: must be text in quotes; found 114"),
    ('id = "harbor-114"', 'id = ""', "job.id: '' is not a name"),
    ('id = "harbor-114"', 'id = "a\\nb"', "job.id: 'a\\nb' is not a name"),
    ('label = "W1"', "", 'opening[0].label: is missing: say label = "W1"'),
    ('label = "W1"', 'label = "W1"\nsite = 3', '"W1".site: unknown key; did you mean'),
    ('label = "W1"', 'label = "W1"\nzzzzz = 3', '"W1".zzzzz: unknown key; known here: check_bar, clearances'),
    ('label = "W1"', 'label = "W1"\n"<text>" = 3', "unknown key"),
    ("quantity = 1", "quantity = 0", "quantity: must be at least 1; found 0"),
    ('photos = ["w1-a.jpg"', "photos = [3", "photos[0]: must be text in quotes; found 3"),
    (
        'file = "w1-b.jpg"',
        'file = "w1-b.jpg", turn = 45',
        "photos[1].turn: must be 0, 90, 180 or 270; found 45",
    ),
    ('file = "w1-b.jpg"', 'file = "w1-b.jpg", click_px = nan', "photos[1].click_px: must be a finite number"),
    ('file = "w1-b.jpg"', 'file = "w1-b.jpg", trace = 1', "photos[1].trace: must be true or false; found 1"),
    ('file = "w1-b.jpg"', 'fle = "w1-b.jpg"', "photos[1].fle: unknown key; did you mean 'file'?"),
    ("[820, 2398]", "[820]", "photos[1].corners: '[820]' is not a point"),
    ("[820, 2398]", "[820, nan]", "photos[1].corners: 'nan' is not a pixel coordinate"),
    ("[820, 2398]", "[820, true]", "photos[1].corners: 'True' is not a pixel coordinate"),
    ("[[812, 640], [3120, 655], [3105, 2410], [820, 2398]]", "3", "photos[1].corners: not a list of points"),
    ("[[opening]]", "[opening]", "opening: must be a list of tables: write [[opening]] in double brackets"),
    ('note = ""', 'documents = [{ file = "a", kind = "fax" }]', "documents[0].kind: must be 'field-sheet'"),
    ('note = ""', "extra = 3", "extra: must be a table; found 3"),
    (
        'note = ""',
        'obstacles = [{ what = "a", photo = "x.jpg", box = [1, 2, 3, 4] }]',
        "none of the opening's photos",
    ),
    ('note = ""', 'obstacles = [{ what = "a", photo = "w1-a.jpg" }]', "obstacles[0]: give box"),
    (
        'note = ""',
        'obstacles = [{ what = "a", photo = "w1-a.jpg", polygon = [[1, 2]] }]',
        "at least 3 points",
    ),
    ('note = ""', 'obstacles = [{ what = "a", photo = "w1-a.jpg", box = [1, 2] }]', "obstacles[0].box: "),
]


@pytest.mark.parametrize(("old", "new", "says"), SLIPS, ids=range(len(SLIPS)))
def test_one_slip_gives_one_line_with_key_and_remedy(refused, old, new, says):
    text = changed((old, new))
    if new == "[opening]":
        text = text.replace("[[opening.visit]]", "[opening.visit]")
    said = refused(text)
    assert len([one for one in said if says in one]) == 1, said


def test_a_reading_scant_of_nothing_is_found_with_its_own_graduation(refused):
    text = changed(('top = "54 3/8"', 'top = "1/64 scant"'), ('graduation = "1/16"', 'graduation = "1/2"'))
    assert refused(text) == ["job.toml: opening[0] \"W1\".width.top: '1/64 scant' is negative: a length is 0 or more"]


def test_a_toml_error_names_its_line(refused):
    said = refused(changed(('top = "54 3/8"', "top = 54 3/8")), "job-not-toml")
    line = EXAMPLE[: EXAMPLE.index('top = "54')].count("\n") + 1
    assert said[0].startswith(f"job.toml: line {line}: not TOML: ")
    assert "stand in quotes" in said[0]


NO_JOBS = [
    ("x = ", "job-not-toml", "line 1: not TOML"),
    ("a = 1\na = 2", "job-not-toml", "line 2: not TOML: Cannot overwrite a value"),
    ("a = " + "[" * 20_000, "job-not-toml", "brackets too deep"),
    ("a = " + "9" * 5000, "job-not-toml", "a number too long"),
    ("measured_on = 2026-13-40", "job-not-toml", "line 1: not TOML"),
    (b"[job]\nid = '\xff'", "job-not-text", "line 2: not UTF-8 text"),
    (b"\xff\xd8\xff\xe0" * 10, "job-not-text", "line 1: not UTF-8 text"),
    ("#" * 1_000_001, "job-too-large", "over 1 MB"),
    ("", "job-invalid", "job: is missing"),
    ("[job]\nid='a'\nunits='in'\n", "job-invalid", "opening: is missing: at least one [[opening]]"),
    (
        "opening = []\n[job]\nid='a'\nunits='in'\n",
        "job-invalid",
        "opening: is missing: at least one [[opening]]",
    ),
    ("job = 3\nopening = 4", "job-invalid", "job: must be a table; found 3"),
    ("opening = [3, 4]\n[job]\nid='a'\nunits='in'\n", "job-invalid", "opening[1]: must be a table; found 4"),
]


@pytest.mark.parametrize(("text", "code", "says"), NO_JOBS, ids=range(len(NO_JOBS)))
def test_a_file_that_is_no_job_is_said_in_one_line(load, text, code, says):
    with pytest.raises(InputError) as refusal:
        load(text)
    assert refusal.value.code == code
    assert any(says in str(problem) for problem in refusal.value.problems)


def test_limits_of_200_openings_and_12_photos(refused, load):
    head = "[job]\nid = 'a'\nunits = 'in'\n"
    openings = [f"[[opening]]\nlabel = '{i}'\nwall = 'render'\n" for i in range(201)]
    assert len(load(head + "".join(openings[:200])).openings) == 200
    assert refused(head + "".join(openings)) == ["job.toml: opening: at most 200 openings in a job; found 201"]
    photos = f"photos = {['w1-a.jpg'] * 13}"
    assert refused(head + openings[0] + photos) == [
        'job.toml: opening[0] "0".photos: at most 12 photos of an opening; found 13'
    ]


@pytest.mark.parametrize("name", ["gone", "empty", "empty/job.toml", "pipe", "loop", "a\0b", "n" * 300], ids=range(7))
def test_a_job_that_is_not_there_is_said_in_one_line(tmp_path, name):
    (tmp_path / "empty").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(InputError) as refusal:
        load_job(tmp_path / name)
    assert refusal.value.code == "job-missing"
    assert len(refusal.value.problems) == 1


def test_a_byte_order_mark_and_dos_line_ends_are_read(load):
    assert load(b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode()).id == "harbor-114"


_WORDS = ["nan", "in", "W1", "1/4", "sheet"]
_INNER = ["label", "value", "u", "file", "corners", "width", "top", "head", "across", "x"]
_KEYS = [
    "label",
    "wall",
    "photos",
    "reference",
    "check_bar",
    "edge_offset",
    "width",
    "visit",
    "obstacles",
    "note",
]
_VALUES = st.recursive(
    st.one_of(st.text(max_size=8), st.integers(-5, 400), st.booleans(), st.sampled_from(_WORDS)),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.sampled_from(_INNER), inner, max_size=3)),
    max_leaves=6,
)


def as_toml(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {as_toml(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(one) for one in value) + "]"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
    return str(value)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from(_KEYS), _VALUES, max_size=5))
def test_any_table_of_an_opening_is_a_job_or_refused(tmp_path, table):
    lines = [f"{key} = {as_toml(value)}" for key, value in table.items()]
    file = tmp_path / "any.toml"
    file.write_text("[job]\nid = 'a'\nunits = 'in'\n[[opening]]\n" + "\n".join(lines), encoding="utf-8")
    try:
        said = [load_job(file).id]
    except SizingError as error:
        said = [str(problem) for problem in error.problems]
    assert said
    assert not any("\n" in one for one in said)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_damaged_job_file_is_a_job_or_refused(tmp_path, data):
    damaged = bytearray(EXAMPLE.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        damaged[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    file = tmp_path / "damaged.toml"
    file.write_bytes(bytes(damaged))
    try:
        load_job(file)
    except InputError as error:
        problems = error.problems
    else:
        problems = ("none",)
    assert len(problems) > 0
