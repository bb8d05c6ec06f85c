"""Several things that look like the reference in renderings of the fixtures, and nobody points at one."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from fixtures.calibration import draw_scene
from fixtures.renderer.exif import write_photo
from fixtures.renderer.render import render
from vision.estimate import estimate_opening
from vision.kept_photos import KeptPhotos
from vision.prepared import prepare
from vision.request import NINE, Estimate, NotMeasured, OpeningRequest, PhotoRequest, Quantity, Reference
from vision.told_by_opening import trace_photo

SIZE = (150.0, 100.0)
WIDTH = 1664


def asked(tmp_path, scene):
    """Return what asks for an opening in a brick wall with a rectangle beside it, and the truth."""
    rgb, truth = render(scene)
    photo = PhotoRequest(write_photo(tmp_path, "p", rgb, truth))
    depths = {side: Quantity(mm, 1.0) for side, mm in scene.declared_offset_mm.items()}
    return OpeningRequest((photo,), "masonry", Reference("given", *SIZE), edge_offset=depths), truth


def scene():
    """Return a wall of which some bricks look as much like the rectangle as that does."""
    return draw_scene(44, 2351, 1, "mixed", WIDTH, reference="given")


def assert_within(answer, truth):
    """Check widths and heights against the renderer's own truth."""
    error = np.array([answer.values_mm[k] - truth["measures_mm"][name] for k, name in enumerate(NINE)])[:6]
    assert (np.abs(error) < 2.5 * np.sqrt(np.diag(answer.cov_mm2))[:6]).all()


def test_the_one_whose_proportions_are_right_on_the_wall_of_the_opening_found_by_it_is_taken(tmp_path):
    request, truth = asked(tmp_path, scene())
    for answer in (estimate_opening(request), KeptPhotos().estimate(request)):
        assert isinstance(answer, Estimate), answer.why
        assert_within(answer, truth)


def test_of_two_things_of_its_proportions_a_person_must_point_at_one(tmp_path):
    drawn = scene()
    (sheet,) = drawn.sheets
    x, y = sheet.origin_mm
    smaller = replace(sheet, letter=1, origin_mm=(x, y + 220.0), page_mm=tuple(0.75 * mm for mm in sheet.page_mm))
    request, _ = asked(tmp_path, replace(drawn, sheets=(sheet, smaller)))
    answer = estimate_opening(request)
    assert isinstance(answer, NotMeasured)
    assert "several things" in answer.why


def drawn_as(tmp_path, ratio, *, pointed):
    """Return what asks by a rectangle that is `ratio` times as wide as was said, and the truth."""
    drawn = draw_scene(7, 2361, 1, "brick", WIDTH, reference="given")
    (sheet,) = drawn.sheets
    wide = replace(sheet, page_mm=(ratio * sheet.page_mm[0], sheet.page_mm[1]))
    request, truth = asked(tmp_path, replace(drawn, sheets=(wide,)))
    corners = (np.array(truth["references"][0]["corners_px"]),) if pointed else ()
    return replace(request, photos=(replace(request.photos[0], reference_corners_px=corners),)), truth


def test_a_thing_of_other_proportions_on_the_wall_of_the_opening_found_is_no_reference(tmp_path):
    request, _ = drawn_as(tmp_path, 0.8, pointed=False)
    for answer in (estimate_opening(request), KeptPhotos().estimate(request)):
        assert isinstance(answer, NotMeasured)
        assert answer.code == "no-reference"
        assert "other proportions on the wall as the opening found beside it shows it" in answer.why
        assert "check its size" in answer.why


def test_a_reference_pointed_out_is_not_of_the_size_said_where_the_opening_found_shows_it(tmp_path):
    request, truth = drawn_as(tmp_path, 1.25, pointed=True)
    ready = prepare(request, request.photos[0])
    report = trace_photo(request, replace(ready, picture=replace(ready.picture, reduced=2)))
    assert report.error.code == "reference-size"
    assert "as the opening found beside it shows it" in report.error.message
    x, y = (int(n) for n in re.search(r"at (\d+),(\d+) px", report.error.message).groups())
    middle = np.mean(truth["references"][0]["corners_px"], axis=0)
    assert np.allclose([x, y], 2 * middle + 0.5, atol=3.0)  # of the photo itself, which was measured at half size


@pytest.fixture(scope="module")
def of_its_size(tmp_path_factory):
    return drawn_as(tmp_path_factory.mktemp("of-its-size"), 1.0, pointed=True)


def test_what_was_pointed_out_where_no_sides_show_is_not_of_the_size_said_either(of_its_size):
    request, _ = of_its_size
    bricks = np.array([[1278.0, 627], [1308, 627], [1308, 660], [1278, 660]])
    photo = replace(request.photos[0], reference_corners_px=(bricks,), click_px=12.0)
    answer = estimate_opening(replace(request, photos=(photo,)))
    assert isinstance(answer, NotMeasured)
    assert answer.code == "reference-size"
    assert "at 1293,644 px" in answer.why


def test_a_reference_pointed_out_is_measured_where_the_opening_found_shows_its_proportions(of_its_size):
    request, truth = of_its_size
    answer = estimate_opening(request)
    assert isinstance(answer, Estimate), answer.why
    assert_within(answer, truth)


def test_the_side_of_a_card_that_its_stripe_was_taken_for_is_put_right_by_the_opening_found(tmp_path):
    """Its head, told by three sides and the opening, brings u of the heights to less than half (was 19 to 25 mm)."""
    drawn = draw_scene(25, 2437, 1, "mixed", reference="id1", hard=True)
    request, truth = asked(tmp_path, drawn)
    request = replace(request, wall="render", reference=Reference("id1"))
    corners = np.round(truth["references"][0]["corners_px"])
    answer = estimate_opening(replace(request, photos=(replace(request.photos[0], reference_corners_px=(corners,)),)))
    assert isinstance(answer, Estimate), answer.why
    assert_within(answer, truth)
    assert (np.sqrt(np.diag(answer.cov_mm2))[3:6] < 12.0).all()
