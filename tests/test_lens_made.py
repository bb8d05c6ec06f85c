"""What a camera profile is made from, and how good it is said to be."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.test_lens_profile import KEY
from vision.lens import photos
from vision.lens.interior import LensFit, _growth, _misfit
from vision.lens.photos import LensFound, LensNotFound, profile_from_photos
from vision.photo.reading import read_photo

SIZE = KEY.size_px
WHOLE = np.array([[[0, 0], [SIZE[0], 0], [SIZE[0], SIZE[1]], [0, SIZE[1]]]], float)
LEFT_HALF = WHOLE * [0.5, 1.0]


class _View:
    def __init__(self, name):
        self.name = name


def fit_of(views, covariance):
    names = tuple(v.name for v in views)
    return LensFit(2900.0, 2040.0, 1500.0, 0.08, -0.12, covariance, names, np.full(len(names), 0.1), ())


def made_from(monkeypatch, tmp_path, keys, covariance, outlines=WHOLE):
    """Return what is made of photos with these keys by name, all that is seen in them put in its place."""
    monkeypatch.setattr(photos, "read_photo", lambda path: path)
    monkeypatch.setattr(photos, "_view", lambda path: (keys[path.name], _View(path.name), outlines, SIZE))
    monkeypatch.setattr(photos, "calibrate", lambda views, size_px: fit_of(views, covariance))
    return profile_from_photos([tmp_path / name for name in keys])


COVARIANCE = np.diag([4e-3, 2.0, 3.0, 1e-2, 2e-2]) ** 2


def test_a_profile_is_of_the_camera_and_size_of_most_photos_and_the_others_are_named(monkeypatch, tmp_path):
    small, other = replace(KEY, size_px=(2016, 1512)), replace(KEY, model="Other")
    keys = {"o": other, "a": KEY, "b": KEY, "c": KEY, "s": small}
    found = made_from(monkeypatch, tmp_path, keys, COVARIANCE)
    assert isinstance(found, LensFound)
    assert found.profile.key == KEY
    assert found.fit.used == ("a", "b", "c")
    reasons = dict(found.fit.left_out)
    assert "model" in reasons["o"]
    assert "another picture size" in reasons["s"]
    assert found.profile.made["u_focal_percent"] == 0.4  # standard uncertainty, as its covariance
    assert found.profile.made["rms_px"] == 0.1


def test_photos_too_alike_give_no_profile_and_what_it_would_know_is_said_with_95_percent(monkeypatch, tmp_path):
    """U95 = 2 u (JCGM 100, 6.3.3): at u = 2 % the photos say hardly more than Exif, of 3 %."""
    keys = dict.fromkeys("abc", KEY)
    for u, made in ((0.014, True), (0.02, False)):
        found = made_from(monkeypatch, tmp_path, keys, np.diag([u, 2.0, 3.0, 1e-2, 2e-2]) ** 2)
        assert isinstance(found, LensFound if made else LensNotFound)
    assert "known to 4.0 % only" in found.why


@pytest.mark.parametrize(("outlines", "share"), [(WHOLE, 1.0), (LEFT_HALF, 0.5), (WHOLE * [0.3, 1.0], 0.25)])
def test_the_share_of_the_picture_that_sheets_covered_is_that_of_cells_by_their_middles(
    monkeypatch, tmp_path, outlines, share
):
    """Of eight columns the middles lie at 1/16, 3/16, ...: 0.3 of the width covers two."""
    found = made_from(monkeypatch, tmp_path, dict.fromkeys("abc", KEY), COVARIANCE, outlines)
    assert found.coverage == share


def test_how_surely_a_ray_near_the_corners_falls_is_what_opencv_propagates(monkeypatch, tmp_path):
    """OpenCV's derivatives of projectPoints by focal length, centre and distortion; worst direction, worst corner."""
    root = np.diag([2e-3, 2.0, 5.0, 1e-2, 2e-2]) @ np.tril(np.random.default_rng(4).uniform(-1, 1, (5, 5)) + np.eye(5))
    covariance = root @ root.T
    found = made_from(monkeypatch, tmp_path, dict.fromkeys("abc", KEY), covariance)
    f, cx, cy, k1, k2 = 2900.0, 2040.0, 1500.0, 0.08, -0.12
    worst = []
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        ray = np.array([[0.45 * sx * SIZE[0] / f, 0.45 * sy * SIZE[1] / f, 1.0]])
        k = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
        d = cv2.projectPoints(ray, np.zeros(3), np.zeros(3), k, np.array([k1, k2, 0, 0]))[1]
        # columns: turn 3, shift 3, fx, fy, cx, cy, distortion; one focal length, its logarithm
        a = np.column_stack([f * (d[:, 6] + d[:, 7]), d[:, 8], d[:, 9], d[:, 10], d[:, 11]])
        worst.append(np.sqrt(np.linalg.norm(a @ covariance @ a.T, 2)))
    assert found.u_corner_px == pytest.approx(max(worst), rel=1e-6)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_profile_is_made_from_the_picture_as_the_sensor_saw_it(monkeypatch, tmp_path, orientation):
    """Pillow leaves the pixels of a file as they are stored, whatever its Exif orientation says."""
    ramp = np.add.outer(np.arange(480) // 4, np.arange(640) // 8).astype(np.uint8)
    exif = Image.Exif()
    exif[274] = orientation
    path = tmp_path / "p.png"
    Image.fromarray(np.dstack([ramp] * 3)).save(path, exif=exif)
    searched = []
    monkeypatch.setattr(photos.markers, "find_sheets", lambda grey: searched.append(grey) or [])
    assert isinstance(photos._view(read_photo(path)), str)
    with Image.open(path) as raw:
        assert np.array_equal(searched[0], np.asarray(raw.convert("L")))


@pytest.mark.parametrize(
    ("rms", "odd"),
    [
        ([0.05, 0.05, 0.2], None),  # four times the others, but finer than a quarter of a pixel
        ([0.05, 0.05, 0.3], 2),
        ([0.3, 0.4, 0.5], None),  # coarse, but alike
        ([0.8, 0.3, 0.3], 0),
    ],
)
def test_a_photo_stands_out_by_its_residuals_where_they_are_both_large_and_unlike(rms, odd):
    """Figures are common practice, no source."""
    found = _misfit(np.array(rms))
    assert (None if found is None else found[0]) == odd


def test_the_covariance_grows_as_the_square_of_what_shared_distortion_leaves():
    """Variance factor of an adjustment: mean square of residuals over their variances (Mikhail and Ackermann 1976)."""
    assert _growth(np.array([0.2, 0.4]), np.array([0.1, 0.1])) == pytest.approx((4 + 16) / 2)
    assert _growth(np.array([0.02]), np.array([1e-9])) == pytest.approx(1.0)  # a perfect photo counts as 0.02 px
