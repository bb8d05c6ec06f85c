"""Photos compared with readings at the desk, on the demo's rendered photos: which opening each shows is known."""

import shutil
from pathlib import Path

import pytest

from sizing.desk.proposing import comparison, propose_task
from sizing.jobs.file import load_job
from tests.desk_jobs import TYPED, finished, served
from tests.desk_jobs import job as made
from tests.desk_visit import smaller, write_smaller

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"

OTHER = """[opening.width]
top = "71"
middle = "71"
bottom = "71"
[opening.height]
left = "20"
middle = "20"
right = "20"
"""


@pytest.fixture
def job(tmp_path):
    """The demo's W2 and W4; nobody has given w2.jpg to an opening yet."""
    head, _, second, _, fourth = smaller((DEMO / "job.toml").read_text()).split("[[opening]]")
    assert 'file = "w2.jpg"' in second
    lines = [line for line in second.splitlines() if not line.startswith("photos")]
    shutil.copytree(DEMO / "rules", tmp_path / "rules")
    (tmp_path / "job.toml").write_text(f"{head}[[opening]]" + "\n".join(lines) + "\n[[opening]]" + fourth)
    for name in ("w2.jpg", "w3.jpg", "w4.jpg"):
        write_smaller(name, tmp_path)
    return tmp_path


def test_a_photo_is_proposed_by_the_outline_it_shows_and_a_pointed_one_fits_its_own_opening(job):
    before = (job / "job.toml").read_text()
    answer = propose_task(job, ("w2.jpg", "w3.jpg"), say=lambda line: None)
    said = {photo: (label, says) for photo, label, says in answer["compared"]}
    assert said["w2.jpg"][0] == "W2"
    assert said["w2.jpg"][1].startswith("fits the readings of W2 (probability ")
    assert said["w3.jpg"][0] == ""  # no sheet, no size
    assert "no printed sheet was found" in said["w3.jpg"][1]
    assert said["w4.jpg"] == ("", "fits the readings of W4 (probability over 99 %), as it is given")
    assert set(answer["said_of"]) == {("w2.jpg", "W2"), ("w3.jpg", ""), ("w4.jpg", "")}
    assert (job / "job.toml").read_text() == before


def test_a_pointed_photo_that_was_given_to_the_wrong_opening_is_told(job):
    head, *openings = (job / "job.toml").read_text().split("[[opening]]")
    (second, read_second), (fourth, read_fourth) = (part.split("[opening.width]") for part in openings)
    mixed = [f"{second}[opening.width]{read_fourth}\n", f"{fourth}[opening.width]{read_second}"]
    (job / "job.toml").write_text("[[opening]]".join([head, *mixed]))
    (one,) = propose_task(job, (), say=lambda line: None)["compared"]
    assert one[:2] == ("w4.jpg", "")
    assert "though it is given to W4: look again which one it shows" in one[2]
    assert one[2].startswith("fits the readings of W2 ")


def test_what_is_missing_for_a_comparison_is_said(job):
    openings = load_job(job).openings
    assert comparison(openings)["comparable"]
    assert "readings of W2, W4" in comparison(openings)["compares"]
    assert comparison(())["compares"].startswith("Nothing to compare with yet: type at least 3 readings")


def test_a_pointed_photo_that_openings_of_one_size_fit_alike_is_told(job):
    head, second, fourth = (job / "job.toml").read_text().split("[[opening]]")
    twin = fourth.split("photos")[0].replace("W4", "W5") + "[opening.width]" + fourth.split("[opening.width]")[1]
    (job / "job.toml").write_text("[[opening]]".join([head, second, fourth, twin]))
    (one,) = propose_task(job, (), say=lambda line: None)["compared"]
    assert one == ("w4.jpg", "", "fits W4 and W5 alike: their sizes cannot tell which it shows")


def test_a_pointed_photo_that_fits_no_readings_is_told(job):
    text = (job / "job.toml").read_text()
    head, _, fourth = text.split("[[opening]]")
    fourth = fourth.split("[opening.width]")[0] + OTHER  # sound in themselves, of another opening
    (job / "job.toml").write_text(f"{head}[[opening]]{fourth}")
    (one,) = propose_task(job, (), say=lambda line: None)["compared"]
    assert one[:2] == ("w4.jpg", "")
    assert one[2].startswith("fits neither the readings of W4 nor those of another opening")


def test_of_a_photo_that_cannot_be_read_its_fault_is_said_without_the_folder(job):
    (job / "notes.jpg").write_text("width 36 inches\n" * 100)
    answer = propose_task(job, ("notes.jpg",), say=lambda line: None)
    (photo, label, says), _ = answer["compared"]
    assert (photo, label) == ("notes.jpg", "")
    assert says.startswith("could not be measured, so its size says nothing: ")
    assert "not a photo of a kind that is read here" in says
    assert str(job) not in says


def test_what_was_said_of_a_photo_is_shown_until_the_photo_is_replaced_or_gone(tmp_path):
    with served(tmp_path) as desk:
        folder = made(desk, "larch")
        write_smaller("w3.jpg", folder)
        page = desk.post("/job/larch/propose")
        assert page.status_code == 200
        assert finished(desk, page.text)["state"] == "done"
        said = "could not be measured, so its size says nothing"
        assert said in desk.get("/job/larch").text
        before = (folder / "w3.jpg").read_bytes()
        (folder / "w3.jpg").write_bytes(before + b"\0")
        assert said not in desk.get("/job/larch").text
        (folder / "w3.jpg").unlink()
        shown = desk.get("/job/larch")
        assert shown.status_code == 200
        assert said not in shown.text
        assert (folder / "job.toml").read_text() == TYPED.format(id="larch", by="crew 1")
