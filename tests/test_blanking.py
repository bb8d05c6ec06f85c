"""Facts about boxes that no copy shows. Oracle: the pixels of what is written."""

import numpy as np
import pytest
from PIL import Image

from sizing.check import check_job
from sizing.errors import InputError
from sizing.pictures.blanking import FILL, Blank, add_blank, blanked, parse_blank, read_blanks
from sizing.result.document import job_document
from sizing.saving import save_run
from vision.request import PARTS, Estimate, PhotoReport

JOB = """
[job]
id = "harbor-114"
units = "in"
[[opening]]
label = "W1"
wall = "masonry"
photos = ["w1.jpg"]
width = { top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }
height = { left = "60 1/8", middle = "60 1/8", right = "60 1/8" }
"""
BOX = '[[blank]]\nphoto = "w1.jpg"\nbox = [600, 500, 799.5, 599]\n'


def measured(request, progress):
    corners = np.array([[100.0, 100.0], [500.0, 100.0], [500.0, 400.0], [100.0, 400.0]])
    report = PhotoReport(
        request.photos[0].path,
        "ab" * 32,
        (800, 600),
        corners,
        references_px=(("sheet A", corners / 8),),
        wall_to_photo=lambda points: np.asarray(points) / 3.0 + 100.0,
        extent_mm=(-100.0, -100.0, 2000.0, 1400.0),
    )
    values = np.array([1381.125] * 3 + [1527.175] * 3 + [2058.98] * 2 + [0.0])
    return Estimate(values, np.eye(9), np.zeros((9, len(PARTS))), np.zeros(9), {}, (), (), (report,), (), "corners")


@pytest.fixture
def folder(tmp_path):
    pixels = np.zeros((600, 800, 3), np.uint8)
    pixels[500:, 600:] = (0, 255, 0)  # what must not be seen
    Image.fromarray(pixels).save(tmp_path / "w1.jpg", quality=97)
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    return tmp_path


def written(folder):
    result = check_job(folder, estimator=measured)
    run, warnings = save_run(result, job_document(result), out=None, pictures=True)
    pictures = {p.name: np.asarray(Image.open(p).convert("RGB")).astype(int) for p in run.glob("*.jpg")}
    return result, pictures, warnings


def green(pixels):
    return ((pixels[..., 1] > 180) & (pixels[..., 0] < 80) & (pixels[..., 2] < 80)).sum()


def test_every_picture_of_a_check_obeys_the_boxes_and_the_photo_stays(folder):
    _, seen, _ = written(folder)
    assert len(seen) == 2
    assert all(green(pixels) > 1000 for pixels in seen.values())
    before = (folder / "w1.jpg").read_bytes()
    (folder / "blank.toml").write_text(BOX, encoding="utf-8")
    _, hidden, warnings = written(folder)
    assert warnings == []
    assert [green(pixels) for pixels in hidden.values()] == [0, 0]
    assert (folder / "w1.jpg").read_bytes() == before


def test_where_the_boxes_cannot_be_read_no_picture_is_written_and_the_verdict_stands(folder):
    (folder / "blank.toml").write_text("[[blank]]\nphoto = 3\n", encoding="utf-8")
    result, pictures, warnings = written(folder)
    assert pictures == {}
    assert "blank.toml" in warnings[0]
    assert result.verdict == "send"


def test_a_box_covers_the_pixels_on_its_rim_and_may_leave_the_picture():
    photo = np.zeros((10, 10, 3), np.uint8)
    done = blanked(photo, [(2.2, 3.0, 4.5, 99.0)])
    assert photo.max() == 0
    filled = (done == np.array(FILL)).all(axis=-1)
    assert filled[3:, 2:6].all()
    assert filled.sum() == 7 * 4


def test_without_boxes_a_photo_is_passed_on_as_it_is():
    photo = np.zeros((4, 4, 3), np.uint8)
    assert blanked(photo, []) is photo


def test_a_name_with_a_colon_is_no_obstacle_and_the_file_says_the_same_as_the_option(folder):
    assert parse_blank("a:b.jpg:1,2,3,4") == Blank("a:b.jpg", (1.0, 2.0, 3.0, 4.0))
    (folder / "blank.toml").write_text(BOX, encoding="utf-8")
    assert read_blanks(folder) == (parse_blank("w1.jpg:600,500,799.5,599"),)


@pytest.mark.parametrize("text", ["", "w1.jpg", ":1,2,3,4", "w1.jpg:1,2,nan,4", "w1.jpg:3,2,1,4", "w1.jpg:1,2,3,4,5"])
def test_what_is_no_box_is_refused_with_the_form_to_write(text):
    with pytest.raises(InputError, match="PHOTO:x0,y0,x1,y1"):
        parse_blank(text)


def test_all_wrong_boxes_of_a_file_are_named_at_once(folder):
    (folder / "blank.toml").write_text(BOX + '[[blank]]\nphoto = "a"\n[[blank]]\nbox = []\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_blanks(folder)
    assert [p.where.rsplit(": ", 1)[1] for p in caught.value.problems] == ["blank 2", "blank 3"]


def test_a_box_that_covers_nothing_of_its_photo_leaves_the_picture_out_and_says_so(folder):
    """Found: such a box was taken without a word, and what it was to hide was in view."""
    (folder / "blank.toml").write_text(BOX.replace("[600, 500, 799.5, 599]", "[5000, 10, 5010, 20]"))
    result, pictures, warnings = written(folder)
    assert pictures == {}
    (line,) = warnings
    assert line.startswith("w1.jpg could not be drawn (blank: the box 5000, 10, 5010, 20 covers nothing")
    assert "800 x 600 px: correct it" in line
    assert result.verdict == "send"


@pytest.mark.parametrize("box", [(-9, -9, -1.5, 5), (800.5, 0, 900, 5), (0, 601, 5, 700)])
def test_a_box_beside_the_photo_is_never_taken_for_one_in_it(box):
    with pytest.raises(InputError, match="covers nothing"):
        blanked(np.zeros((600, 800, 3), np.uint8), [box])


def test_a_box_of_a_photo_that_the_job_does_not_name_keeps_every_picture_back(folder):
    """Found: the report refused it, check wrote its pictures with nothing blanked out."""
    (folder / "blank.toml").write_text(BOX.replace("w1.jpg", "W1.jpg"), encoding="utf-8")
    result, pictures, warnings = written(folder)
    assert pictures == {}
    assert "W1.jpg is none of the job's photos" in warnings[0]
    assert result.verdict == "send"


def test_a_link_to_nothing_is_no_absent_file(folder):
    (folder / "blank.toml").symlink_to("gone.toml")
    _, pictures, warnings = written(folder)
    assert pictures == {}
    assert "blank.toml: cannot be read" in warnings[0]
    with pytest.raises(InputError, match=r"blank\.toml: cannot be read"):
        add_blank(folder, Blank("w1.jpg", (1, 2, 3, 4)))
