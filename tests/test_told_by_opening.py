"""Several things that look like the reference in renderings of the fixtures, and nobody points at one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fixtures.calibration import draw_scene
from fixtures.renderer.exif import write_photo
from fixtures.renderer.render import render
from vision.estimate import estimate_opening
from vision.kept_photos import KeptPhotos
from vision.request import NINE, Estimate, NotMeasured, OpeningRequest, PhotoRequest, Quantity, Reference

SIZE = (150.0, 100.0)
WIDTH = 1664


def asked(tmp_path, scene):
    """Return what asks for an opening in a brick wall with a rectangle beside it, and the truth."""
    rgb, truth = render(scene)
    photo = PhotoRequest(write_photo(tmp_path, "p", rgb, truth))
    depths = {side: Quantity(mm, 1.0) for side, mm in scene.declared_offset_mm.items()}
    return OpeningRequest((photo,), "masonry", Reference("given", *SIZE), edge_offset=depths), truth["measures_mm"]


def scene():
    """Return a wall of which some bricks look as much like the rectangle as that does."""
    return draw_scene(44, 2351, 1, "mixed", WIDTH, reference="given")


def test_the_one_whose_proportions_are_right_on_the_wall_of_the_opening_found_by_it_is_taken(tmp_path):
    request, true = asked(tmp_path, scene())
    for answer in (estimate_opening(request), KeptPhotos().estimate(request)):
        assert isinstance(answer, Estimate), answer.why
        error = np.array([answer.values_mm[k] - true[name] for k, name in enumerate(NINE)])[:6]
        assert (np.abs(error) < 2.5 * np.sqrt(np.diag(answer.cov_mm2))[:6]).all()


def test_of_two_things_of_its_proportions_a_person_must_point_at_one(tmp_path):
    drawn = scene()
    (sheet,) = drawn.sheets
    x, y = sheet.origin_mm
    smaller = replace(sheet, letter=1, origin_mm=(x, y + 220.0), page_mm=tuple(0.75 * mm for mm in sheet.page_mm))
    request, _ = asked(tmp_path, replace(drawn, sheets=(sheet, smaller)))
    answer = estimate_opening(request)
    assert isinstance(answer, NotMeasured)
    assert "several things" in answer.why
