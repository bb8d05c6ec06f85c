"""Facts about the log's pages at the desk, over the real application (Starlette's test client)."""

import json

import pytest

from sizing.cli import run
from sizing.exits import Exit
from sizing.log.rebuilding import rebuild
from tests.desk_visit import visited

SHA = "a" * 64


def check(root, folder, run="0123456789ab", by="crew 2", **more):
    path = root / folder / "secondtape" / run
    path.mkdir(parents=True)
    (root / folder / "job.toml").write_text(f'[job]\nid = "{folder}"\nunits = "in"\n[[opening]]\nlabel = "W1"\n')
    reading = {"name": "width_top", "tape_mm": 1000.0, "photo_mm": 999.0, "difference_mm": 1.0, "U95_mm": 2.0, "by": by}
    opening = {"label": "W1", "verdict": "send", "why": "All agree.", "inputs_sha256": folder, "readings": [reading]}
    found = {"job": folder, "file": "job.toml", "verdict": "send", "units": "mm", "measured_by": by}
    found |= {"measured_on": "2026-05-04", "openings": [opening]} | more
    (path / "result.json").write_text(json.dumps({"schema": "secondtape/1", "jobs": [found]}))


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SECONDTAPE_DATA", str(tmp_path / "data"))
    root = tmp_path / "jobs"
    check(root, "larch-1")
    check(root, "larch-2", verdict="hold", by="<b>crew 5</b>")
    check(tmp_path / "elsewhere", "secret-9", by="crew 9")
    rebuild([tmp_path])
    return root


@pytest.fixture
def desk(folder):
    with visited(folder) as client:
        yield client


def test_checks_of_the_desks_folder_are_listed_and_no_others(desk):
    page = desk.get("/log")
    assert page.status_code == 200
    assert '<a href="/job/larch-1">larch-1</a>' in page.text
    for path in ("/log", "/log/people", "/log/export.csv"):
        assert "secret-9" not in desk.get(path).text
        assert "crew 9" not in desk.get(path).text
    assert desk.get("/log/check/secret-9").status_code == 404
    assert desk.get("/log/check/../../elsewhere/secret-9/secondtape/0123456789ab").status_code == 404


@pytest.mark.parametrize(
    ("query", "jobs"),
    [
        ("verdict=hold", {"larch-2"}),
        ("by=crew+2", {"larch-1"}),
        ("job=2", {"larch-2"}),
        ("since=2026-05-05", set()),
        ("until=2026-05-04&page=99", {"larch-1", "larch-2"}),
        ("verdict=nonsense&page=-1", {"larch-1", "larch-2"}),
    ],
)
def test_the_filters_are_those_of_the_command(desk, query, jobs):
    page = desk.get(f"/log?{query}").text
    assert {j for j in ("larch-1", "larch-2") if f'/job/{j}"' in page} == jobs


def test_a_day_that_is_none_is_said_with_the_remedy(desk):
    assert "2026-05-04" in desk.get("/log?since=soon").text.split("alert")[1]


def test_names_from_outside_are_shown_and_never_run(desk):
    for path in ("/log", "/log/people", "/log/check/larch-2/secondtape/0123456789ab"):
        page = desk.get(path).text
        assert "<b>crew 5" not in page
        assert "&lt;b&gt;crew 5" in page


def test_one_check_is_shown_in_the_words_of_the_terminal(desk):
    page = desk.get("/log/check/larch-1/secondtape/0123456789ab").text
    assert "width, top: 1000.0 mm, off by about +1 mm, give or take 2 mm" in page


def test_a_reading_that_the_photo_cannot_tell_is_said_as_on_the_other_pages(desk, folder):
    reading = {"name": "width_top", "tape_mm": 1000.0, "verdict": "unproven"}
    opening = {"label": "W1", "verdict": "unproven", "why": "Too far.", "inputs_sha256": "x", "readings": [reading]}
    check(folder, "larch-4", verdict="unproven", openings=[opening])
    rebuild([folder])
    page = desk.get("/log/check/larch-4/secondtape/0123456789ab").text
    assert "width, top: 1000.0 mm, no photo to compare, cannot tell" in page
    assert "unproven" not in page.replace("mark unproven", "")


def test_few_readings_are_counted_and_nothing_is_concluded(desk):
    assert "Fewer than 20 readings" in desk.get("/log/people").text
    page = desk.get("/log/people?codes=yes&per=both&units=mm").text
    assert "P-" in page
    assert "crew 2" not in page.replace('value="crew 2"', "")


def test_the_export_is_a_file_for_a_spreadsheet(desk):
    answer = desk.get("/log/export.csv?verdict=hold")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "attachment" in answer.headers["content-disposition"]
    assert len(answer.text.strip().splitlines()) == 2


@pytest.mark.parametrize(
    "query", ["since=%FF", "until=soon", "since=2026-13-01", "verdict=nonsense", "since=99999-01-01"]
)
def test_an_export_of_what_is_no_day_or_verdict_is_refused_as_by_the_command(desk, query, capsys, tmp_path):
    answer = desk.get(f"/log/export.csv?{query}")
    assert answer.status_code == 400
    assert "content-disposition" not in answer.headers
    assert "larch" not in answer.text
    key, _, value = query.partition("=")
    given = "\ufffd" if value == "%FF" else value
    assert run(["log", "export", str(tmp_path / "x.csv"), f"--{key}", given]) == Exit.USAGE
    remedy = capsys.readouterr().err.strip().rpartition("; " if key != "verdict" else "is not")[2]
    assert remedy in answer.text


def test_the_log_is_made_anew_from_the_page_and_only_from_this_page(desk, folder):
    check(folder, "larch-3")
    assert "larch-3" not in desk.get("/log").text
    assert desk.post("/log/rebuild", headers={"origin": "http://elsewhere.example"}).status_code == 403
    own = {"origin": "http://127.0.0.1:8731", "sec-fetch-site": "same-origin"}
    assert "larch-3" in desk.post("/log/rebuild", headers=own).text


def test_a_damaged_log_is_said_on_the_page_and_made_anew_by_its_button(desk, tmp_path):
    (tmp_path / "data" / "log.sqlite").write_bytes(b"x" * 9000)
    for path in ("/log", "/log/people"):
        page = desk.get(path)
        assert "cannot be used" in page.text
    assert desk.get("/log/export.csv").status_code == 400
    own = {"origin": "http://127.0.0.1:8731", "sec-fetch-site": "same-origin"}
    assert "larch-1" in desk.post("/log/rebuild", headers=own).text
