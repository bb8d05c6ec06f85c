"""Photos compared with readings at the desk, on the demo's rendered photos: which opening each shows is known."""

import shutil
from pathlib import Path

import pytest

from sizing.desk.proposing import comparison, propose_task
from sizing.jobs.file import load_job
from tests.desk_visit import smaller, write_smaller

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"


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
