"""Photos in a job's folder at the desk: what is listed, read and kept of them. Real photos, real child processes."""

import io
import json

import numpy as np
import pytest
from PIL import Image

from sizing.desk.intake_photos import (
    MOST_PHOTOS,
    THUMB_PX,
    contact_sheet,
    facts_task,
    photo_names,
    picture,
    pictures_task,
)
from sizing.desk.worker import Worker
from sizing.errors import InputError
from tests.desk_jobs import job, jpeg, served
from tests.test_desk_panels import printed
from vision.errors import PhotoError


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        yield client


@pytest.fixture
def ended():
    """A child that does no more tasks."""
    worker = Worker()
    worker.close()
    return worker


def quiet(line):
    pass


def exif(taken, orientation=1):
    made = Image.Exif()
    made[0x0112] = orientation  # Exif 2.3, orientation
    made.get_ifd(0x8769)[0x9003] = taken
    return made


def test_photos_of_folders_below_are_listed_but_not_of_results_rules_hidden_ones_or_other_jobs(tmp_path):
    for folder in ("more", "more/deep", "more/deep/deeper", "secondtape", "rules", ".hidden", "other"):
        (tmp_path / folder).mkdir(parents=True, exist_ok=True)
        (tmp_path / folder / "a.jpg").write_bytes(b"x")
    (tmp_path / "other" / "job.toml").write_text("")
    (tmp_path / "link.jpg").symlink_to(tmp_path / "more" / "a.jpg")
    (tmp_path / "notes.txt").write_text("x")
    assert photo_names(tmp_path) == ("more/a.jpg", "more/deep/a.jpg")
    assert photo_names(tmp_path / "no such folder") == ()


def test_of_very_many_photos_the_first_are_listed(tmp_path):
    for i in range(MOST_PHOTOS + 5):
        (tmp_path / f"{i:04}.jpg").touch()
    names = photo_names(tmp_path)
    assert (len(names), names[-1]) == (MOST_PHOTOS, f"{MOST_PHOTOS - 1:04}.jpg")


def test_while_photos_cannot_be_read_the_page_says_why_and_nothing_wrong_is_kept(tmp_path, ended):
    (tmp_path / "a.jpg").write_bytes(jpeg(1))
    (photo,) = contact_sheet(tmp_path, ended)
    assert (photo.name, photo.by_camera, photo.size_px) == ("a.jpg", False, None)
    assert photo.error == "the desk was ended"
    with pytest.raises(InputError, match=r"a\.jpg: the desk was ended"):
        picture(tmp_path, "a.jpg", THUMB_PX, ended)
    assert not (tmp_path / "secondtape").exists()
    worker = Worker()
    (photo,) = contact_sheet(tmp_path, worker)
    worker.close()
    assert (photo.size_px, photo.error) == ((800, 600), "")


def test_time_and_upright_size_are_read_from_the_header_and_what_is_none_says_why(tmp_path):
    Image.new("RGB", (800, 600)).save(tmp_path / "turned.jpg", exif=exif("2026:05:04 10:12:00", orientation=6))
    (tmp_path / "plain.jpg").write_bytes(jpeg(1))
    (tmp_path / "notes.jpg").write_text("width 36 inches\n" * 100)
    turned, plain, notes = facts_task([tmp_path / f"{n}.jpg" for n in ("turned", "plain", "notes")], say=quiet)
    assert turned == {"taken": "2026-05-04T10:12:00", "size_px": [600, 800]}
    assert plain == {"taken": None, "size_px": [800, 600]}
    assert (notes["taken"], notes["size_px"]) == (None, None)
    assert "not a photo of a kind that is read here" in notes["error"]


def test_pictures_are_made_of_the_longest_side_asked_for(tmp_path):
    (tmp_path / "a.jpg").write_bytes(jpeg(1))
    made = pictures_task(tmp_path / "a.jpg", (360, 700), say=quiet)
    assert {key: Image.open(io.BytesIO(data)).size for key, data in made.items()} == {
        "360": (360, 270),
        "700": (700, 525),
    }


def test_a_fault_that_stays_with_the_file_is_an_answer_and_one_that_may_pass_is_raised(tmp_path):
    (tmp_path / "small.jpg").write_bytes(jpeg(1, (300, 300)))
    made = pictures_task(tmp_path / "small.jpg", (360,), say=quiet)
    assert list(made) == ["error"]
    assert b"less than 0.3 MP" in made["error"]
    with pytest.raises(PhotoError):
        pictures_task(tmp_path / "gone.jpg", (360,), say=quiet)


def test_facts_that_were_kept_damaged_are_read_again(desk):
    folder = job(desk, "damaged")
    Image.new("RGB", (800, 600)).save(folder / "a.jpg", exif=exif("2026:05:04 10:12:00"))
    assert "2026-05-04 10:12:00" in desk.get("/job/damaged").text
    (kept,) = (folder / "secondtape" / "thumbs").glob("*-facts.json")
    for damaged in ("{", "[1]", "null"):
        kept.write_text(damaged)
        assert "2026-05-04 10:12:00" in desk.get("/job/damaged").text
        assert json.loads(kept.read_text())["size_px"] == [800, 600]


def test_small_pictures_are_never_written_through_a_link_out_of_the_job(desk, tmp_path):
    folder = job(desk, "linked")
    (folder / "a.jpg").write_bytes(jpeg(1))
    (folder / "secondtape").mkdir()
    (folder / "secondtape" / "thumbs").symlink_to(tmp_path)
    assert desk.get("/job/linked").status_code == 200
    answer = desk.get("/job/linked/photo/360/a.jpg")
    assert Image.open(io.BytesIO(answer.content)).size == (360, 270)
    assert list(tmp_path.iterdir()) == []


def test_a_photo_that_is_gone_is_refused_by_its_name(tmp_path):
    worker = Worker()
    with pytest.raises(InputError, match=r"^gone\.jpg: "):
        picture(tmp_path, "gone.jpg", THUMB_PX, worker)
    worker.close()


def test_panels_are_sent_and_where_no_sheet_is_the_answer_is_empty(desk):
    folder = job(desk, "panels")
    Image.fromarray(printed("larkspur-07")).save(folder / "sheet.jpg", quality=92)
    (folder / "bare.jpg").write_bytes(jpeg(1))
    (folder / "notes.jpg").write_text("width 36 inches\n" * 100)
    answer = desk.get("/job/panels/panel/sheet.jpg")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-panel-written"] == "yes"
    assert answer.headers["x-panel-says"] == "Sheet A: something is written under job."
    assert np.ptp(np.asarray(Image.open(io.BytesIO(answer.content)))) > 100  # black on white
    for _ in range(2):  # the second time from what was kept
        bare = desk.get("/job/panels/panel/bare.jpg")
        assert (bare.status_code, bare.content) == (204, b"")
    refused = desk.get("/job/panels/panel/notes.jpg")
    assert refused.status_code == 400
    assert "notes.jpg: not a photo of a kind that is read here" in refused.text
