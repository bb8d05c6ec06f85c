"""How exactly corners are put, said at the desk. Oracles: contract.md (Job file: `click_px`), TOML 1.0 on comments."""

import shutil
import tomllib

import pytest

from sizing.jobs.file import load_job
from tests.desk_visit import second_opening, visited

OWN = {"sec-fetch-site": "same-origin"}
PAGE = "/job/larkspur/opening/W2"
CORNERS = (("200", "200"), ("1000", "200"), ("1000", "700"), ("200", "700"))


@pytest.fixture(scope="module")
def one(tmp_path_factory):
    root = tmp_path_factory.mktemp("desk")
    second_opening(root / "larkspur")
    return root


@pytest.fixture
def file(one, tmp_path):
    shutil.copytree(one, tmp_path / "desk")
    return tmp_path / "desk" / "larkspur" / "job.toml"


@pytest.fixture
def visit(file):
    with visited(file.parent.parent) as client:
        yield client


def sent(visit, file, corners=CORNERS, **more):
    points = {f"c{i}{axis}": at[k] for i, at in enumerate(corners) for k, axis in enumerate("xy")}
    form = {"do": "corners", "number": "0", "turn": "0", "sha256": load_job(file).sha256} | points | more
    return visit.post(PAGE, data=form, headers={**OWN, "accept": "application/json"})


def photo(file):
    return tomllib.loads(file.read_text())["opening"][0]["photos"][0]


def test_exact_corners_are_said_in_the_job_file_and_its_comments_stay(visit, file):
    file.write_text("# of the office\n" + file.read_text().replace("[opening.width]", "[opening.width] # by Ann"))
    before = file.read_text()
    assert 'name="click_px" form="corner-form" inputmode="decimal" size="5" value="3"' in visit.get(PAGE).text
    assert sent(visit, file, click_px="1").status_code == 200
    assert photo(file)["click_px"] == 1
    assert load_job(file).openings[0].photos[0].click_px == 1.0
    for comment in ("# of the office\n", "[opening.width] # by Ann"):
        assert comment in before
        assert comment in file.read_text()
    page = visit.get(PAGE).text
    assert 'value="1" autocomplete="off" aria-describedby="click-means"' in page
    assert "2 or less, say 1, is exactly on the lines meant" in page


def test_what_is_in_force_is_not_written_into_a_job_that_does_not_say_it(visit, file):
    assert sent(visit, file, click_px="3").status_code == 200
    assert "click_px" not in photo(file)
    assert photo(file)["corners"] == [[200, 200], [1000, 200], [1000, 700], [200, 700]]


@pytest.mark.parametrize("typed", ["0", "-1", "1e4", "fine", "nan", "inf"])
def test_what_is_no_number_of_pixels_is_refused_and_nothing_saved(visit, file, typed):
    before = file.read_bytes()
    answer = sent(visit, file, click_px=typed)
    assert answer.status_code == 400
    assert f"above 0 and up to 1000, not {typed!r}. Nothing was saved." in answer.json()["problems"][0]
    assert file.read_bytes() == before


def test_corners_that_nobody_put_cannot_be_called_exact(visit, file):
    before = file.read_bytes()
    answer = sent(visit, file, (("", ""),) * 4, click_px="1")
    assert answer.status_code == 400
    assert "put the four corners" in answer.json()["problems"][0]
    assert file.read_bytes() == before
