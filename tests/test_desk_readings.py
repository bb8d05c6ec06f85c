"""Readings, spreadsheets and checks at the desk over its real application and real child processes."""

import hashlib
import io
import json
import re
import subprocess
import sys
import tomllib
from concurrent.futures import ThreadPoolExecutor

import pytest
from openpyxl import load_workbook

from tests.desk_jobs import BARE, HOSTILE, TYPED, finished, job, served, sha


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        yield client


def test_readings_are_saved_as_typed_and_a_fault_names_its_box(desk):
    folder = job(desk, "typed")
    now = sha(desk.get("/job/typed").text)
    data = {"sha256": now, "label": "W1", "width.top": "54⅜", "diagonal.up": '81-1/4"', "width.bottom": ""}
    assert desk.post("/job/typed/readings", data=data).status_code == 200
    opening = tomllib.loads((folder / "job.toml").read_text())["opening"][0]
    assert opening["width"] == {"top": "54⅜", "middle": "36"}
    assert opening["diagonal"] == {"up": '81-1/4"'}
    answer = desk.post("/job/typed/readings", data={"label": "W1", "width.top": "54 3"})
    assert answer.status_code == 400
    assert "width.top" in answer.text
    assert "can be read as 54 3/8" in answer.text
    assert 'value="54 3"' in answer.text  # to be mended there, not typed again
    assert tomllib.loads((folder / "job.toml").read_text())["opening"][0] == opening


def test_both_versions_are_shown_when_the_file_changed_underneath(desk):
    folder = job(desk, "conflict")
    old = sha(desk.get("/job/conflict").text)
    text = (folder / "job.toml").read_text() + "# by hand\n"
    (folder / "job.toml").write_text(text)
    answer = desk.post("/job/conflict/readings", data={"sha256": old, "label": "W1", "width.top": "37"})
    assert answer.status_code == 409
    assert answer.text.count("# by hand") == 2
    assert (folder / "job.toml").read_text() == text
    assert re.findall(r'class="line"><mark>([^<]*)', answer.text) == ["top = &#34;36&#34;", "top = &#34;37&#34;"]
    again = {"sha256": sha(answer.text), "label": "W1", "width.top": "37"}
    assert desk.post("/job/conflict/readings", data=again).status_code == 200
    kept = (folder / "job.toml").read_text()
    assert "# by hand" in kept
    assert 'top = "37"' in kept


def test_a_script_that_saves_is_answered_with_the_hash_of_the_file_or_with_what_stands_in_the_way(desk):
    """Oracles: hashlib; RFC 9110, 15.5.10: 409 where the target changed meanwhile."""
    folder = job(desk, "scripted")
    file = folder / "job.toml"

    def post(top, sha256=None):
        data = {"json": "1", "label": "W1", "width.top": top} | ({"sha256": sha256} if sha256 else {})
        return desk.post("/job/scripted/readings", data=data)

    old = hashlib.sha256(file.read_bytes()).hexdigest()
    answer = post("37", old)
    now = hashlib.sha256(file.read_bytes()).hexdigest()
    assert (answer.status_code, answer.json()) == (200, {"sha256": now})
    assert now != old
    for answer, status, says in ((post("38", old), 409, "changed"), (post("36 3"), 400, "36 3/8")):
        assert answer.status_code == status
        assert [says in problem for problem in answer.json()["problems"]] == [True]
    assert hashlib.sha256(file.read_bytes()).hexdigest() == now


def test_a_later_visit_without_a_reading_is_refused_and_not_kept(desk):
    folder = job(desk, "visited")
    kept = (folder / "job.toml").read_text()
    answer = desk.post("/job/visited/readings", data={"label": "W1", "visit": "1", "by": "crew 2", "width.top": ""})
    assert answer.status_code == 400
    assert "no reading was typed" in answer.text
    assert (folder / "job.toml").read_text() == kept


def test_a_quantity_is_a_whole_number_and_none_where_the_box_is_empty(desk):
    folder = job(desk, "several")

    def kept(typed):
        answer = desk.post("/job/several/opening-facts", data={"label": "W1", "quantity": typed})
        opening = tomllib.loads((folder / "job.toml").read_text())["opening"][0]
        return answer.status_code, opening.get("quantity")

    assert kept("3") == (200, 3)
    for typed in ("two", "1.5", "-1", "²", "100000"):
        assert kept(typed) == (400, 3)
    assert kept("") == (200, None)


SAVES = """
import sys
from pathlib import Path
from sizing.jobs import edits as jobedits
from sizing.jobs.writer import save
def edit(document):
    extra = jobedits.job_table(document).setdefault("extra", {})
    extra["kept"] = extra.get("kept", "") + "."
for _ in range(160):
    save(Path(sys.argv[1]), edit, named=[("job", "extra", "kept")])
"""


def test_of_200_saves_by_two_tabs_and_another_process_none_is_lost(desk):
    folder = job(desk, "at-once", BARE.format(id="at-once", by=""))
    other = subprocess.Popen([sys.executable, "-c", SAVES, str(folder / "job.toml")])

    def change(i):
        data = {"label": f"X{i}", "wall": "masonry"}
        return desk.post("/job/at-once/openings", data=data, follow_redirects=False).status_code

    with ThreadPoolExecutor(2) as tabs:
        answers = set(tabs.map(change, range(40)))
    assert other.wait(100) == 0
    assert answers == {303}
    kept = tomllib.loads((folder / "job.toml").read_text())
    assert {o["label"] for o in kept["opening"]} == {"W1", *(f"X{i}" for i in range(40))}
    assert kept["job"]["extra"] == {"kept": 160 * "."}


def test_lengths_are_said_back_in_words_by_the_same_grammar(desk):
    texts = {"a": "54 3/8", "b": "4' 6 3/8\"", "c": "54 3", "d": "1381 mm", "e": "2", "f": "54 3/8 strong"}
    said = desk.post("/length", json={"unit": "in", "graduation": "1/16", "texts": texts}).json()
    assert said["a"] == {"ok": True, "says": "fifty-four and three eighths inches (1381.1 mm)"}
    assert said["b"] == said["a"]
    assert not said["c"]["ok"]
    assert said["d"]["says"].startswith("54.37 inches") or "1381.0 mm" in said["d"]["says"]
    assert "check the unit" in said["e"]["says"]
    assert "strong" in said["f"]["says"]
    for bad in (b"{", b"[]", b'{"texts": 3}', json.dumps({"texts": {}, "unit": "ft"}).encode()):
        assert desk.post("/length", content=bad).status_code == 400
    assert desk.post("/length", content=b"x" * 200_000).status_code == 413


def test_a_check_runs_in_a_child_and_the_page_follows_it(desk):
    job(desk, "checked", TYPED.format(id="checked", by="") + '[opening.height]\nleft = "46"\n')
    assert finished(desk, desk.post("/job/checked/check").text)["state"] == "done"
    page = desk.get("/job/checked").text
    assert "cannot be told" in page
    assert "Changed since this check" not in page
    desk.post("/job/checked/readings", data={"label": "W1", "width.top": "38"})
    page = desk.get("/job/checked").text
    assert "Changed since this check: job.toml" in page
    assert "changed since its check" in desk.get("/?q=checked").text


def test_a_check_that_a_script_starts_is_answered_with_its_run(desk):
    job(desk, "by-script")
    answer = desk.post("/job/by-script/check", headers={"accept": "application/json"}, follow_redirects=False)
    assert answer.status_code == 200
    assert finished(desk, f'data-run="{answer.json()["run"]}"')["kind"] == "check"
    assert "cannot be told" in desk.get("/job/by-script").text


def test_nothing_that_the_check_does_not_support_is_released(desk):
    job(desk, "released")
    assert desk.post("/job/released/release", data={}).status_code == 400
    page = desk.post("/job/released/release", data={"opening": "W1", "paper": "a4"}).text
    assert finished(desk, page)["state"] == "done"
    page = desk.get("/job/released/release").text
    assert "Nothing was released" in page
    assert "None yet" in page
    for bad in ("../job.toml", "x/release.pdf", "0123456789ab/job.toml", "0123456789ab/release.pdf"):
        assert desk.get(f"/job/released/release/{bad}").status_code == 404


def test_a_spreadsheet_is_shown_first_and_then_read_in_whole(desk):
    folder = job(desk, "sheet")
    data = b"Opening,Width top,Height left\nW1,37 1/2,46\nW2,40,50\n"
    shown = desk.post("/import", data={"job": "sheet", "wall": "render"}, files={"file": ("crew.csv", data)})
    assert "<del>36</del> <ins>37 1/2</ins>" in shown.text
    assert tomllib.loads((folder / "job.toml").read_text())["opening"][0]["width"]["top"] == "36"
    hidden = dict(re.findall(r'name="(\w+)" value="([^"]*)"', shown.text))
    hidden["rows"] = hidden["rows"].replace("&#34;", '"')
    assert desk.post("/import/confirm", data=hidden).status_code == 200
    first, second = tomllib.loads((folder / "job.toml").read_text())["opening"]
    assert first["width"] == {"top": "37 1/2", "middle": "36", "bottom": "36"}
    assert (second["wall"], second["height"]) == ("render", {"left": "50"})
    again = desk.post("/import/confirm", data=hidden)
    assert again.status_code == 409
    assert desk.post("/import/confirm", data=hidden | {"rows": '[[1,"W1",{"width.depth":"3"},{}]]'}).status_code == 400


def test_a_spreadsheet_with_one_fault_is_not_read_in_at_all(desk):
    data = b"Opening,Width top\nW1,36\nW2,3-Aug\n"
    shown = desk.post("/import", data={"new": "from-sheet"}, files={"file": ("crew.csv", data)})
    assert "B3 (Width top)" in shown.text
    assert "turned a fraction into a date" in shown.text
    assert "/import/confirm" not in shown.text
    assert not (desk.root / "from-sheet").exists()


def test_a_new_job_comes_from_a_spreadsheet_and_goes_back_into_one(desk):
    data = b"Opening,Width top,Note\nW1,36 1/2,=2+2\n"
    shown = desk.post("/import", data={"new": "from-csv", "units": "in"}, files={"file": ("crew.csv", data)})
    hidden = dict(re.findall(r'name="(\w+)" value="([^"]*)"', shown.text))
    hidden["rows"] = hidden["rows"].replace("&#34;", '"')
    assert desk.post("/import/confirm", data=hidden).status_code == 200
    out = desk.get("/job/from-csv/readings.xlsx").content
    cells = [c for row in load_workbook(io.BytesIO(out)).active.iter_rows() for c in row if c.value]
    assert "36 1/2" in {c.value for c in cells}
    assert {c.data_type for c in cells} == {"s"}
    assert b"'=2+2" in desk.get("/job/from-csv/readings.csv").content
    assert desk.get("/import/template.xlsx?units=mm").status_code == 200


def test_hostile_texts_are_shown_as_text_on_every_page(desk):
    label = HOSTILE.replace('"', '\\"')
    text = f'[job]\nid = "{label}"\nunits = "in"\nnote = "{label}"\nmeasured_by = "{label}"\n'
    text += f'[job.extra]\na = "{label}"\n[[opening]]\nlabel = "{label}"\nwall = "masonry"\nnote = "{label}"\n'
    job(desk, "hostile <b>", text + f'[[opening.visit]]\nby = "{label}"\n[opening.visit.width]\ntop = "36"\n')
    job(desk, "broken", f"[job\n# {HOSTILE}")
    pages = ["/", "/job/hostile%20%3Cb%3E", "/job/hostile%20%3Cb%3E/release", "/job/broken", f"/?q={HOSTILE}"]
    for page in [*pages, "/import?job=<b>", f"/run/{HOSTILE}"]:
        shown = desk.get(page).text
        assert "<img src=x" not in shown, page
        assert "<b>" not in shown, page
    refused = desk.post("/job/broken/openings", data={"label": HOSTILE, "wall": "masonry"})
    assert refused.status_code == 400
    assert "<img src=x" not in refused.text


def test_a_file_that_is_no_job_is_shown_with_its_problem(desk):
    job(desk, "no-job", '[job]\nid = "x"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\nwidht = 3\n')
    page = desk.get("/job/no-job").text
    assert "unknown key; did you mean" in page
    assert "cannot be used" in page
    assert str(desk.root) not in page
