"""Print scale by the outline of the paper, in renderings of the fixtures with known print and paper."""

from __future__ import annotations

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, smooth_sides
from vision.observations import SIZE
from vision.priors import camera_prior
from vision.request import CheckBar, Quantity
from vision.sheets.markers import find_sheets
from vision.sheets.paper_outline import page_scale
from vision.solving.print_scale import scaled_by_outline
from vision.solving.solve import solve_sheets

A4 = (210.0, 297.0)  # ISO 216
RECTANGLE = np.array([[-260.0, -250], [260, -250], [260, 250], [-260, 250]])
WIDTH = 1024


def photo(scale=1.0, page=None):
    r, t = pose(np.array([0.0, -20.0, 1150.0]), 2.0, -2.0, 0.5)
    f = film_focal_px(26, WIDTH, WIDTH * 3 // 4)
    camera = Camera(WIDTH, WIDTH * 3 // 4, f, (WIDTH - 1) / 2, (WIDTH * 3 / 4 - 1) / 2, 0.0, 0.0, r, t)
    sheet = Sheet(0, (-520.0, -120.0), 1.0, (scale, scale), 0.5)
    sheet = sheet if page is None else replace(sheet, page_mm=page)
    return render(Scene("t", camera, Opening(smooth_sides(RECTANGLE)), (sheet,), oversample=1))[0], f


def solve(rgb, f, bar=None):
    prior = camera_prior(f, 0.02, (WIDTH, WIDTH * 3 // 4), known=True)
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    return solve_sheets(grey, find_sheets(grey), prior, bar or CheckBar(), "masonry")


@pytest.mark.parametrize(
    ("scale", "page", "paper"), [(1.0, None, "letter"), (0.96, None, "letter"), (0.97, A4, "a4"), (1.0, A4, "a4")]
)
def test_the_outline_tells_paper_and_print_scale(scale, page, paper):
    rgb, f = photo(scale, page)
    found = page_scale(rgb, solve(rgb, f).adjusted.state, 0)
    assert found.paper == paper
    value, u = found.common
    assert value == pytest.approx(scale, abs=0.003)
    assert 0.002 < u < 0.006  # ISO 216: +-2 mm on 210 and 297 mm


def test_fit_to_page_is_said_with_its_figure_and_used():
    rgb, f = photo(0.96)
    solved = scaled_by_outline(rgb, solve(rgb, f), CheckBar())
    (said,) = [w.message for w in solved.warnings if w.code == "print-scale"]
    assert "96." in said or "95.9" in said
    assert solved.adjusted.state.size == pytest.approx([-0.04, -0.04], abs=0.004)
    assert solved.scale_seen


def test_a_print_at_100_percent_raises_no_alarm():
    rgb, f = photo()
    solved = scaled_by_outline(rgb, solve(rgb, f), CheckBar())
    assert [w.code for w in solved.warnings if w.code == "print-scale"] == []
    assert np.abs(solved.adjusted.state.size).max() < 0.002


def test_a_print_a_little_off_stays_within_the_uncertainty_that_is_left():
    """Between 100 % and what the outline tells clearly, both stand: the true scale lies within U95."""
    rgb, f = photo(0.987, A4)
    solved = scaled_by_outline(rgb, solve(rgb, f), CheckBar())
    (said,) = [w.message for w in solved.warnings if w.code == "print-scale"]
    assert "measure both bars" in said
    size, u = solved.adjusted.state.size, np.sqrt(np.diag(solved.adjusted.covariance)[SIZE])
    assert (np.abs(size + 0.013) < 2 * u).all()
    assert (u < 0.01).all()


def test_bars_that_say_another_scale_than_100_percent_are_used_and_said():
    rgb, f = photo(0.987, A4)
    bar = CheckBar(Quantity(150.0 * 0.987, 0.1), Quantity(200.0 * 0.987, 0.1))
    solved = scaled_by_outline(rgb, solve(rgb, f, bar), bar)
    (said,) = [w.message for w in solved.warnings if w.code == "print-scale"]
    # JCGM 100, 5.1.2: the mean of two bars of u 0.1 mm has u = sqrt((0.1/150)^2 + (0.1/200)^2) / 2 = 0.042 %
    assert "98.7 % (U95 0.1 %)" in said
    assert "the bars were used" in said


def test_bars_that_contradict_the_outline_are_said_to():
    rgb, f = photo(0.96)
    bar = CheckBar(Quantity(150.0, 0.3), Quantity(200.0, 0.3))
    solved = scaled_by_outline(rgb, solve(rgb, f, bar), bar)
    (said,) = [w.message for w in solved.warnings if w.code == "print-scale"]
    assert "the bars were used" in said
    assert re.findall(r"[\d.]+ %(?! \(U95)(?!\))", said) == []  # README: no figure without its uncertainty
    size, u = solved.adjusted.state.size, np.sqrt(np.diag(solved.adjusted.covariance)[SIZE])
    assert np.abs(size).max() < 0.004
    assert (np.abs(size + 0.04) < 2 * u).all()  # 150 mm may have been written down without measuring: 96 % is true
