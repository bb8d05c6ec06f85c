"""Facts of an opening typed at the desk: edge offsets by side and both printed bars, over the real application."""

import re
import tomllib

import pytest

from sizing.jobs.file import load_job
from tests.desk_jobs import BARE, TYPED, job, served

SIDES = {"edge_offset.head": "0", "edge_offset.sill": "1 1/4", "edge_offset.left": "0", "edge_offset.right": "0"}


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        yield client


def shown(page, name):
    return re.search(rf'name="{re.escape(name)}" id="[^"]*" value="([^"]*)"', page)[1]


def saved(desk, name, **data):
    return desk.post(f"/job/{name}/opening-facts", data={"label": "W1", **data})


def opening(folder):
    return tomllib.loads((folder / "job.toml").read_text())["opening"][0]


def test_edge_offsets_are_typed_by_side_and_come_back_as_saved(desk):
    folder = job(desk, "sides", TYPED.format(id="sides", by="") + "# measured twice\n")
    assert saved(desk, "sides", edge_offset="", **SIDES).status_code == 200
    # contract, Job file: by side as a table
    assert opening(folder)["edge_offset"] == {"head": "0", "sill": "1 1/4", "left": "0", "right": "0"}
    found = load_job(folder / "job.toml").openings[0].edge_offset
    assert found["sill"].value_mm == pytest.approx(31.75)  # 1.25 x 25.4
    assert found["head"].value_mm == 0
    assert "# measured twice" in (folder / "job.toml").read_text()
    page = desk.get("/job/sides").text
    assert {key: shown(page, key) for key in SIDES} == SIDES
    assert shown(page, "edge_offset") == ""
    assert "<details open><summary>Edges by side" in page


def test_one_offset_for_all_replaces_those_by_side_and_an_empty_one_takes_all_out(desk):
    folder = job(desk, "one", BARE.format(id="one", by="") + 'edge_offset = { sill = "1 1/4" } # by the sill\n')
    assert saved(desk, "one", edge_offset="3/4", **dict.fromkeys(SIDES, "")).status_code == 200
    assert 'edge_offset = "3/4" # by the sill' in (folder / "job.toml").read_text()
    page = desk.get("/job/one").text
    assert shown(page, "edge_offset") == "3/4"
    assert "<details><summary>Edges by side" in page
    saved(desk, "one", edge_offset="", **dict.fromkeys(SIDES, ""))
    assert "edge_offset" not in opening(folder)


def test_one_offset_for_all_and_by_side_at_once_is_refused_in_one_line(desk):
    folder = job(desk, "both")
    before = (folder / "job.toml").read_text()
    answer = saved(desk, "both", edge_offset="3/4", **SIDES)
    assert answer.status_code == 400
    assert "not both: empty the one box or the four" in answer.text
    assert shown(answer.text, "edge_offset.sill") == "1 1/4"
    assert (folder / "job.toml").read_text() == before


def test_offsets_that_were_not_touched_stay_as_written_with_their_uncertainty(desk):
    written = '[opening.edge_offset] # from the drawing\nhead = 0\nsill = { value = "1 1/4", u = "1/16" } # seen\n'
    folder = job(desk, "kept", BARE.format(id="kept", by="") + written)
    page = desk.get("/job/kept").text
    assert (shown(page, "edge_offset.head"), shown(page, "edge_offset.sill")) == ("0", "1 1/4")
    typed = {"edge_offset.head": "0", "edge_offset.sill": "1 1/4", "edge_offset.left": "1/2", "edge_offset.right": ""}
    assert saved(desk, "kept", edge_offset="", **typed).status_code == 200
    assert opening(folder)["edge_offset"] == {"head": 0, "sill": {"value": "1 1/4", "u": "1/16"}, "left": "1/2"}
    assert "# seen" in (folder / "job.toml").read_text()
    saved(desk, "kept", edge_offset="", **typed | {"edge_offset.sill": "1 3/8"})
    assert opening(folder)["edge_offset"]["sill"] == {"value": "1 3/8", "u": "1/16"}
    assert saved(desk, "kept", edge_offset="3/4", **dict.fromkeys(SIDES, "")).status_code == 200
    assert opening(folder)["edge_offset"] == "3/4"


def test_an_offset_that_is_no_length_names_its_side(desk):
    job(desk, "fault")
    answer = saved(desk, "fault", **SIDES | {"edge_offset.sill": "1 1"})
    assert answer.status_code == 400
    assert "W1, sill stands in front by: " in answer.text


def test_both_printed_bars_are_typed_and_come_back_as_saved(desk):
    folder = job(desk, "bars", BARE.format(id="bars", by="") + 'check_bar = "149.5 mm" # steel rule\n')
    page = desk.get("/job/bars").text
    assert (shown(page, "check_bar"), shown(page, "check_bar.along")) == ("149.5 mm", "")
    assert "for millimetres of a ruler write mm" in page
    saved(desk, "bars", **{"check_bar": "149.5 mm", "check_bar.along": "199 mm"})
    assert opening(folder)["check_bar"] == {"across": "149.5 mm", "along": "199 mm"}
    assert "# steel rule" in (folder / "job.toml").read_text()
    bar = load_job(folder / "job.toml").openings[0].check_bar
    assert (bar.across.value_mm, bar.along.value_mm) == (149.5, 199.0)
    page = desk.get("/job/bars").text
    assert (shown(page, "check_bar"), shown(page, "check_bar.along")) == ("149.5 mm", "199 mm")
    saved(desk, "bars", **{"check_bar": "", "check_bar.along": "199 mm"})
    assert opening(folder)["check_bar"] == {"along": "199 mm"}
    answer = saved(desk, "bars", **{"check_bar": "", "check_bar.along": "199"})
    assert answer.status_code == 400  # 199 in
    assert "W1, printed 200 mm bar as measured: " in answer.text
    saved(desk, "bars", **{"check_bar": "", "check_bar.along": ""})
    assert "check_bar" not in opening(folder)


def marked(page):
    """Return the names of the fields marked as wrong, with the line beside each."""
    field = r'name="([^"]*)" id="[^"]*" value="[^"]*" autocomplete="off" aria-invalid="true" aria-describedby="([^"]*)"'
    return {key: re.search(rf'id="{says}">([^<]+)', page)[1] for key, says in re.findall(field, page)}


@pytest.mark.parametrize(
    ("form", "data", "key", "says"),
    [
        ("opening-facts", SIDES | {"edge_offset.sill": "1 1"}, "edge_offset.sill", "1 1"),
        ("opening-facts", SIDES | {"edge_offset": "1"}, "edge_offset", "not both"),
        ("opening-facts", {"check_bar": "150"}, "check_bar", "is 150 in: the bar across"),
        ("opening-facts", {"check_bar": "150 mm", "check_bar.along": "20 mm"}, "check_bar.along", "the bar along"),
        ("opening-facts", {"quantity": "two"}, "quantity", "no whole number"),
        ("readings", {"width.top": "54 3", "width.middle": "36"}, "width.top", "54 3/8"),
        ("readings", {"visit": "1", "on": "soon", "width.top": "36"}, "on", "no date"),
        ("facts", {"measured_on": "soon", "note": "x"}, "measured_on", "no date"),
        ("facts", {"graduation": "wide", "note": "x"}, "graduation", "wide"),
        ("openings", {"label": "W9", "wall": "straw"}, "wall", "straw"),
    ],
)
def test_a_refused_form_marks_the_field_that_is_wrong_and_no_other(desk, form, data, key, says):
    if not (desk.root / "marked").exists():
        job(desk, "marked")
    answer = desk.post(f"/job/marked/{form}", data={"label": "W1"} | data)
    assert answer.status_code == 400
    found = marked(answer.text)
    assert list(found) == [key]
    assert says in found[key]
