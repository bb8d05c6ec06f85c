"""What job files say. Oracle: contract, *Job file*; facts.md section 2 for graduations."""

import hashlib
from datetime import date
from functools import partial

import numpy as np
import pytest

from sizing.jobs.file import load_job
from sizing.jobs.job import READINGS, Tolerance
from tests.jobfiles import EXAMPLE, changed, job_folder, load_from, mm_by_name, small_job
from vision.request import NINE, SIDES, CheckBar, Quantity, Reference


@pytest.fixture
def folder(tmp_path):
    return job_folder(tmp_path)


@pytest.fixture
def load(folder):
    return partial(load_from, folder)


@pytest.fixture
def small(folder):
    return partial(small_job, folder)


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


@pytest.mark.parametrize(("text", "mm"), [("3 7/8", 98.425), ("8001 mm", 8001.0), ("54.375 m", 54375.0)])
def test_a_reading_over_8_m_or_under_100_mm_is_kept_to_be_judged(small, text, mm):
    assert small(f'width = {{ top = "{text}" }}').openings[0].readings[0].length.mm == mm


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
