"""Answers from kept photos are those of a fresh start (the oracle is `estimate_opening` itself, asked anew)."""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import vision.kept_photos
import vision.last_trace
import vision.pages.find
from vision.estimate import estimate_opening
from vision.kept_photos import KeptPhotos
from vision.request import SIDES, OpeningRequest, PhotoRequest, Quantity, Reference

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
CORNERS = np.array([[505, 326], [1542, 318], [1563, 1221], [519, 1253]]) * 0.6


def written(folder):
    with Image.open(DEMO / "w2.jpg") as image:
        image.resize((1229, 922)).save(folder / "w2.jpg", quality=92, exif=image.info["exif"])
    offset = dict.fromkeys(SIDES, Quantity(0.0, 1.0)) | {"sill": Quantity(31.75, 1.0)}  # as the job of the demo says
    return OpeningRequest((PhotoRequest(folder / "w2.jpg", corners_px=CORNERS),), edge_offset=offset)


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    return written(tmp_path_factory.mktemp("asked"))


@pytest.fixture(scope="module")
def kept(asked):
    """What is kept of the photo as first asked; each test moves other corners from there."""
    photos = KeptPhotos()
    photos.estimate(asked)
    return photos


def moved(asked, by):
    return replace(asked, photos=(replace(asked.photos[0], corners_px=CORNERS + np.array(by)),))


def one_moved(asked, corner, by):
    corners = CORNERS.copy()
    corners[corner] += by
    return replace(asked, photos=(replace(asked.photos[0], corners_px=corners),))


def same(a, b):
    return np.array_equal(a.values_mm, b.values_mm) and np.array_equal(a.cov_mm2, b.cov_mm2)


def test_a_moved_corner_is_traced_anew_with_the_answer_of_a_fresh_start(asked, kept, monkeypatch):
    first = kept.estimate(asked)
    monkeypatch.setattr(vision.kept_photos, "prepare", None)
    monkeypatch.setattr(vision.kept_photos, "solve_photo", None)
    again = kept.estimate(moved(asked, [3, 2]))
    assert same(again, estimate_opening(moved(asked, [3, 2])))
    monkeypatch.setattr(vision.kept_photos, "estimate_opening", None)
    assert kept.estimate(asked) is first


@pytest.mark.parametrize(("by", "touched"), [((-1.5, 1), 2), ((40, 30), 4)])
def test_a_corner_touches_its_two_sides_and_the_others_only_with_the_wall_lines_seen(
    asked, kept, monkeypatch, by, touched
):
    traced, said = [], []
    find = vision.last_trace.find_side
    monkeypatch.setattr(vision.last_trace, "find_side", lambda *a: (traced.append(a[-1]), find(*a))[1])
    again = kept.estimate(one_moved(asked, 1, by), said.append)
    assert len(traced) == touched
    assert {"head", "right"} <= set(traced)
    assert "w2.jpg: " in said[-1]
    assert ("traced again: head and right jamb; the others stay" in said[-1]) == (touched == 2)
    assert same(again, estimate_opening(one_moved(asked, 1, by)))


def test_a_sill_seen_to_stand_out_is_traced_there_as_by_a_fresh_start(asked, monkeypatch):
    unknown, photos = replace(asked, edge_offset=None), KeptPhotos()
    photos.estimate(unknown)
    traced = []
    find = vision.last_trace.find_side
    monkeypatch.setattr(vision.last_trace, "find_side", lambda *a: (traced.append(a[-1]), find(*a))[1])
    again = photos.estimate(one_moved(unknown, 1, (-1.5, 1)))
    assert sorted(traced) == ["head", "head", "right", "right"]  # in the wall's face, and with the sill in front of it
    assert same(again, estimate_opening(one_moved(unknown, 1, (-1.5, 1))))


@pytest.fixture(scope="module")
def with_pages(tmp_path_factory):
    """Two Letter pages beside an opening in brick, rendered apart from the program; rough corners of the opening."""
    from fixtures.renderer.exif import write_photo
    from tests.test_page_find import photo

    rgb, truth, _ = photo(width=1280)
    folder = tmp_path_factory.mktemp("pages")
    write_photo(folder, "p", rgb, truth, quality=90)
    corners = np.array(truth["rough_corners_px"])
    asked = PhotoRequest(folder / "p.jpg", corners_px=corners, focal35_mm=26.0)
    request = OpeningRequest((asked,), reference=Reference("letter"))
    photos = KeptPhotos()
    assert hasattr(photos.estimate(request), "values_mm")
    return request, corners, photos


@pytest.mark.parametrize("by", [(-2, 1), (18, 12)])
def test_a_moved_corner_keeps_pages_as_found_with_the_answer_of_a_fresh_start(with_pages, monkeypatch, by):
    request, corners, kept = with_pages
    searched = []
    rated = vision.pages.find.rated_outlines
    monkeypatch.setattr(vision.pages.find, "rated_outlines", lambda *a, **k: (searched.append(a), rated(*a, **k))[1])
    moved_corners = corners.copy()
    moved_corners[0] += by
    there = replace(request, photos=(replace(request.photos[0], corners_px=moved_corners),))
    again = kept.estimate(there)
    assert not searched
    assert same(again, estimate_opening(there))
    assert searched


def test_pointing_at_an_opening_that_was_to_be_found_alone_does_not_solve_the_photo_again(asked, monkeypatch):
    kept = KeptPhotos()
    kept.estimate(replace(asked, photos=(replace(asked.photos[0], corners_px=None),)))
    monkeypatch.setattr(vision.kept_photos, "prepare", None)
    monkeypatch.setattr(vision.kept_photos, "solve_photo", None)
    assert same(kept.estimate(asked), estimate_opening(asked))


def test_another_file_of_the_same_name_is_read_again(tmp_path):
    asked, kept = written(tmp_path), KeptPhotos()
    path = asked.photos[0].path
    path.write_bytes(b"no photo" * 500)
    assert kept.estimate(asked).code == "photo-format"
    path.write_bytes(b"\xff\xd8" + b"no" * 5000)
    os.utime(path, ns=(1, 1))
    assert kept.estimate(asked).code != "photo-format"


def test_corners_outside_the_photo_are_refused_also_when_it_is_kept(asked):
    kept = KeptPhotos()
    asked = replace(asked, photos=(replace(asked.photos[0], trace=False),))
    assert not hasattr(kept.estimate(asked), "why")
    assert kept.estimate(moved(asked, [5000, 0])).code == "corners-outside"
