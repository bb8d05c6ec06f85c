"""Corners that stand as clicked: what else the photo shows still counts. The oracle: renderings with exact truth."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.exif import exif_block
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from tests.one_alone import measured_alone
from vision.errors import RequestError
from vision.measured_photo import PhotoMeasured, measure_traced
from vision.prepared import prepare
from vision.request import NINE, CheckBar, OpeningRequest, PhotoRequest, Quantity, Reference, Warning_
from vision.solved_photo import sees_lines

P4 = Path(__file__).parents[2] / "shared/practice/P4.truth.json"
RECTANGLE = np.array([[-302.0, -400], [300, -401], [301, 400], [-300, 402]])
WIDTH, HEIGHT = 1152, 864
BARS = CheckBar(Quantity(150.0, 0.1), Quantity(200.0, 0.1))
ON_THE_WALL = dict.fromkeys(("head", "right", "sill", "left"), Quantity(0.0, 0.3))


def shot(path: Path, scale: float, exif: bytes) -> dict:
    """Save a brick wall with one sheet printed at a scale beside the opening, and return its truth."""
    r, t = pose(np.array([40.0, -60.0, 1500.0]), 5.0, -4.0, 1.0)
    camera = Camera(WIDTH, HEIGHT, film_focal_px(26, WIDTH, HEIGHT) * 1.01, 581.3, 428.9, 0.015, -0.003, r, t, 26)
    sheet = Sheet(0, (-560.0, -130.0), 1.2, (scale, scale), 0.5)
    scene = Scene("t", camera, Opening(smooth_sides(RECTANGLE)), (sheet,), wall=Wall("brick"), oversample=1)
    rgb, truth = render(scene)
    Image.fromarray(rgb).save(path, quality=93, exif=exif)
    return truth


def asked(photo, bars=BARS):
    return OpeningRequest((photo,), "masonry", check_bar=bars, edge_offset=ON_THE_WALL)


def measured(path, truth, bars):
    corners = np.array(truth["corners_px"])
    photo = PhotoRequest(path, corners_px=corners, trace=False, click_px=0.3)
    return measured_alone(asked(photo, bars), photo)


def off_and_u(result, truth):
    true = np.array([truth["measures_mm"][n] for n in NINE])
    return np.abs(result.measured.values_mm - true)[:8], np.sqrt(np.diag(result.measured.cov_mm2))[:8]


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    path = tmp_path_factory.mktemp("known") / "known.jpg"
    return path, shot(path, 1.0, exif_block(26, 1))


def test_the_walls_lines_still_tell_where_the_camera_stood(known, monkeypatch):
    off, u = off_and_u(measured(*known, BARS), known[1])
    assert (off < 2 * u).all()
    monkeypatch.setattr("vision.one_photo.sees_lines", lambda ready, doubts: False)
    _, alone = off_and_u(measured(*known, BARS), known[1])
    assert np.median(u) < 0.6 * np.median(alone)


def test_of_a_lens_that_nothing_is_known_of_they_do_not(known, tmp_path):
    """On photos of real boards by a long lens (OpenCSP, no Exif) errors with lines were 1.8 u (rms)."""
    path = tmp_path / "unknown.jpg"
    with Image.open(known[0]) as image:
        image.save(path, quality=95)
    off, u = off_and_u(measured(path, known[1], BARS), known[1])
    _, with_lines = off_and_u(measured(*known, BARS), known[1])
    assert (off < 2 * u).all()
    assert np.median(u) > 2 * np.median(with_lines)


def test_the_papers_outline_still_tells_a_print_that_was_fitted_to_the_page(tmp_path):
    path = tmp_path / "fitted.jpg"
    truth = shot(path, 0.96, exif_block(26, 1))
    result = measured(path, truth, CheckBar())
    off, u = off_and_u(result, truth)
    assert "print-scale" in {w.code for w in result.report.warnings}
    assert (off < 2 * u).all()
    assert off.max() < 12  # 4 % of 600 mm is 24 mm


@pytest.mark.parametrize("code", ["cropped", "digital-zoom"])
def test_nor_do_they_of_a_picture_that_was_cut(known, code):
    photo = PhotoRequest(known[0], corners_px=np.array(known[1]["corners_px"]), trace=False)
    ready = prepare(asked(photo), photo)
    assert sees_lines(ready)
    assert not sees_lines(ready, (Warning_(code, "the middle is not known"),))


def test_corners_that_nobody_gave_do_not_stand_as_clicked(known):
    photo = PhotoRequest(known[0], trace=False)
    result = measured_alone(asked(photo), photo)
    assert not isinstance(result, PhotoMeasured) or result.found_by == "photo"


def test_a_measure_that_is_no_number_is_refused(known):
    result = measured(*known, BARS)
    broken = replace(result.traced, clicks=(result.traced.clicks[0], float("nan")))
    with pytest.raises(FloatingPointError, match="not a number"):
        measure_traced(asked(PhotoRequest(known[0])), broken)


@pytest.mark.skipif(not P4.exists(), reason="needs the photos of ../shared/practice")
def test_a_clicked_page_alone_does_not_say_that_a_photo_was_cut(monkeypatch):
    """The wall's lines are asked too, as with traced pages."""
    truth = json.loads(P4.read_text())
    asked_with: list[int] = []

    def cut_by_the_page_alone(solved, *_):
        asked_with.append(len(solved.blocks))
        return len(asked_with) == 1

    monkeypatch.setattr("vision.solved_photo.shows_cut", cut_by_the_page_alone)
    path, corners = P4.with_name(truth["photo"]), np.array(truth["corners_px"])
    photo = PhotoRequest(path, corners_px=corners, reference=Reference("letter"))
    request = OpeningRequest((photo,), "render", edge_offset=ON_THE_WALL)
    ((_, page),) = measured_alone(request, photo).report.references_px
    asked_with.clear()
    result = measured_alone(request, replace(photo, trace=False, reference_corners_px=(page,)))
    assert asked_with[1] > asked_with[0]
    assert not {"cropped", "digital-zoom"} & {w.code for w in result.report.warnings}


def test_corners_closer_than_any_opening_measure_nothing_though_they_stand_as_clicked(known):
    """Found: corners 6 px apart held an opening. Contract, *Job file*: under 100 mm is no length of an opening."""
    path, truth = known
    near = np.array(truth["corners_px"])[0] + np.array([[0, 0], [6, 0], [6, 6], [0, 6.0]])
    photo = PhotoRequest(path, corners_px=near, trace=False)
    with pytest.raises(RequestError, match="head are less than 100 mm apart: point at each corner"):
        measured_alone(asked(photo), photo)
