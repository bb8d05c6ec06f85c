"""Facts about the pictures of a run. Oracle: contract.md, *Commands*; the measured opening is made by hand."""

import numpy as np
import pytest
from PIL import Image

from sizing.check import check_job
from sizing.result.document import job_document
from sizing.saving import save_run
from vision.request import PARTS, Estimate, PhotoReport, Warning_

VALUES = np.array([1381.125] * 3 + [1527.175] * 3 + [2058.98] * 2 + [0.0])
SIZE = (900, 700)
JOB = """
[job]
id = "harbor-114"
units = "in"
[[opening]]
label = "W1/a"
wall = "masonry"
photos = ["w1.jpg"]
width = { top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }
height = { left = "60 1/8", middle = "60 1/8", right = "60 1/8" }
"""


def estimator(size=SIZE, warnings=()):
    def estimate(request, progress):
        corners = np.array([[100.0, 100.0], [600.0, 100.0], [600.0, 600.0], [100.0, 600.0]])
        report = PhotoReport(
            request.photos[0].path,
            "ab" * 32,
            size,
            corners,
            stations_px={"width_middle": corners[:2] + np.array([0.0, 250.0])},
            references_px=(("sheet A", corners / 8),),
            warnings=warnings,
            wall_to_photo=lambda points: points / 3.0 + 100.0,
            extent_mm=(-100.0, -100.0, 1600.0, 1600.0),
        )
        zeros = np.zeros((9, len(PARTS)))
        return Estimate(VALUES, np.eye(9), zeros, np.zeros(9), {}, (), (), (report,), (), "corners")

    return estimate


@pytest.fixture
def folder(tmp_path):
    pixels = np.random.default_rng(1).integers(0, 255, (SIZE[1], SIZE[0], 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[271] = "a camera"
    Image.fromarray(pixels).save(tmp_path / "w1.jpg", exif=exif)
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    return tmp_path


def saved(folder, how):
    result = check_job(folder, estimator=how)
    return save_run(result, job_document(result), out=None, pictures=True)


def test_a_measured_photo_gives_two_pictures_with_safe_names_and_without_exif(folder):
    run, warnings = saved(folder, estimator())
    assert warnings == []
    names = sorted(path.name for path in run.iterdir())
    assert [name.rsplit("-", 1)[-1] for name in names] == ["annotated.jpg", "rectified.jpg", "result.json"]
    assert all("/" not in name and name.startswith("W1-a-") for name in names[:2])
    for name in names[:2]:
        with Image.open(run / name) as picture:
            assert not picture.getexif()


def test_a_photo_turned_by_itself_is_drawn_as_measured(folder):
    turned = Warning_("turned", "the photo was turned by 90 degrees because its sheets lay on their side")
    run, warnings = saved(folder, estimator((700, 900), (turned,)))
    assert warnings == []
    with Image.open(next(run.glob("*annotated.jpg"))) as picture:
        assert picture.height > picture.width


def test_a_picture_that_cannot_be_drawn_is_said_and_the_result_is_written_all_the_same(folder):
    run, warnings = saved(folder, estimator((701, 900)))
    assert [path.name for path in run.iterdir()] == ["result.json"]
    (warning,) = warnings
    assert "w1.jpg could not be drawn" in warning
    assert "the verdict stands" in warning
