"""Camera profiles as files: read back as written, faults named, applied to photos of their own camera only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from sizing.messages.lens import profile_made, profile_refused
from vision.camera import Camera, project
from vision.lens.interior import LensFit
from vision.lens.photos import LensFound, LensNotFound, profile_from_photos
from vision.lens.profile import LensKey, LensProfile, ProfileError, mismatch, read_profile, written
from vision.lens.use import choose_lens, profile_prior
from vision.photo.exif import ExifFacts
from vision.photo.reading import Photo, read_photo
from vision.priors import camera_blocks
from vision.request import PhotoRequest

KEY = LensKey("Example", "Example Phone", "", 4.26, 26.0, (4032, 3024))
EXIF = ExifFacts(make="Example", model="Example Phone", focal_mm=4.26, focal35_mm=26.0)
COVARIANCE = np.diag([1e-3, 2.0, 3.0, 1e-2, 2e-2]) ** 2
COVARIANCE[3, 4] = COVARIANCE[4, 3] = -0.9e-2 * 2e-2
PROFILE = LensProfile(KEY, 3030.25, 2030.5, 1498.25, 0.021, -0.0345, COVARIANCE, {"photos": 9, "rms_px": 0.05})


def stored(tmp_path, text, name="phone.lens.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def photo(size_px=(4032, 3024), turned=0, exif=EXIF):
    return Photo(None, "", None, size_px, exif, 1, (), turned)


def test_a_profile_is_read_back_as_it_was_written(tmp_path):
    found, sha256 = read_profile(stored(tmp_path, written(PROFILE)))
    assert (found.key, found.focal_px, found.cx, found.cy) == (KEY, PROFILE.focal_px, PROFILE.cx, PROFILE.cy)
    assert (found.k1, found.k2, dict(found.made)) == (PROFILE.k1, PROFILE.k2, dict(PROFILE.made))
    assert found.covariance == pytest.approx(COVARIANCE, rel=1e-15)
    assert len(sha256) == 64


def test_a_name_with_quotes_and_backslashes_survives(tmp_path):
    odd = replace(PROFILE, key=replace(KEY, lens='1.8/4.26 "wide" \\ 2'))
    assert read_profile(stored(tmp_path, written(odd)))[0].key == odd.key


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("focal_px = 3030.25", "focal_px = -3", "interior.focal_px: must be a number from 10"),
        ("focal_px = 3030.25", f"focal_px = {'9' * 400}", "interior.focal_px: must be a number"),
        ("focal_px = 3030.25", 'focal_px = "3030"', "interior.focal_px: must be a number"),
        ("k1 = 0.021", "k1 = nan", "interior.k1: must be a number"),
        ("k1 = 0.021\n", "", "interior.k1: must be a number"),
        ("centre_px = [2030.5, 1498.25]", "centre_px = [0.0, 1498.25]", "interior.centre_px: lies far from the middle"),
        ("size_px = [4032, 3024]", "size_px = [4032]", "camera.size_px: must be two numbers"),
        ('make = "Example"', "make = 3", "camera.make: must be text"),
        ('make = "Example"', 'maker = "Example"', "camera.maker: not known here"),
        ("[1e-06,", "[-1e-06,", "interior.covariance: must be symmetric and positive"),
        ('format = "secondtape-lens/1"', 'format = "other/9"', 'format: must be "secondtape-lens/1"'),
        ("[interior]", "[interior", "not a text file in TOML"),
    ],
)
def test_each_fault_of_a_profile_is_named_with_its_key(tmp_path, before, after, said):
    text = written(PROFILE).replace("9.999999999999999e-07", "1e-06")
    assert before in text
    with pytest.raises(ProfileError, match=r"phone\.lens\.toml") as caught:
        read_profile(stored(tmp_path, text.replace(before, after, 1)))
    assert any(said in fault for fault in caught.value.faults)


def test_a_missing_profile_says_so(tmp_path):
    with pytest.raises(ProfileError, match="no such file"):
        read_profile(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"make": "Other"}, "make"),
        ({"model": ""}, "does not say its model"),
        ({"focal_mm": 9.0}, "focal length"),
        ({"focal35_mm": 52.0}, "35 mm equivalent"),
        ({"focal35_mm": None}, "does not say"),
        ({"size_px": (4032, 2268)}, "another shape"),
        ({"size_px": (3024, 4032)}, "another shape"),
    ],
)
def test_a_profile_does_not_apply_to_another_camera_focal_length_or_cut(changed, said):
    assert said in mismatch(KEY, replace(KEY, **changed))


@pytest.mark.parametrize("size", [(4032, 3024), (1600, 1200), (2048, 1536), (8064, 6048)])
def test_a_profile_applies_to_the_whole_picture_at_any_size(size):
    assert mismatch(KEY, replace(KEY, size_px=size)) is None


def test_a_profile_does_not_apply_to_a_zoomed_photo():
    assert "zoomed" in mismatch(KEY, KEY, 2.0)


def test_without_a_focal_length_only_the_same_size_will_do():
    bare = replace(KEY, focal_mm=None, focal35_mm=None)
    assert mismatch(bare, bare) is None
    assert mismatch(bare, replace(bare, size_px=(2016, 1512))) is not None


@pytest.mark.parametrize("turned", [0, 90, 180, 270])
def test_the_optical_centre_turns_with_the_photo(turned):
    """The same ray seen through the stored picture and through the turned one falls on the same scene."""
    w, h = KEY.size_px
    held = Camera(np.eye(3), np.zeros(3), PROFILE.focal_px, PROFILE.cx, PROFILE.cy, PROFILE.k1, PROFILE.k2)
    ray = np.array([[0.31, -0.17, 1.0]])
    x, y = project(held, ray)[0]
    # numpy's own quarter turns say where the pixel goes
    index = np.zeros((h // 8, w // 8), bool)
    index[round(y / 8), round(x / 8)] = True
    row, column = np.argwhere(np.rot90(index, -turned // 90))[0]
    size = (w, h) if turned % 180 == 0 else (h, w)
    prior = profile_prior(PROFILE, size, turned)
    c, s = np.cos(np.radians(turned)), np.sin(np.radians(turned))
    upright = Camera(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]), np.zeros(3), prior.focal_px, prior.cx, prior.cy)
    seen = project(replace(upright, k1=prior.k1, k2=prior.k2), ray)[0]
    assert seen == pytest.approx([column * 8, row * 8], abs=10)


def test_a_resized_photo_gets_the_focal_length_in_its_own_pixels():
    prior = profile_prior(PROFILE, (2016, 1512), 0)
    assert prior.focal_px == pytest.approx(3030.25 / 2)
    assert prior.cx == pytest.approx((2030.5 + 0.5) / 2 - 0.5)  # pixel centres at integers


def test_a_mirrored_photo_leaves_the_side_of_the_centre_open():
    prior = profile_prior(PROFILE, KEY.size_px, None)
    assert (prior.cx, prior.cy) == (2015.5, 1511.5)
    assert np.sqrt(prior.covariance[1, 1]) > abs(PROFILE.cx - 2015.5)


def test_the_prior_of_a_profile_holds_its_correlation():
    (block,) = camera_blocks(profile_prior(PROFILE, KEY.size_px, 0))
    assert block.correlation[3, 4] == pytest.approx(-0.9)


def test_a_profile_in_reach_applies_by_its_key_and_is_named_with_its_hash(tmp_path):
    mine = stored(tmp_path, written(PROFILE))
    other = stored(tmp_path, written(replace(PROFILE, key=replace(KEY, model="Other"))), "other.lens.toml")
    choice = choose_lens(PhotoRequest(tmp_path / "a.jpg", lenses=(other, mine)), photo())
    assert choice.prior.focal_px == PROFILE.focal_px
    assert [(u.path, u.applied, len(u.sha256)) for u in choice.uses] == [(mine, True, 64)]
    assert choice.warnings == ()


def test_a_named_profile_of_another_camera_is_not_used_and_that_is_said(tmp_path):
    mine = stored(tmp_path, written(PROFILE))
    choice = choose_lens(PhotoRequest(tmp_path / "a.jpg", lens=mine), photo(exif=ExifFacts()))
    assert choice.prior is None
    assert [w.code for w in choice.warnings] == ["lens-not-used"]
    assert [u.applied for u in choice.uses] == [False]


def test_two_profiles_that_fit_are_a_doubt_and_neither_applies(tmp_path):
    one = stored(tmp_path, written(PROFILE), "a.lens.toml")
    two = stored(tmp_path, written(replace(PROFILE, k1=0.022)), "b.lens.toml")
    choice = choose_lens(PhotoRequest(tmp_path / "a.jpg", lenses=(one, two)), photo())
    assert choice.prior is None
    assert "a.lens.toml and b.lens.toml" in choice.warnings[0].message


@pytest.mark.parametrize(("orientation", "turned"), [(1, 0), (3, 180), (6, 90), (8, 270), (2, None)])
def test_a_photo_knows_how_it_was_held(tmp_path, orientation, turned):
    exif = Image.Exif()
    exif[274] = orientation
    path = tmp_path / "p.jpg"
    Image.fromarray(np.zeros((600, 800, 3), np.uint8) + 90).save(path, exif=exif)
    assert read_photo(path).turned == turned


def test_photos_that_show_no_lens_as_it_is_are_left_out_each_with_its_reason(tmp_path):
    """Exif 2.32: orientation 2 is mirrored, DigitalZoomRatio 2 is half of the picture made larger."""
    grey = Image.new("RGB", (640, 480), (120, 120, 120))
    mirrored, zoomed = Image.Exif(), Image.Exif()
    mirrored[274] = 2
    zoomed.get_ifd(0x8769)[0xA404] = 2.0
    for name, exif in (("mirrored", mirrored), ("zoomed", zoomed), ("bare", Image.Exif())):
        grey.effect_spread(3).save(tmp_path / f"{name}.jpg", exif=exif)
    (tmp_path / "text.jpg").write_bytes(b"no photo" * 500)
    said = []
    names = ("mirrored", "zoomed", "bare", "text")
    found = profile_from_photos([tmp_path / f"{name}.jpg" for name in names], said.append)
    assert isinstance(found, LensNotFound)
    assert not found.unreadable
    assert said == [f"looking at {name}.jpg" for name in names]
    reasons = dict(found.left_out)
    assert "mirrored" in reasons["mirrored.jpg"]
    assert "take it again at 1x" in reasons["zoomed.jpg"]
    assert "show at least one whole sheet" in reasons["bare.jpg"]
    assert profile_refused(found)[0] == "No camera profile: none of the photos can be used."
    assert len(profile_refused(found)) == 5


def test_a_weak_profile_of_a_camera_without_a_name_says_what_to_add_and_where_it_applies():
    key = LensKey("", "", "", None, None, (4000, 3000))
    covariance = np.diag([0.02, 4.0, 4.0, 0.01, 0.01]) ** 2
    fit = LensFit(3000.0, 2000.0, 1500.0, 0.01, 0.0, covariance, ("a", "b", "c"), np.ones(3), (("d", "too few"),))
    profile = LensProfile(key, 3000.0, 2000.0, 1500.0, 0.01, 0.0, covariance, {"rms_px": 0.3})
    said = profile_made(LensFound(profile, fit, 0.4, 1.0), "a.lens.toml")
    assert "profile of a camera without a name" in said
    assert "Weak: few photos, or all much alike. Add photos with the sheets tilted" in said
    assert "applies only where it is named" in said
    assert "left out: d: too few" in said
    assert "U95 120.0 px (4.00 %)" in said  # twice 2 % of 3000 px
