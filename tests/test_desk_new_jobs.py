"""New jobs at the desk: each that is made is listed, and one that is refused leaves nothing behind."""

import errno
import re
import tomllib

import pytest

from sizing.errors import InputError
from sizing.jobs import edits as jobedits
from sizing.jobs import writer
from sizing.jobs.writer import create
from tests.desk_jobs import served

NEW = {"units": "in", "labels": "W1", "wall": "masonry", "tape": "unknown", "seen_from": "outside"}


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        yield client


@pytest.mark.parametrize("name", ["secondtape", "rules", ".hidden", "..", "a/b", "ünï", "x" * 90, "static", "papers"])
def test_a_job_of_any_name_is_listed_once_it_is_made(desk, name):
    answer = desk.post("/new", data={**NEW, "id": name}, follow_redirects=False)
    assert answer.status_code == 303
    at = answer.headers["location"]
    assert f'href="{at}"' in desk.get("/").text
    assert desk.get(at).status_code == 200
    assert tomllib.loads((desk.root / at.removeprefix("/job/") / "job.toml").read_text())["job"]["id"] == name


@pytest.mark.parametrize(
    "given",
    [
        {"labels": "W1, W1"},
        {"wall": "brick"},
        {"units": "ft"},
        {"graduation": "1/7"},
        {"measured_on": "2026-13-01"},
        {"id": "bell\x07"},
    ],
)
def test_a_new_job_that_is_refused_leaves_nothing_behind(desk, given):
    before = sorted(desk.root.iterdir())
    assert desk.post("/new", data={**NEW, "id": "refused", **given}).status_code == 400
    assert sorted(desk.root.iterdir()) == before


@pytest.mark.parametrize("rows", ["[]", '[[1,"W1",{},{}],[2,"W1",{},{"wall":"brick"}]]', '[[1,"\\ud800",{},{}]]'])
def test_an_import_that_is_refused_leaves_nothing_behind(desk, rows):
    before = sorted(desk.root.iterdir())
    data = {"new": "from-a-sheet", "rows": rows, "wall": "masonry", "units": "in"}
    answer = desk.post("/import/confirm", data=data)
    assert answer.status_code == 400
    assert re.search("<li>.+</li>", answer.text)
    assert sorted(desk.root.iterdir()) == before


def test_a_file_or_link_in_the_way_of_a_new_job_is_named(desk, tmp_path):
    (desk.root / "a-file").write_text("x")
    (desk.root / "a-link").symlink_to(tmp_path)
    for name in ("a-file", "a-link"):
        answer = desk.post("/new", data={**NEW, "id": name})
        assert answer.status_code == 400
        assert "there is a file or link of this name: choose another" in answer.text
    assert list(tmp_path.iterdir()) == []


def test_a_job_that_cannot_be_written_leaves_nothing_behind(tmp_path, monkeypatch):
    document = jobedits.new_job({"id": "larch-1", "units": "in"}, ["W1"], "masonry")
    replaced = writer._replaced

    def full(file, text):
        if file.is_relative_to(tmp_path):
            raise OSError(errno.ENOSPC, "no room")
        return replaced(file, text)

    monkeypatch.setattr(writer, "_replaced", full)
    with pytest.raises(OSError, match="no room"):
        create(tmp_path / "larch-1", document)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "there").mkdir()
    with pytest.raises(OSError, match="no room"):
        create(tmp_path / "there", document)
    assert (tmp_path / "there").is_dir()


def test_signs_that_are_no_text_are_refused_in_a_line(tmp_path):
    # Unicode: a lone surrogate is no character, and UTF-8 has no bytes for it.
    document = jobedits.new_job({"id": "larch-1", "units": "in", "note": "\ud800"}, ["W1"], "masonry")
    with pytest.raises(InputError, match="signs that are no text"):
        create(tmp_path / "larch-1", document)
