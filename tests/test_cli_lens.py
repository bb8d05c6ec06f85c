"""The command `lens` from photos to file, and the profiles that lie in a job's reach."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image

from sizing.cli import run
from sizing.jobs.lenses import named_profile, profiles_in_reach
from tests.drawing import picture
from vision.lens.profile import read_profile

SIZE, FOCAL, CENTRE = (1000, 750), 900.0, (507.0, 370.0)
TILTS = ((0.5, 0.1, 0.0), (-0.5, 0.1, 0.1), (0.1, 0.55, 0.0), (0.0, -0.55, 1.5), (0.35, 0.4, -0.2))


def seen(turn, x, y):
    """Return the homography mm -> px of a sheet, tilted before a camera of known interior (no distortion)."""
    k = np.array([[FOCAL, 0, CENTRE[0]], [0, FOCAL, CENTRE[1]], [0, 0, 1]])
    r = np.asarray(cv2.Rodrigues(np.array(turn))[0])
    t = np.array([x, y, 420.0]) - r @ [90, 120, 0]
    return k @ np.column_stack([r[:, 0], r[:, 1], t])


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lens")
    exif = Image.Exif()
    exif[271], exif[272] = "Example", "Example Phone"
    exif.get_ifd(0x8769)[37386], exif.get_ifd(0x8769)[41989] = 4.2, 31
    for i, turn in enumerate(TILTS):
        grey = picture([(0, seen(turn, 30 * (i % 3) - 30, 20 * (i % 2) - 10))], SIZE, fine=3, seed=i)
        Image.fromarray(grey).convert("RGB").save(folder / f"{i}.jpg", quality=95, exif=exif)
    return folder, [str(folder / f"{i}.jpg") for i in range(len(TILTS))]


def test_a_profile_from_drawn_photos_holds_the_camera_they_were_drawn_with(photos, capsys):
    folder, files = photos
    out = folder / "phone.lens.toml"
    assert run(["lens", *files, "--out", str(out)]) == 0
    profile, _ = read_profile(out)
    u = np.sqrt(np.diag(profile.covariance))
    off = np.array([np.log(profile.focal_px / FOCAL), profile.cx - CENTRE[0], profile.cy - CENTRE[1]])
    assert np.abs(off / u[:3]).max() < 3.5
    assert u[0] < 0.005
    assert (profile.key.make, profile.key.focal_mm, profile.key.size_px) == ("Example", 4.2, SIZE)
    assert "U95" in capsys.readouterr().out


def test_two_photos_end_with_3_and_the_remedy(photos, capsys):
    folder, files = photos
    out = folder / "two.lens.toml"
    assert run(["lens", *files[:2], "--out", str(out)]) == 3
    assert "too few" in capsys.readouterr().err
    assert not out.exists()


def test_photos_that_cannot_be_read_end_with_4(tmp_path, capsys):
    assert run(["lens", str(tmp_path / "none.jpg"), "--out", str(tmp_path / "x.lens.toml")]) == 4
    assert "none.jpg" in capsys.readouterr().err


def test_a_place_that_cannot_be_written_ends_with_2(photos, capsys):
    _, files = photos
    assert run(["lens", *files, "--out", "/proc/none/x.lens.toml"]) == 2
    assert "--out" in capsys.readouterr().err


def test_profiles_of_the_job_s_and_the_desk_s_folder_are_in_reach_and_no_others(tmp_path):
    desk, job = tmp_path / "desk", tmp_path / "desk" / "week" / "job"
    for place in (job, job / "lenses", desk / "lenses", tmp_path / "lenses"):
        place.mkdir(parents=True, exist_ok=True)
    for path in (job / "a.lens.toml", job / "lenses" / "b.toml", desk / "lenses" / "c.toml", job / "job.toml"):
        path.write_text("")
    (tmp_path / "lenses" / "outside.toml").write_text("")
    (job / "d.lens.toml").symlink_to(tmp_path / "lenses" / "outside.toml")
    found = profiles_in_reach(job, top=desk)
    assert [p.name for p in found] == ["a.lens.toml", "b.toml", "c.toml"]


def test_the_folder_of_the_command_counts_only_when_the_job_lies_below_it(tmp_path, monkeypatch):
    job, elsewhere = tmp_path / "jobs" / "a", tmp_path / "elsewhere"
    for place in (job, elsewhere):
        place.mkdir(parents=True)
        (place / f"{place.name}.lens.toml").write_text("")
    (tmp_path / "jobs" / "crew.lens.toml").write_text("")
    monkeypatch.chdir(tmp_path / "jobs")
    assert [p.name for p in profiles_in_reach(job)] == ["a.lens.toml", "crew.lens.toml"]
    monkeypatch.chdir(elsewhere)
    assert [p.name for p in profiles_in_reach(job)] == ["a.lens.toml"]


def test_a_job_s_folder_that_leads_in_a_circle_has_no_profiles(tmp_path):
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert profiles_in_reach(tmp_path / "a") == ()


def test_a_sound_profile_may_be_named_from_anywhere(photos, tmp_path):
    _, files = photos
    out = tmp_path / "phone.lens.toml"
    assert run(["lens", *files, "--out", str(out), "--quiet"]) == 0
    assert named_profile(str(out)) == out


def test_a_named_profile_that_is_none_is_bad_usage(tmp_path, capsys):
    path = tmp_path / "x.lens.toml"
    path.write_text("format = 3")
    assert run(["estimate", "a.jpg", "--lens", str(path)]) == 2
    assert "--lens: x.lens.toml: format: must be" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["", "  "])
def test_a_profile_without_a_name_is_said_as_such(name):
    with pytest.raises(ValueError, match="no file is named; give a camera profile"):
        named_profile(name)
