"""A camera profile in a photo: to which it applies, and the covariance that its interior has there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.test_lens_profile import EXIF, KEY, PROFILE, photo, stored
from vision.lens.profile import ProfileError, mismatch, read_profile, written
from vision.lens.use import choose_lens, profile_prior
from vision.request import PhotoRequest

# Positive definite, all values correlated, in the units of (log focal, cx, cy, k1, k2).
ROOT = np.diag([2e-3, 3.0, 5.0, 1e-2, 2e-2]) @ np.tril(np.random.default_rng(5).uniform(-0.6, 0.6, (5, 5)) + np.eye(5))
TELLING = replace(PROFILE, covariance=ROOT @ ROOT.T)


@pytest.mark.parametrize("turned", [0, 90, 180, 270])
@pytest.mark.parametrize("by", [1, 2])
def test_the_covariance_of_a_profile_is_turned_and_resized_with_the_photo(turned, by):
    """Linear propagation (JCGM 102, 6.2): a point goes to s R (x, y), R a turn clockwise on a y-down plane.

    What a lens varies by from photo to photo, 0.3 % and 0.15 % of the long side, comes on top of it (common practice,
    no source).
    """
    w, h = KEY.size_px[0] // by, KEY.size_px[1] // by
    angle = np.radians(turned)
    change = np.eye(5)
    change[1:3, 1:3] = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]) / by
    varies = np.diag([0.003, 0.0015 * w, 0.0015 * w, 0, 0]) ** 2
    prior = profile_prior(TELLING, (w, h) if turned % 180 == 0 else (h, w), turned)
    expected = change @ TELLING.covariance @ change.T + varies
    size = np.sqrt(np.diag(expected))
    assert np.allclose(prior.covariance / np.outer(size, size), expected / np.outer(size, size), atol=1e-9)
    told = [prior.u_log_focal, prior.u_centre_px, prior.u_k1, prior.u_k2]
    assert told == pytest.approx([size[0], size[1:3].max(), *size[3:]])


@pytest.mark.parametrize(
    ("seen", "applies"),
    [
        (photo(), True),
        (photo((3024, 4032), 90), True),  # held upright
        (photo((3024, 4032), 0), False),  # stored upright: another picture than the profile's
        (photo((4032, 3024), 270), False),
        (photo((3024, 4032), None), True),  # mirrored, how is not known
        (photo(exif=replace(EXIF, digital_zoom=2.0)), False),
    ],
)
def test_a_profile_applies_to_what_the_sensor_saw_whichever_way_it_was_held(tmp_path, seen, applies):
    mine = stored(tmp_path, written(PROFILE))
    assert (choose_lens(PhotoRequest(tmp_path / "a.jpg", lenses=(mine,)), seen).prior is not None) == applies


def test_two_copies_of_one_profile_are_no_doubt(tmp_path):
    both = tuple(stored(tmp_path, written(PROFILE), name) for name in ("a.lens.toml", "b.lens.toml"))
    choice = choose_lens(PhotoRequest(tmp_path / "a.jpg", lenses=both), photo())
    assert choice.prior is not None
    assert choice.warnings == ()


@pytest.mark.parametrize(
    ("profile", "seen", "applies"),
    [
        ({}, {"focal_mm": 4.3}, True),  # two digits of 4.26: 0.9 % off
        ({}, {"focal_mm": 4.4}, False),  # 3.3 %: no rounding to two digits
        ({}, {"size_px": (799, 600)}, True),  # 800 x 600 less a pixel: 0.13 %
        ({}, {"size_px": (4032, 2990)}, False),  # 34 rows cut off: 1.1 %
        ({}, {"make": "EXAMPLE", "model": "example phone"}, True),
        ({"lens": "main"}, {"lens": "Main"}, True),
        ({"lens": "main"}, {"lens": "wide"}, False),
        ({"lens": "main"}, {}, True),  # a photo that does not say its lens
        ({}, {"focal_mm": None}, False),
    ],
)
def test_what_rounding_does_to_exif_and_size_is_allowed_for_and_no_more(profile, seen, applies):
    """Exif 2.32 writes a focal length as a ratio; cameras give it to two or three digits (common practice)."""
    assert (mismatch(replace(KEY, **profile), replace(KEY, **seen)) is None) == applies


@pytest.mark.parametrize(("centre", "fits"), [("2030.5, 1498.25", True), ("2030.5, 600.0", False)])
def test_a_centre_far_above_the_middle_is_of_cropped_photos(tmp_path, centre, fits):
    path = stored(tmp_path, written(PROFILE).replace("[2030.5, 1498.25]", f"[{centre}]"))
    if fits:
        assert read_profile(path)[0].cy == PROFILE.cy
    else:
        with pytest.raises(ProfileError, match=r"interior\.centre_px: lies far from the middle"):
            read_profile(path)


def test_a_file_far_too_large_for_a_profile_is_not_read(tmp_path):
    with pytest.raises(ProfileError, match="over 100 kB"):
        read_profile(stored(tmp_path, written(PROFILE) + "#" * 100_001))
