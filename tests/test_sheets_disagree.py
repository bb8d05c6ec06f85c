"""Sheets that contradict each other say so by U95 too. Oracle: exact truth of the rendering."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
from PIL import Image

from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, smooth_sides
from vision.estimate import estimate_opening
from vision.lens.profile import LensKey, LensProfile, written
from vision.request import NINE, CheckBar, Estimate, OpeningRequest, PhotoRequest, Quantity

RECTANGLE = np.array([[-350.0, -300], [350, -300], [350, 300], [-350, 300]])


BARS = CheckBar(Quantity(150.0, 0.1), Quantity(200.0, 0.1))
CUT_MM = (190.0, 252.0)  # paper trimmed by hand: its outline tells no scale


@cache
def rendered(scale, page_mm, tilt_rad=(0.0, 0.0)):
    """Return the picture, and its truth, of two sheets of which the left one is printed at a scale, or hangs askew."""
    r, t = pose(np.array([30.0, -40.0, 1700.0]), 3.0, -2.0, 0.5)
    camera = Camera(1536, 1152, film_focal_px(26, 1536, 1152), 767.5, 575.5, 0.0, 0.0, r, t)
    small = Sheet(0, (-660.0, -130.0), 1.5, scale=(scale, scale), page_mm=page_mm, tilt_rad=tilt_rad)
    sheets = (small, Sheet(1, (470.0, -90.0), -2.0, page_mm=page_mm))
    return render(Scene("t", camera, Opening(smooth_sides(RECTANGLE)), sheets, oversample=1))


def measured(folder, scale, page_mm, bars, tilt_rad=(0.0, 0.0)):
    """Return warnings by code, and the largest error of a width or height over its standard uncertainty."""
    rgb, truth = rendered(scale, page_mm, tilt_rad)
    Image.fromarray(rgb).save(folder / "p.jpg", quality=95)
    rough = np.array(truth["rough_corners_px"], float)
    found = estimate_opening(OpeningRequest((PhotoRequest(folder / "p.jpg", corners_px=rough),), check_bar=bars))
    assert isinstance(found, Estimate)
    error = np.array([found.values_mm[i] - truth["measures_mm"][name] for i, name in enumerate(NINE[:6])])
    said = {w.code: w.message for w in found.photos[0].warnings}
    return said, float(np.abs(error / np.sqrt(np.diag(found.cov_mm2)[:6])).max())


@pytest.mark.parametrize("scale", [0.92, 0.94])
def test_sheets_of_two_sizes_are_wrong_within_their_uncertainty(tmp_path, scale):
    said, worst = measured(tmp_path, scale, CUT_MM, BARS)
    assert "references-disagree" in said
    assert worst < 3


@pytest.mark.parametrize("bars", [BARS, CheckBar()])
@pytest.mark.parametrize("scale", [0.94, 0.97])
def test_sheets_not_printed_alike_are_named_with_their_scales(tmp_path, scale, bars):
    """ASME Y14.1: US Letter is 215.9 x 279.4 mm."""
    said, worst = measured(tmp_path, scale, (215.9, 279.4), bars)
    assert "scale-unverified" not in said
    told = dict(re.findall(r"(sheet .) at ([\d.]+) %", said["print-scale"]))
    assert float(told["sheet A"]) == pytest.approx(100 * scale, abs=0.3)
    assert float(told["sheet B"]) == pytest.approx(100, abs=0.3)
    assert worst < 3


@pytest.mark.parametrize("tilt_rad", [(0.0, 0.1), (0.15, 0.15)])
def test_a_sheet_that_hangs_askew_is_wrong_within_its_uncertainty(tmp_path, tilt_rad):
    said, worst = measured(tmp_path, 1.0, (215.9, 279.4), BARS, tilt_rad)
    assert "references-disagree" in said
    assert "print-scale" not in said
    assert worst < 3


def test_sheets_printed_alike_are_not_called_unlike(tmp_path):
    said, worst = measured(tmp_path, 1.0, (215.9, 279.4), CheckBar())
    assert "print-scale" not in said
    assert worst < 3


def test_a_camera_profile_that_the_sheets_deny_is_left_out_and_named(tmp_path):
    """A profile of another lens: 20 % longer than that of the rendering, and sure of it; its file says nothing."""
    r, t = pose(np.array([600.0, -40.0, 1500.0]), 22.0, -2.0, 0.5)
    camera = Camera(1536, 1152, film_focal_px(26, 1536, 1152), 767.5, 575.5, 0.0, 0.0, r, t)
    sheets = (Sheet(0, (-660.0, -130.0), 1.5), Sheet(1, (470.0, -90.0), -2.0))
    rgb, truth = render(Scene("t", camera, Opening(smooth_sides(RECTANGLE)), sheets, oversample=1))
    Image.fromarray(rgb).save(tmp_path / "p.jpg", quality=95)
    key = LensKey("", "", "", None, None, (1536, 1152))
    sure = np.diag([1e-3, 2.0, 2.0, 5e-3, 5e-3]) ** 2
    of = LensProfile(key, 1.2 * camera.f_px, 767.5, 575.5, 0.0, 0.0, sure, {"photos": 9, "rms_px": 0.05})
    (tmp_path / "x.lens.toml").write_text(written(of), encoding="utf-8")
    rough = np.array(truth["rough_corners_px"], float)
    asked = PhotoRequest(tmp_path / "p.jpg", corners_px=rough, lens=tmp_path / "x.lens.toml")
    found = estimate_opening(OpeningRequest((asked,), check_bar=BARS))
    said = {w.code: w.message for w in found.photos[0].warnings}
    assert said["lens-not-used"].startswith("x.lens.toml is not used for this photo: by what it shows its lens is")
    assert "references-disagree" not in said
    assert [u.applied for u in found.photos[0].lenses] == [False]
    error = np.array([found.values_mm[i] - truth["measures_mm"][name] for i, name in enumerate(NINE[:6])])
    assert float(np.abs(error / np.sqrt(np.diag(found.cov_mm2)[:6])).max()) < 3
