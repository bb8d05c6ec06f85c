"""Photos, references and other files that a job file names. Oracle: contract, *Job file* and *Limits*."""

import os
from functools import partial

import pytest

from sizing.jobs.job import opening_request
from tests.jobfiles import job_folder, small_job
from vision.request import CheckBar, Reference


@pytest.fixture
def folder(tmp_path):
    return job_folder(tmp_path)


@pytest.fixture
def small(folder):
    return partial(small_job, folder)


def test_a_rectangle_of_given_size_is_a_reference(small):
    opening = small('reference = { width = "4 3/4", height = "3 1/8" }').openings[0]
    assert opening.reference == Reference("given", 120.65, 79.375, (0.25, 0.25))


@pytest.mark.parametrize(
    ("width", "u_mm"),
    [("120.65 mm", 0.1), ("120.5 mm", 0.1), ("120 mm", 0.25), ("12 cm", 0.25), ("12.05 cm", 0.1), ("4 47/64", 0.115)],
)
def test_a_given_size_is_known_to_its_last_digit_but_no_better_than_cut_and_no_worse_than_a_rule(small, width, u_mm):
    """Oracle: half a step either way, rectangular (JCGM 100, 4.3.7); limits of 0.1 and 0.25 mm: common practice."""
    given = small(f'reference = {{ width = "{width}", height = "80.5 mm" }}').openings[0].reference
    assert given.u_mm == pytest.approx((u_mm, 0.1), abs=0.001)


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
        ("{ file = 'w1-b.jpg', corners = [[0, 0], [9, 0], [0, 9], [9, 9]] }", "the sides cross each other"),
        ("{ file = 'w1-b.jpg', corners = [[0, 0], [5, 0], [9, 0], [0, 9]] }", "straight at the top right corner"),
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
