"""Job files that people write in ways of their own, changed at the desk: nothing is lost, nothing ends in a trace.

Oracle: toml.io/en/v1.0.0 for what the files say, read by `tomllib` (standard library); contract.md: no traceback.
"""

import tomllib

import pytest
from starlette.testclient import TestClient

from sizing.desk import jobs_page
from sizing.jobs import edits as jobedits
from tests.desk_jobs import BARE, BASE, job, jpeg, served, sha

HEAD = '[job]\nid = "h"\nunits = "in"\n'
INLINE = 'opening = [{label="W1",wall="masonry",width={top="36"}},{label="W2",wall="masonry"}]\n' + HEAD
OPENING = '[[opening]]\nlabel = "W1"\nwall = "masonry"\nwidth = { top = "36" }\n'
VISIT = 'visit = [{ by = "a", on = 2026-05-01, width = { top = "36 1/8" } }]\n'
PHOTOS = '[[opening.photos]]\nfile = "s.jpg"\nturn = 0\nfocal35 = 26\nreference = "letter"\n'
ROWS = '[[1,"W3",{"width.top":"36"},{}]]'


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        client.app.app.state.desk.runs.start = lambda *args: "no run"  # nothing here waits for a check
        yield client


def said(folder):
    return tomllib.loads((folder / "job.toml").read_text())


@pytest.mark.parametrize(
    ("where", "data"),
    [
        ("/job/{}/openings", {"label": "W3", "wall": "masonry"}),
        ("/import/confirm", {"job": "{}", "rows": ROWS, "wall": "masonry", "units": "in"}),
    ],
)
def test_an_opening_that_is_added_leaves_those_written_inline(desk, where, data):
    name = f"inline-{len(data)}"
    folder = job(desk, name, INLINE)
    answer = desk.post(where.format(name), data={k: v.format(name) if k == "job" else v for k, v in data.items()})
    assert answer.status_code == 200
    assert [o["label"] for o in said(folder)["opening"]] == ["W1", "W2", "W3"]
    assert said(folder)["opening"][0]["width"] == {"top": "36"}


def test_readings_of_an_opening_written_inline_are_saved(desk):
    folder = job(desk, "inline-readings", INLINE)
    assert desk.post("/job/inline-readings/readings", data={"label": "W2", "width.top": "37"}).status_code == 200
    assert [o["width"] for o in said(folder)["opening"]] == [{"top": "36"}, {"top": "37"}]


def test_a_visit_leaves_earlier_visits_written_inline(desk):
    folder = job(desk, "visits", HEAD + OPENING + VISIT)
    data = {"label": "W1", "visit": "1", "by": "b", "width.middle": "37"}
    assert desk.post("/job/visits/readings", data=data).status_code == 200
    assert [(v["by"], v["width"]) for v in said(folder)["opening"][0]["visit"]] == [
        ("a", {"top": "36 1/8"}),
        ("b", {"middle": "37"}),
    ]


def test_dragged_corners_leave_what_is_told_of_a_photo_in_a_table_of_its_own(desk):
    folder = job(desk, "photos", HEAD + OPENING + PHOTOS)
    (folder / "s.jpg").write_bytes(jpeg(40))
    corners = [(296, 112), (739, 115), (728, 580), (290, 570)]
    data = {"do": "corners", "number": "0", "sha256": sha(desk.get("/job/photos").text), "turn": "0"}
    data |= {
        f"c{i}{axis}": str(value) for i, point in enumerate(corners) for axis, value in zip("xy", point, strict=True)
    }
    answer = desk.post("/job/photos/opening/W1", data=data, headers={"accept": "application/json"})
    assert answer.status_code == 200
    photo = said(folder)["opening"][0]["photos"][0]
    assert photo.pop("corners") == [list(point) for point in corners]
    assert photo == {"file": "s.jpg", "turn": 0, "focal35": 26, "reference": "letter"}


def test_another_photo_joins_photos_in_tables_of_their_own(desk):
    folder = job(desk, "joins", HEAD + OPENING + PHOTOS)
    for i, name in enumerate(("s.jpg", "t.jpg")):
        (folder / name).write_bytes(jpeg(40 + i))
    assert desk.post("/job/joins/assign", data={"photo": "t.jpg", "to": "W1"}).status_code == 200
    assert [p["file"] for p in said(folder)["opening"][0]["photos"]] == ["s.jpg", "t.jpg"]
    assert said(folder)["opening"][0]["photos"][0]["focal35"] == 26


def test_facts_are_saved_where_a_table_of_the_job_stands_before_it(desk):
    folder = job(desk, "extra-first", f"[job.extra]\na = 1\n{HEAD}{OPENING}")
    assert desk.post("/job/extra-first/facts", data={"note": "by the river"}).status_code == 200
    assert said(folder)["job"] == {"id": "h", "units": "in", "extra": {"a": 1}, "note": "by the river"}


def test_a_file_without_a_job_is_refused_with_one_line(desk):
    job(desk, "none", OPENING)
    answer = desk.post("/job/none/facts", data={"note": "x"})
    assert answer.status_code == 400
    assert "the file has no table [job]" in answer.text


def test_blanks_in_labels_and_names_of_files_are_part_of_them(desk):
    folder = job(desk, "blanks", HEAD + OPENING.replace("W1", " W  1 "))
    (folder / "a  b.jpg").write_bytes(jpeg(40))
    page = desk.get("/job/blanks").text
    for data in ({"label": " W  1 ", "width.top": "37"}, {"photo": "a  b.jpg", "to": " W  1 "}):
        assert all(f'value="{data[key]}"' in page for key in ("label", "to") if key in data)
        where = "assign" if "to" in data else "readings"
        assert desk.post(f"/job/blanks/{where}", data=data).status_code == 200
    (opening,) = said(folder)["opening"]
    assert (opening["width"], opening["photos"]) == ({"top": "37"}, ["a  b.jpg"])
    assert desk.post("/job/blanks/opening-facts", data={"label": " W  1 ", "note": "x"}).status_code == 200
    assert desk.post("/job/blanks/assign", data={"photo": "a  b.jpg", "to": ""}).status_code == 200
    assert "photos" not in said(folder)["opening"][0]


@pytest.mark.parametrize("page", ["%C2%B2", "%D9%A3", "-1", "1e3", ""])
def test_a_page_that_is_no_number_is_the_first(desk, page):
    # Unicode: superscripts are digits to `str.isdigit`, yet no numbers to `int`.
    assert desk.get(f"/?page={page}").status_code == 200


def test_an_amount_beyond_all_numbers_is_a_damaged_preview(desk):
    job(desk, "beyond", BARE.format(id="beyond", by=""))
    answer = desk.post("/import/confirm", data={"job": "beyond", "rows": '[[1e400,"W1",{},{}]]', "units": "in"})
    assert answer.status_code == 400
    assert "read the spreadsheet in again" in answer.text


@pytest.mark.parametrize(
    "kept",
    [
        "[" * 100_000,
        '{"taken": 5, "size_px": [1e999, "x"]}',
        '{"taken": "2026-05-04T10:00:00", "size_px": ["a", "b"]}',
        '{"size_px": [1, 2, 3]}',
        '{"size_px": {}}',
        '{"error": ["x"]}',
        "[]",
        "",
    ],
)
def test_facts_of_a_photo_that_were_not_kept_here_are_read_anew(desk, kept):
    name = f"kept-{abs(hash(kept))}"
    folder = job(desk, name)
    (folder / "s.jpg").write_bytes(jpeg(40))
    assert desk.get(f"/job/{name}").status_code == 200
    (facts,) = (folder / "secondtape" / "thumbs").glob("*-facts.json")
    right = facts.read_text()
    facts.write_text(kept)
    assert "s.jpg" in desk.get(f"/job/{name}").text
    assert facts.read_text() == right


def test_a_fault_of_the_desk_is_one_line_and_its_trace_goes_to_the_server_alone(desk, monkeypatch):
    def broken(folder):
        raise ZeroDivisionError("a secret of the code")

    monkeypatch.setattr(jobs_page, "list_jobs", broken)
    browser = TestClient(desk.app, base_url=BASE, headers={"origin": BASE}, raise_server_exceptions=False)
    browser.cookies = desk.cookies
    answer = browser.get("/")
    assert answer.status_code == 500
    assert "by a fault of its own (ZeroDivisionError)" in answer.text
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert answer.headers["content-security-policy"]
    assert browser.get("/", headers={"accept": "application/json"}).json()["problems"]
    with pytest.raises(ZeroDivisionError):  # handed on to the server, which writes the trace to stderr
        desk.get("/")


def test_a_change_that_would_lose_something_is_refused_at_the_desk(desk, monkeypatch):
    folder = job(desk, "guarded", INLINE)
    before = (folder / "job.toml").read_bytes()

    def anew(document, label, wall, rule):
        document["opening"] = [{"label": label, "wall": wall}]

    monkeypatch.setattr(jobedits, "add_opening", anew)
    answer = desk.post("/job/guarded/openings", data={"label": "W3", "wall": "masonry"})
    assert answer.status_code == 400
    assert "this change would have altered or lost opening W1" in answer.text
    assert (folder / "job.toml").read_bytes() == before
